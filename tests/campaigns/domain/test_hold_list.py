"""The check of stock: keeps what changed, once."""

import datetime as dt

import pytest

from campaigns.domain.hold_list import check_stock
from campaigns.models import StockChange, StockCheck
from campaigns.rules.lifecycle import WorkState
from dealership.models import AuditEntry
from tests.factories.campaigns import CampaignFactory, CampaignVehicleFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


def check(store, days=0):
    return check_stock(store=store, by=None, at=NOW + dt.timedelta(days=days))


def told(found):
    rows = found.changes.order_by("vehicle")
    return list(rows.values_list("vehicle", "before", "after"))


def test_each_check_keeps_only_what_stands_otherwise():
    store = StoreFactory.create()
    vehicle = VehicleFactory.create(store=store, standing="new")
    other = VehicleFactory.create(store=store, standing="used")
    row = CampaignVehicleFactory.create(vehicle=vehicle)
    CampaignVehicleFactory.create(vehicle=other)

    first = check(store)

    assert (first.vehicles, first.held, first.on) == (2, 1, TODAY)
    assert told(first) == [
        (vehicle.pk, "", "hold"),
        (other.pk, "", "ask_law"),
    ]
    assert first.changes.get(vehicle=vehicle).campaigns == [row.campaign.code]
    assert told(check(store)) == []
    row.work_state = WorkState.REMEDIED_HERE
    row.save()
    other.standing = "customer"
    other.save()
    second = check(store, days=1)
    assert (second.vehicles, second.held) == (1, 0)
    assert told(second) == [
        (vehicle.pk, "hold", "clear"),
        (other.pk, "ask_law", "gone"),
    ]
    assert told(check(store, days=2)) == []


def test_a_vehicle_that_comes_back_is_new_on_the_list():
    store = StoreFactory.create()
    row = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=store, standing="new"),
        campaign=CampaignFactory.create(),
    )
    check(store)
    row.vehicle.standing = "customer"
    row.vehicle.save()
    check(store)
    row.vehicle.standing = "used"
    row.vehicle.save()

    assert told(check(store)) == [(row.vehicle.pk, "", "ask_law")]
    assert StockCheck.objects.count() == 3
    assert StockChange.objects.count() == 3


def test_each_check_stands_in_the_trail():
    store = StoreFactory.create()

    check(store)

    entry = AuditEntry.objects.get(act="stock.checked")
    assert (entry.store, entry.after) == (
        store,
        {"vehicles": 0, "held": 0, "changed": 0},
    )
