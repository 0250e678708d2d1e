import datetime as dt

import pytest

from dealership.rules.roles import Role
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.vehicles import TenureFactory, VehicleFactory, invented_vin
from vehicles.domain.vehicles import (
    OwnerStartsTooEarly,
    VehicleKnown,
    VinRefused,
    YearOpen,
    change_facts,
    change_owner,
    register_vehicle,
)
from vehicles.models import Vehicle, VehicleChange
from vehicles.rules.records import VehicleRecord
from vehicles.rules.standing import AddressSource, VehicleKind


@pytest.fixture
def store(db):
    return StoreFactory.create()


@pytest.fixture
def by(store):
    return make_staff(Role.SERVICE_ADVISOR, store)


def register(store, by, **facts):
    record = VehicleRecord(
        **{"vin": invented_vin(5), "kind": VehicleKind.LIGHT} | facts
    )
    return register_vehicle(record=record, store=store, by=by, at=NOW, today=TODAY)


def test_a_vehicle_is_entered_by_hand(store, by):
    vehicle = register(store, by, owner_name="Ada Corrin", line="Corvane")
    assert (vehicle.model_year, vehicle.store, vehicle.line) == (2022, store, "Corvane")
    assert vehicle.tenures.get().party.name == "Ada Corrin"


def test_a_wrong_check_digit_is_refused(store, by):
    # 49 CFR 565.15(c): the regulator's worked example has check digit 6
    with pytest.raises(VinRefused, match="ask for “6”"):
        register(store, by, vin="1J9RP1A35A1644345")
    assert Vehicle.objects.count() == 0


def test_a_trailer_asks_for_its_year(store, by):
    with pytest.raises(YearOpen, match="1992 or 2022"):
        register(store, by, kind=VehicleKind.TRAILER)
    vehicle = register(store, by, kind=VehicleKind.TRAILER, model_year=1992)
    assert vehicle.model_year == 1992


@pytest.mark.parametrize("own", [True, False])
def test_a_known_vehicle_is_not_entered_twice(store, by, own):
    known = VehicleFactory.create(
        vin=invented_vin(5), store=store if own else StoreFactory.create()
    )
    words = "in the file already" if own else known.store.name
    with pytest.raises(VehicleKnown, match=words):
        register(store, by)


def test_changed_facts_keep_what_they_were(by, store):
    vehicle = VehicleFactory.create(store=store, line="Corvane", plate="A")
    facts = {"line": "Helix", "plate": "A"}
    assert change_facts(vehicle=vehicle, facts=facts, by=by, at=NOW) == ["line"]
    assert change_facts(vehicle=vehicle, facts=facts, by=by, at=NOW) == []
    change = VehicleChange.objects.get()
    assert (change.field, change.before, change.after, change.by) == (
        "line", "Corvane", "Helix", by,
    )  # fmt: skip


def owner(vehicle, by, name, since, **facts):
    record = VehicleRecord(owner_name=name, tenure_from=since, **facts)
    return change_owner(
        vehicle=vehicle,
        record=record,
        source=AddressSource.OWN_CUSTOMER,
        by=by,
        at=NOW,
    )


def test_a_new_owner_ends_the_tenure_before(store, by):
    tenure = TenureFactory.create(vehicle__store=store)
    assert owner(tenure.vehicle, by, "Bram Dunmore", TODAY, street="1 Elm Row")
    tenure.refresh_from_db()
    assert tenure.until == TODAY - dt.timedelta(days=1)
    present = tenure.vehicle.tenures.get(until__isnull=True)
    assert present.party.name == "Bram Dunmore"
    assert present.party.addresses.get().street == "1 Elm Row"


def test_an_owner_cannot_begin_before_the_present_one(store, by):
    tenure = TenureFactory.create(vehicle__store=store, since=TODAY)
    with pytest.raises(OwnerStartsTooEarly):
        owner(tenure.vehicle, by, "Bram Dunmore", TODAY - dt.timedelta(days=9))
    assert tenure.vehicle.tenures.count() == 1


def test_the_same_owner_again_changes_nothing(store, by):
    vehicle = VehicleFactory.create(store=store)
    assert owner(vehicle, by, "Ada Corrin", TODAY)
    assert not owner(vehicle, by, "ADA  Corrin", TODAY)
    assert vehicle.tenures.count() == 1
