import pytest

from dealership.domain.uploads import EmptyUpload
from dealership.models import AuditEntry
from tests.factories.dealership import NOW
from tests.factories.vehicles import invented_vin
from tests.vehicles.conftest import csv_of
from vehicles.domain import lists
from vehicles.models import StagedRow, Vehicle, VehicleList
from vehicles.rules.columns import MappingFault


# 49 CFR 565.15(d), table VII: code N stands for 1992 and for 2022.
TRAILERS = csv_of(invented_vin(1), invented_vin(2), headers="VIN")


def act(counter, vehicle_list, name, **facts):
    getattr(lists, name)(vehicle_list=vehicle_list, by=counter.by, at=NOW, **facts)
    vehicle_list.refresh_from_db()
    return vehicle_list


def states():
    return list(
        StagedRow.objects.order_by("row_number").values_list("state", flat=True)
    )


def test_the_same_key_gives_the_first_list(counter):
    first = counter.hand_in(TRAILERS, key="k1")
    assert counter.hand_in(csv_of("x", headers="VIN"), key="k1") == first
    assert VehicleList.objects.count() == 1


def test_an_empty_file_is_refused(counter):
    with pytest.raises(EmptyUpload):
        counter.hand_in(b"")
    assert VehicleList.objects.count() == 0


def test_two_model_years_are_asked_row_by_row(counter):
    vehicle_list = counter.read(TRAILERS, kind="trailer")
    assert states() == ["ask", "ask"]
    act(counter, vehicle_list, "decide_year", row_number=3, year=2022, day=NOW.date())
    assert states() == ["ask", "new"]
    assert (vehicle_list.counts["ask"], vehicle_list.counts["new"]) == (1, 1)
    counter.apply(vehicle_list)
    assert Vehicle.objects.get().model_year == 2022


def test_a_year_that_the_vin_does_not_allow_is_refused(counter):
    vehicle_list = counter.read(TRAILERS, kind="trailer")
    with pytest.raises(lists.NotOneOfTheYears, match="1992 or 2022"):
        act(
            counter,
            vehicle_list,
            "decide_year",
            row_number=2,
            year=2021,
            day=NOW.date(),
        )


@pytest.mark.parametrize(("pick", "year"), [("early", 1992), ("late", 2022)])
def test_two_model_years_are_settled_for_all(counter, pick, year):
    vehicle_list = counter.read(TRAILERS, kind="trailer")
    act(counter, vehicle_list, "choose_years", pick=pick)
    counter.work(vehicle_list)
    counter.apply(vehicle_list)
    assert set(Vehicle.objects.values_list("model_year", flat=True)) == {year}


def test_an_answer_given_once_is_not_asked_again(counter):
    vehicle_list = counter.read(TRAILERS, kind="trailer")
    act(counter, vehicle_list, "choose_years", pick="late")
    counter.work(vehicle_list)
    counter.apply(vehicle_list)
    assert counter.read(TRAILERS, kind="trailer").counts["same"] == 2


def test_the_kind_settles_the_year(counter):
    vehicle_list = counter.read(TRAILERS, kind="trailer")
    act(counter, vehicle_list, "choose_kind", kind="light")
    counter.work(vehicle_list)
    assert states() == ["new", "new"]


def test_columns_are_corrected_and_the_list_is_read_again(counter):
    content = csv_of(f"{invented_vin(1)},Corvane,T15", headers="VIN,Model,Engine")
    vehicle_list = counter.read(content)
    mapping = {"vin": 0, "engine": 1, "line": 2}
    act(counter, vehicle_list, "correct_columns", mapping=mapping, date_orders={})
    counter.work(vehicle_list)
    record = StagedRow.objects.get().record
    assert (record["engine"], record["line"]) == ("Corvane", "T15")
    with pytest.raises(MappingFault):
        act(
            counter,
            vehicle_list,
            "correct_columns",
            mapping={"line": 1},
            date_orders={},
        )


def test_another_row_of_headers(counter):
    rows = [f"Harrow,{invented_vin(n)}" for n in range(1, 4)]
    content = csv_of(*rows, headers="Code,Chassis")
    vehicle_list = counter.read(content)
    act(counter, vehicle_list, "correct_sheet", sheet="", header_row=0)
    counter.work(vehicle_list)
    assert vehicle_list.header_row == 0
    assert states() == ["refused", "new", "new", "new"]


def test_an_applied_list_is_not_read_again(counter):
    vehicle_list = counter.take_in(csv_of(invented_vin(1), headers="VIN"))
    with pytest.raises(lists.ListCannotMove):
        act(counter, vehicle_list, "choose_years", pick="late")
    assert act(counter, vehicle_list, "apply_list").state == "applied"


def test_an_abandoned_list_keeps_its_file_and_not_its_rows(counter):
    vehicle_list = counter.read(TRAILERS)
    act(counter, vehicle_list, "abandon_list")
    assert (vehicle_list.state, StagedRow.objects.count()) == ("abandoned", 0)
    assert vehicle_list.upload.file
    with pytest.raises(lists.ListCannotMove):
        act(counter, vehicle_list, "apply_list")


def test_a_list_that_is_being_read_is_not_abandoned(counter):
    with pytest.raises(lists.ListCannotMove):
        act(counter, counter.hand_in(TRAILERS), "abandon_list")


def test_each_act_leaves_a_line_without_names(counter):
    vehicle_list = counter.take_in(
        csv_of(f"{invented_vin(1)},Ada Corrin", headers="VIN,Owner")
    )
    told = AuditEntry.objects.filter(subject=f"vehicles.vehiclelist:{vehicle_list.pk}")
    assert sorted(told.values_list("act", flat=True)) == [
        "vehicle_list.applied",
        "vehicle_list.apply_asked",
        "vehicle_list.read",
        "vehicle_list.taken",
    ]
    assert "Corrin" not in str(
        list(AuditEntry.objects.values("before", "after", "why"))
    )
