"""The store's own vehicles against all campaigns, in a fixed number of queries."""

import datetime as dt

import pytest

from campaigns.queries.hold_list import changes_of_day, stock_lines
from campaigns.rules.hold_list import Stand
from campaigns.rules.lifecycle import CampaignClass, CampaignState, WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    StockChangeFactory,
    StockCheckFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


def own(store, standing, campaign, **facts):
    vehicle = VehicleFactory.create(store=store, standing=standing)
    return CampaignVehicleFactory.create(campaign=campaign, vehicle=vehicle, **facts)


def test_what_must_stay_comes_first_and_customers_are_left_out():
    store = StoreFactory.create()
    safety = CampaignFactory.create(state=CampaignState.RUNNING)
    action = CampaignFactory.create(
        campaign_class=CampaignClass.SERVICE_ACTION, state=CampaignState.RUNNING
    )
    draft = CampaignFactory.create(state=CampaignState.DRAFT)
    used = own(store, "used", safety)
    told = own(store, "new", action)
    held = own(store, "new", safety, planned_on=TODAY)
    CampaignVehicleFactory.create(campaign=action, vehicle=held.vehicle)
    own(store, "customer", safety)
    own(store, "new", safety, work_state=WorkState.REMEDIED_HERE)
    own(store, "new", draft)
    own(StoreFactory.create(), "new", safety)

    lines = stock_lines(store=store, now=NOW)

    assert [(one.vehicle, one.stand, one.must_stay) for one in lines] == [
        (held.vehicle, Stand.HOLD, True),
        (used.vehicle, Stand.ASK_LAW, False),
        (told.vehicle, Stand.TELL, False),
    ]
    assert len(lines[0].open_here) == 2
    assert [one.planned_on for one in lines] == [TODAY, None, None]


def test_a_rental_fleet_is_called_in_within_its_hours():
    """49 USC 30120(i)(3): 24 hours for a fleet of 35 or more (30102(a)(11))."""
    store = StoreFactory.create()
    VehicleFactory.create_batch(33, store=store, standing="rental")
    campaign = CampaignFactory.create(announced_on=TODAY)
    row = own(store, "rental", campaign)
    midnight = dt.datetime(2026, 11, 25, tzinfo=NOW.tzinfo)

    (small,) = stock_lines(store=store, now=midnight)
    VehicleFactory.create(store=store, standing="loaner")
    (early,) = stock_lines(store=store, now=midnight)
    (late,) = stock_lines(store=store, now=midnight + dt.timedelta(days=2))

    assert (small.vehicle, small.stand) == (row.vehicle, Stand.ASK_LAW)
    assert [early.stand, late.stand] == [Stand.HOLD_FROM, Stand.HOLD]
    assert early.hold_by is not None
    assert early.hold_by.date() == TODAY + dt.timedelta(days=1)


@pytest.mark.parametrize("rows", [1, 3])
def test_one_vehicle_or_three_take_the_same_queries(rows, django_assert_num_queries):
    store = StoreFactory.create()
    for _number in range(rows):
        own(store, "rental", CampaignFactory.create())

    with django_assert_num_queries(3):
        assert len(stock_lines(store=store, now=NOW)) == rows


def test_the_first_check_of_a_store_tells_no_change():
    store = StoreFactory.create()
    staff = make_staff(Role.SERVICE_MANAGER, store)
    first = StockChangeFactory.create(check_of__store=store)
    StockChangeFactory.create()

    def of_today():
        return changes_of_day(staff=staff, store=store, day=TODAY)

    assert of_today() == []
    yesterday = TODAY - dt.timedelta(days=1)
    StockCheckFactory.create(store=store, on=yesterday)
    assert of_today() == [first]
    assert changes_of_day(staff=staff, store=store, day=yesterday) == []
