import datetime as dt

import pytest

from tests.factories.dealership import TODAY
from tests.factories.vehicles import invented_vin
from tests.vehicles.conftest import csv_of
from vehicles.models import Address, Party, StagedRow, Tenure, Vehicle, VehicleChange


VIN = invented_vin(1)


def row(
    *,
    owner="Ada Corrin",
    street="1 Elm Row",
    phone="",
    since="",
    line="Corvane",
    vin=VIN,
):
    return (
        f"{vin},{line},2022,2021-09-14,{owner},{street},Tannersby,60000,{phone},{since}"
    )


def changes():
    rows = VehicleChange.objects.order_by("pk")
    return list(rows.values_list("field", "before", "after"))


def test_a_changed_fact_leaves_a_line_of_history(counter):
    counter.take_in(csv_of(row()))
    vehicle_list = counter.take_in(csv_of(row(line="Helix")))
    assert vehicle_list.counts["changed"] == 1
    assert Vehicle.objects.get().line == "Helix"
    assert changes() == [("line", "Corvane", "Helix")]
    assert VehicleChange.objects.get().upload_id == vehicle_list.upload_id


def test_what_the_list_does_not_state_stays(counter):
    counter.take_in(csv_of(row()))
    vehicle_list = counter.read(csv_of(VIN, headers="VIN"))
    assert vehicle_list.counts["same"] == 1


def test_a_new_owner_closes_the_tenure_before(counter):
    counter.take_in(csv_of(row(since="2022-01-20")))
    counter.take_in(
        csv_of(row(owner="Bram Dunmore", street="9 Oak Row", since="2026-03-09"))
    )
    told = Tenure.objects.order_by("pk").values_list("party__name", "since", "until")
    assert list(told) == [
        ("Ada Corrin", dt.date(2022, 1, 20), dt.date(2026, 3, 8)),
        ("Bram Dunmore", dt.date(2026, 3, 9), None),
    ]
    first, second = Party.objects.order_by("pk")
    assert changes() == [("owner", str(first.pk), str(second.pk))]


def test_history_names_nobody(counter):
    counter.take_in(csv_of(row()))
    counter.take_in(csv_of(row(owner="Bram Dunmore")))
    assert "Dunmore" not in str(changes())


def test_without_a_day_the_owner_changes_on_the_day_of_the_list(counter):
    counter.take_in(csv_of(row()))
    counter.take_in(csv_of(row(owner="Bram Dunmore")))
    first, second = Tenure.objects.order_by("pk")
    assert (first.until, second.since) == (TODAY - dt.timedelta(days=1), TODAY)


def test_an_older_owner_does_not_come_back(counter):
    counter.take_in(csv_of(row(owner="Bram Dunmore", since="2026-03-09")))
    vehicle_list = counter.read(csv_of(row(since="2022-01-20")))
    staged = StagedRow.objects.get(vehicle_list=vehicle_list)
    assert staged.state == "same"
    assert [fault["code"] for fault in staged.faults] == ["owner_older"]


def test_a_move_keeps_the_past_address(counter):
    counter.take_in(csv_of(row()))
    counter.take_in(csv_of(row(street="7 Ash Row")))
    told = Address.objects.order_by("pk").values_list("street", "current")
    assert list(told) == [("1 Elm Row", False), ("7 Ash Row", True)]
    assert Party.objects.count() == 1


def test_state_records_do_not_replace_the_own_address(counter):
    # 18 USC 2721(b)(2): records of a State may be used for the recall they came with
    counter.take_in(csv_of(row()))
    counter.take_in(
        csv_of(row(street="7 Ash Row")), source="state_records", only_for="FC-11"
    )
    told = Address.objects.order_by("pk").values_list("source", "only_for", "current")
    assert list(told) == [("own_customer", "", True), ("state_records", "FC-11", True)]


def test_one_owner_of_two_vehicles_is_one_person(counter):
    counter.take_in(csv_of(row(), row(vin=invented_vin(2))))
    assert (Party.objects.count(), Tenure.objects.count()) == (1, 2)


def test_a_person_is_split_when_the_list_says_different_things_of_two_vehicles(counter):
    counter.take_in(csv_of(row(), row(vin=invented_vin(2))))
    content = csv_of(row(phone="217 555 0134"), row(vin=invented_vin(2)))
    vehicle_list = counter.take_in(content)
    assert (vehicle_list.counts["changed"], Party.objects.count()) == (1, 2)
    assert counter.read(content).counts["same"] == 2


def test_a_vehicle_of_another_store_is_never_taken(counter, other_counter):
    other_counter.take_in(csv_of(row()))
    vehicle_list = counter.read(csv_of(row(owner="Bram Dunmore")))
    staged = StagedRow.objects.get(vehicle_list=vehicle_list)
    assert staged.state == "refused"
    assert staged.faults[0]["code"] == "vehicle_elsewhere"
    assert other_counter.store.name in staged.faults[0]["sentence"]
    assert Vehicle.objects.get().store == other_counter.store


@pytest.mark.parametrize(
    ("second", "state", "code"),
    [(row(), "left_out", "row_repeated"), (row(line="Helix"), "refused", "vin_twice")],
)
def test_the_same_vin_twice_in_one_file(counter, second, state, code):
    counter.read(csv_of(row(), second))
    first, later = StagedRow.objects.order_by("row_number")
    assert (first.state, later.state) == ("new", state)
    assert later.faults[-1]["code"] == code
    assert "row 2" in later.faults[-1]["sentence"].lower()


def test_owner_and_lessee_may_stand_in_two_rows(counter):
    headers = "VIN,Owner,Role"
    content = csv_of(
        f"{VIN},Fernhill Leasing LLC,lessor",
        f"{VIN},Ada Corrin,lessee",
        headers=headers,
    )
    vehicle_list = counter.take_in(content)
    told = Tenure.objects.order_by("role").values_list(
        "role", "party__name", "party__kind"
    )
    assert list(told) == [
        ("lessee", "Ada Corrin", "person"),
        ("lessor", "Fernhill Leasing LLC", "firm"),
    ]
    assert Vehicle.objects.count() == 1
    assert counter.read(content).counts["same"] == 2
    assert vehicle_list.state == "applied"


def test_an_odometer_counts_when_it_is_later(counter):
    headers = "VIN,Mileage,Mileage date"
    counter.take_in(csv_of(f"{VIN},40000,2026-01-10", headers=headers))
    assert (
        counter.read(csv_of(f"{VIN},39000,2025-01-10", headers=headers)).counts["same"]
        == 1
    )
    counter.take_in(csv_of(f"{VIN},100,2026-02-01", headers=headers))
    vehicle = Vehicle.objects.get()
    assert (vehicle.odometer, vehicle.odometer_on) == (100, dt.date(2026, 2, 1))
    counter.take_in(csv_of(f"{VIN},500", headers="VIN,Mileage"))
    vehicle.refresh_from_db()
    assert (vehicle.odometer, vehicle.odometer_on) == (500, None)
