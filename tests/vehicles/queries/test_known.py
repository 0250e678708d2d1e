"""What is known of the vehicles and people that rows of a list name."""

import pytest
from django.test.utils import CaptureQueriesContext

from tests.factories.dealership import StoreFactory
from tests.factories.vehicles import AddressFactory, TenureFactory, VehicleFactory
from vehicles.queries.known import identity_of, known_of, place_of


pytestmark = pytest.mark.django_db


def owned(store):
    tenure = TenureFactory.create(vehicle=VehicleFactory.create(store=store))
    AddressFactory.create(party=tenure.party)
    return tenure


def ask(store, tenures):
    return known_of(
        vins={one.vehicle.vin for one in tenures},
        names={one.party.name_folded for one in tenures},
        store_id=store.pk,
    )


def test_vehicle_owner_and_address_hang_together():
    tenure = owned(StoreFactory.create())
    address = tenure.party.addresses.get()

    known = ask(tenure.vehicle.store, [tenure])

    row = known.tenures[tenure.vehicle.pk, "owner"]
    assert known.vehicles[tenure.vehicle.vin]["id"] == tenure.vehicle.pk
    assert row["vehicle"] is known.vehicles[tenure.vehicle.vin]
    assert row["party"]["id"] == tenure.party.pk
    assert known.addresses[tenure.party.pk, address.source, ""]["id"] == address.pk
    assert known.holdings == {tenure.party.pk: 1}


def test_a_person_is_found_by_all_that_a_list_says():
    tenure = owned(StoreFactory.create())
    known = ask(tenure.vehicle.store, [tenure])
    ((key, party),) = known.identities.items()
    facts = known.addresses[tenure.party.pk, "own_customer", ""]

    assert party["id"] == tenure.party.pk
    assert key == identity_of(party, place_of(facts), "own_customer", "")
    assert key != identity_of(party, place_of(facts), "state_records", "")


def test_places_are_compared_without_case():
    place = {
        "street": "1 QUARRY Road",
        "street2": "",
        "city": "Tannersby",
        "region": "IL",
        "postal_code": "60000",
        "country": "US",
    }

    assert place_of(place) == ("1 quarry road", "", "tannersby", "il", "60000", "us")


def test_of_another_stores_vehicle_only_the_vehicle_is_known():
    tenure = owned(StoreFactory.create())

    known = ask(StoreFactory.create(), [tenure])

    assert known.store_names == {tenure.vehicle.store_id: tenure.vehicle.store.name}
    assert set(known.vehicles) == {tenure.vehicle.vin}
    assert (known.tenures, known.addresses, known.identities) == ({}, {}, {})


def test_three_rows_take_the_queries_of_one(django_assert_num_queries):
    store = StoreFactory.create()
    tenures = [owned(store) for _number in range(3)]

    for asked in (tenures[:1], tenures):
        with django_assert_num_queries(4) as taken:
            ask(store, asked)
        assert isinstance(taken, CaptureQueriesContext)
