"""Many rows at one go: the same values as row by row, with new ids of the table."""

import uuid

import pytest
from django.db import IntegrityError, transaction

from dealership.models import Job
from tests.factories.dealership import NOW, JobFactory
from tests.factories.vehicles import VehicleFactory, invented_vin
from vehicles.domain.sets import columns_of, insert_rows, take_ids, update_rows
from vehicles.models import Vehicle


pytestmark = pytest.mark.django_db

# The database works out the end of a VIN by itself.
FIELDS = [field for field in Vehicle._meta.concrete_fields if not field.generated]
NAMES = [field.column for field in FIELDS]


def values_of(vehicle, **other):
    return [
        other.get(field.column, getattr(vehicle, field.attname)) for field in FIELDS
    ]


def test_ids_are_new_and_follow_one_another():
    last = VehicleFactory.create().pk

    first, second = take_ids(Vehicle, 2)

    assert first > last
    assert second == first + 1


def test_inserted_rows_hold_what_was_given():
    pattern = VehicleFactory.create()
    ids = take_ids(Vehicle, 2)
    vins = [invented_vin(800_001), invented_vin(800_002)]

    insert_rows(
        Vehicle,
        NAMES,
        [values_of(pattern, id=pk, vin=vin) for pk, vin in zip(ids, vins, strict=True)],
    )

    for pk, vin in zip(ids, vins, strict=True):
        row = Vehicle.objects.get(pk=pk)
        assert values_of(row) == values_of(pattern, id=pk, vin=vin)


def test_rows_made_afterwards_take_the_ids_that_follow():
    pattern = VehicleFactory.create()
    (pk,) = take_ids(Vehicle, 1)
    insert_rows(Vehicle, NAMES, [values_of(pattern, id=pk, vin=invented_vin(800_003))])

    assert VehicleFactory.create(vin=invented_vin(800_004)).pk > pk


def test_rows_are_updated_by_id_and_others_stay():
    one, other = VehicleFactory.create_batch(2)

    update_rows(Vehicle, ["plate", "build_date"], [("KLR 77", None, one.pk)])

    one.refresh_from_db()
    plate = other.plate
    other.refresh_from_db()
    assert (one.plate, one.build_date) == ("KLR 77", None)
    assert other.plate == plate


def test_json_and_keys_are_made_storable():
    job = JobFactory.create(arguments={"old": 1})
    token = uuid.UUID(int=7)

    update_rows(
        Job,
        ["state", "arguments", "lease_token", "lease_until"],
        [("running", {"rows": [1, "é"]}, token, NOW, job.pk)],
    )

    job.refresh_from_db()
    assert (job.arguments, job.lease_token, job.lease_until) == (
        {"rows": [1, "é"]},
        token,
        NOW,
    )


def test_no_rows_are_no_statement(django_assert_num_queries):
    with django_assert_num_queries(0):
        insert_rows(Vehicle, NAMES, [])
        update_rows(Vehicle, ["plate"], [])


def test_constraints_hold_as_ever():
    vehicle = VehicleFactory.create()
    (pk,) = take_ids(Vehicle, 1)

    with pytest.raises(IntegrityError), transaction.atomic():
        insert_rows(Vehicle, NAMES, [values_of(vehicle, id=pk)])


def test_mappings_become_rows_in_the_order_of_the_names():
    assert columns_of([{"b": 2, "a": 1}], ["a", "b"]) == [(1, 2)]
