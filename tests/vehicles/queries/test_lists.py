"""Lists of vehicles on their way in: counts, order, the same file before."""

import pytest

from dealership.rules.roles import Role
from tests.factories.dealership import make_staff
from tests.factories.vehicles import (
    StagedPackFactory,
    StagedRowFactory,
    VehicleChangeFactory,
    VehicleFactory,
    VehicleListFactory,
)
from vehicles.queries.lists import (
    clean_row_of,
    count_states,
    how_far,
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


def test_vehicles_touched_are_those_that_were_added_or_changed():
    one = VehicleListFactory.create()
    new = VehicleFactory.create(store=one.store, from_upload=one.upload)
    changed = VehicleChangeFactory.create(
        vehicle__store=one.store, upload=one.upload
    ).vehicle
    VehicleFactory.create(store=one.store)
    VehicleFactory.create(from_upload=one.upload)  # handed over since

    assert touched_vehicle_ids(one) == [new.pk, changed.pk]


def test_how_far_a_list_is_counts_packs_and_rows():
    one = VehicleListFactory.create(packed_rows_applied=3, applied_up_to_row=4)
    StagedPackFactory.create(vehicle_list=one, first_row=9, last_row=12, rows=4)
    for number in (4, 5):
        StagedRowFactory.create(vehicle_list=one, row_number=number)
    StagedRowFactory.create(vehicle_list=one, row_number=9, is_sample=True)

    assert how_far(one) == (4, 9)


def test_rows_that_are_only_shown_are_counted_with_the_list():
    one = VehicleListFactory.create(reading={"plain": {"new": 7}})
    StagedRowFactory.create(vehicle_list=one, is_sample=True)
    StagedRowFactory.create(vehicle_list=one, state=RowState.REFUSED)

    counts = count_states(one)

    assert (counts["new"], counts["refused"], counts["rows"]) == (7, 1, 8)
