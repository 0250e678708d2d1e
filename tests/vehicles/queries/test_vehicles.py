import pytest

from dealership.rules.roles import Role
from tests.factories.dealership import StoreFactory, make_staff
from tests.factories.vehicles import (
    PartyFactory,
    TenureFactory,
    VehicleFactory,
    invented_vin,
)
from vehicles.queries.vehicles import search


@pytest.fixture
def store(db):
    return StoreFactory.create()


@pytest.fixture
def staff(store):
    return make_staff(Role.SERVICE_ADVISOR, store)


@pytest.fixture
def vehicle(store):
    vehicle = VehicleFactory.create(store=store, vin=invented_vin(77), plate="KLR 7")
    TenureFactory.create(
        vehicle=vehicle,
        party=PartyFactory.create(
            store=store, name="Ana Núñez-Pohl", name_folded="ana nunez-pohl"
        ),
    )
    VehicleFactory.create(store=store)
    return vehicle


@pytest.mark.parametrize(
    "text",
    [
        invented_vin(77),
        f" *{invented_vin(77).lower()}* ",
        invented_vin(77)[-8:],
        "klr 7",
        "KLR 7",
        "ana nu",
        "Núñez",
        "NUNEZ-POHL",
    ],
)
def test_a_vehicle_is_found_by(text, vehicle, staff):
    assert search(text, staff, 8) == [vehicle]


@pytest.mark.parametrize("text", ["", "  ", "pohl", invented_vin(78), "unez"])
def test_nothing_is_found_by(text, vehicle, staff):
    assert search(text, staff, 8) == []


def test_other_stores_are_not_searched(vehicle):
    assert search(vehicle.vin, make_staff(Role.SERVICE_ADVISOR), 8) == []


def test_owners_come_along_without_more_queries(
    vehicle, staff, store, django_assert_num_queries
):
    for _more in range(2):
        staff.store_ids()
        with django_assert_num_queries(3):
            found = search("ana", staff, 8)
            assert all(v.open_tenures[0].party.name for v in found)
        TenureFactory.create(
            vehicle__store=store, party__name="Ana B", party__name_folded="ana b"
        )
        TenureFactory.create(
            vehicle__store=store, party__name="Ana C", party__name_folded="ana c"
        )
    assert len(search("ana", staff, 8)) == 5
    assert len(search("ana", staff, 2)) == 2
