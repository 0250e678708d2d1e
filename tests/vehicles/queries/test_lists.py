"""Lists of vehicles on their way in: counts, order, the same file before."""

import pytest

from dealership.rules.roles import Role
from tests.factories.dealership import make_staff
from tests.factories.vehicles import (
    StagedRowFactory,
    VehicleFactory,
    VehicleListFactory,
)
from vehicles.queries.lists import (
    clean_row_of,
    count_states,
    lists_of,
    staged_rows,
    taken_in_before,
    touched_vehicle_ids,
)
from vehicles.rules.records import Fault, Severity, VehicleRecord
from vehicles.rules.standing import ListState, RowState


pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def test_rows_are_counted_by_state():
    one = VehicleListFactory.create()
    for state, number in ((RowState.NEW, 2), (RowState.REFUSED, 1)):
        StagedRowFactory.create_batch(number, vehicle_list=one, state=state)
    StagedRowFactory.create()  # of another list

    counts = count_states(one)

    assert (counts["new"], counts["refused"], counts["rows"]) == (2, 1, 3)
    assert set(counts) == {*(state.value for state in RowState), "rows"}


def test_rows_come_in_the_order_of_the_file():
    one = VehicleListFactory.create()
    for number in (9, 2, 5):
        StagedRowFactory.create(vehicle_list=one, row_number=number)
    StagedRowFactory.create(vehicle_list=one, row_number=3, state=RowState.REFUSED)

    assert [row.row_number for row in staged_rows(one)] == [2, 3, 5, 9]
    assert [row.row_number for row in staged_rows(one, RowState.REFUSED)] == [3]


def test_lists_are_those_of_ones_stores():
    one, other = VehicleListFactory.create_batch(2)
    clerk = make_staff(Role.OFFICE, one.store)

    assert list(lists_of(clerk)) == [one]
    assert other.store_id != one.store_id


def test_the_same_file_applied_before_is_found_in_its_store_only():
    first = VehicleListFactory.create(state=ListState.APPLIED)
    again = VehicleListFactory.create(store=first.store)
    elsewhere = VehicleListFactory.create()
    digests = {one.upload.sha256 for one in (first, again, elsewhere)}
    assert len(digests) == 1

    assert taken_in_before(again) == first
    assert taken_in_before(first) is None
    assert taken_in_before(elsewhere) is None


def test_a_list_put_aside_was_not_taken_in():
    first = VehicleListFactory.create(state=ListState.ABANDONED)
    again = VehicleListFactory.create(store=first.store)

    assert taken_in_before(again) is None


def test_a_staged_row_reads_back_as_the_rules_know_it():
    record = VehicleRecord(vin="1U0KTRA4XN1000001", odometer=5)
    fault = Fault(
        row=4,
        column="VIN",
        field="vin",
        value="1U0",
        code="vin_length",
        sentence="Too short.",
        severity=Severity.REFUSE,
    )
    row = StagedRowFactory.create(
        row_number=4, record=record.to_json(), faults=[fault.to_json()]
    )

    clean = clean_row_of(row)

    assert (clean.record, clean.faults) == (record, (fault,))


def test_vehicles_touched_are_those_of_rows_that_change_something():
    one = VehicleListFactory.create()
    new, same, far = VehicleFactory.create_batch(3, store=one.store)
    far.store = VehicleListFactory.create().store
    far.save()
    StagedRowFactory.create(vehicle_list=one, vin=new.vin, state=RowState.CHANGED)
    StagedRowFactory.create(vehicle_list=one, vin=same.vin, state=RowState.REFUSED)
    StagedRowFactory.create(vehicle_list=one, vin=far.vin, state=RowState.NEW)

    assert touched_vehicle_ids(one) == [new.pk]
