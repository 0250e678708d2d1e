"""New vehicles taken in at once, against the same rows one by one."""

import datetime as dt

import pytest

from tests.factories.dealership import NOW
from tests.factories.vehicles import StagedPackFactory, VehicleFactory, invented_vin
from tests.vehicles.conftest import csv_of
from vehicles.domain import reading
from vehicles.domain.taking import Pack
from vehicles.models import Address, Party, StagedPack, StagedRow, Tenure, Vehicle


HEADERS = (
    "VIN,Kind,Model,Plate,Build date,Odometer,Odometer date,Stock type,Owner,Owner kind,"
    "Role,Owner since,Street,City,ZIP,Country,Phone,Email,Language,Address source"
)
ROWS = (
    f"{invented_vin(1)},,Corvane,KLR 1,2021-09-14,0,2026-01-02,,Ada Corrin,,,2022-01-20,1 Elm Row,Tannersby,60000,,217 555 0134,,,",
    f"{invented_vin(2)},,Helix,,,,2026-01-02,used,Ada Corrin,,,,1 ELM ROW,Tannersby,60000,,217 555 0134,,,",
    f"{invented_vin(3)},,Helix,,,120,,new,,,,,,,,,,,,",
    f"{invented_vin(4)},trailer,Morrow,,,,,,Fernhill Leasing LLC,,lessor,,,Ostbrook,,DE,,,,state_records",
    f"{invented_vin(5)},,Morrow,,,,,,Núria Ashdown,firm,,,2 Oak Row,,2108,,,n@ash.example,es,address_service",
    f"{invented_vin(6)},,Morrow,,,,,,Núria Ashdown,firm,,,2 Oak Row,,02108,,,N@ash.example,es,address_service",
    f"{invented_vin(7)},,Morrow,,,,,,Pia Kestle,,,,,,,,,,,",
)  # fmt: skip


def books():
    """Give all that was written, without the numbers of the rows."""
    vehicles = Vehicle.objects.order_by("vin").values_list(
        "vin", "store_id", "kind", "model_year", "line", "plate", "serial",
        "build_date", "odometer", "odometer_on", "standing", "created_at", "vin_tail",
    )  # fmt: skip
    parties = Party.objects.order_by("name", "email", "pk").values_list(
        "store_id", "kind", "name", "name_folded", "phone", "email", "language",
        "do_not_write", "deceased", "erased_at",
    )  # fmt: skip
    addresses = Address.objects.order_by("street", "city", "pk").values_list(
        "party__name", "street", "street2", "city", "region", "postal_code", "country",
        "source", "only_for", "current", "since", "undeliverable_on",
    )  # fmt: skip
    tenures = Tenure.objects.order_by("vehicle__vin", "role").values_list(
        "vehicle__vin", "party__name", "role", "since", "until"
    )
    return [list(rows) for rows in (vehicles, parties, addresses, tenures)]


def test_a_pack_leaves_what_row_by_row_leaves(counter, monkeypatch):
    content = csv_of(*ROWS, headers=HEADERS)
    vehicle_list = counter.read(content, only_for="FC-11")
    assert StagedPack.objects.get().rows == len(ROWS) - 1  # the trailer's year is asked
    counter.apply(vehicle_list)
    at_once = books()
    assert [len(rows) for rows in at_once] == [6, 3, 2, 5]
    for model in (Tenure, Address, Party, Vehicle):
        model.objects.all().delete()

    monkeypatch.setattr(reading.Stager, "_new_ones", lambda *_told: set())
    vehicle_list = counter.read(content, only_for="FC-11")
    assert not StagedPack.objects.exists()
    counter.apply(vehicle_list)
    assert books() == at_once


def test_people_known_from_an_earlier_list_are_the_same_people(counter):
    headers = "VIN,Owner,Street,ZIP"
    for number, street in ((1, "1 Elm Row"), (2, "1 ELM ROW"), (3, "9 Oak Row")):
        row = f"{invented_vin(number)},Ada Corrin,{street},60000"
        counter.take_in(csv_of(row, headers=headers))
    assert (Party.objects.count(), Tenure.objects.count()) == (2, 3)


def test_a_vehicle_that_came_in_meanwhile_is_merged(counter):
    headers = "VIN,Model,Owner"
    rows = [f"{invented_vin(n)},Helix,Owner {n}" for n in (1, 2)]
    vehicle_list = counter.read(csv_of(*rows, headers=headers))
    VehicleFactory.create(vin=invented_vin(1), store=counter.store, line="Corvane")
    counter.apply(vehicle_list)
    told = Vehicle.objects.order_by("vin").values_list("vin", "line")
    assert dict(told) == {invented_vin(1): "Helix", invented_vin(2): "Helix"}
    assert list(Vehicle.objects.get(vin=invented_vin(1)).changes.values_list("field", "before")) == [("owner", ""), ("line", "Corvane")]  # fmt: skip
    assert not StagedPack.objects.exists()


def test_a_pack_is_parted_by_what_is_known(db):
    stored = StagedPackFactory.create(first_row=5)
    pack, known = Pack.read(stored).split()
    assert (pack.numbers, known) == ([5], [])
    VehicleFactory.create(vin=pack.columns["vin"][0])
    pack, known = Pack.read(stored).split()
    assert pack.numbers == []
    assert [(row, record.vin, record.model_year) for row, record in known] == [
        (5, invented_vin(700_005), 2022)
    ]


@pytest.mark.parametrize("shown", [0, 2])
def test_only_the_first_plain_rows_are_shown(counter, monkeypatch, shown):
    monkeypatch.setattr(reading, "SHOWN", shown)
    rows = [f"{invented_vin(n)},Corvane" for n in range(1, 6)]
    vehicle_list = counter.read(csv_of(*rows, headers="VIN,Model"))
    assert StagedRow.objects.filter(is_sample=True).count() == shown
    assert vehicle_list.counts["new"] == vehicle_list.counts["rows"] == 5
    counter.apply(vehicle_list)
    assert Vehicle.objects.filter(created_at=NOW).count() == 5
    assert counter.read(csv_of(*rows, headers="VIN,Model")).counts["same"] == 5


def test_days_without_a_day_are_none():
    pack = Pack([2, 3], {"build_date": ["2021-09-14", ""]})
    assert pack.days("build_date") == [dt.date(2021, 9, 14).isoformat(), None]
    assert pack.days("tenure_from") == [None, None]
