"""The visits of some days, put together with how their parts stand."""

import datetime as dt

import pytest

from campaigns.domain.booking import book_visit, mark_missed
from campaigns.queries.room import loads
from campaigns.queries.visits import visits_between, week_days
from campaigns.rules.room import LoanState
from dealership.rules.roles import Role
from inventory.models import Shipment
from tests.campaigns.domain.shop import KEYS, Shop
from tests.factories.campaigns import LoanFactory, VisitFactory
from tests.factories.dealership import NOW, TODAY, make_staff
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db

FRIDAY = TODAY + dt.timedelta(days=2)


def week(shop, staff):
    listed = visits_between(staff=staff, store=shop.store, first=TODAY, last=FRIDAY)
    return week_days(loads(store=shop.store, first=TODAY, days=3, today=TODAY), listed)


def booked(shop, row, on=TODAY):
    return book_visit(
        key=next(KEYS),
        vehicle=row.vehicle,
        store=shop.store,
        on=on,
        jobs=[row],
        by=None,
        at=NOW,
        today=TODAY,
    )


def test_each_day_counts_what_lies_on_the_shelf_and_what_a_delivery_brings():
    shop = Shop()
    staff = make_staff(Role.SERVICE_ADVISOR, shop.store)
    shop.shelf(4)
    first = booked(shop, shop.row())
    booked(shop, shop.row(), FRIDAY)
    VisitFactory.create(vehicle=VehicleFactory.create(store=shop.store), on=FRIDAY)
    VisitFactory.create(on=FRIDAY)
    assert not Shipment.objects.filter(received_at=None).exists()

    days = week(shop, staff)

    assert [(len(one.lines), one.on_shelf, one.with_delivery) for one in days] == [
        (1, 1, 0),
        (0, 0, 0),
        (2, 1, 0),
    ]
    mark_missed(visit=first, by=None, at=NOW, today=TODAY)
    (missed, _off, _later) = week(shop, staff)
    assert (len(missed.lines), missed.coming, missed.on_shelf) == (1, [], 0)
    assert missed.load.booked == 0


def test_hours_come_first_and_without_an_hour_last():
    store = Shop().store
    staff = make_staff(Role.SERVICE_ADVISOR, store)
    made = [
        VisitFactory.create(vehicle=VehicleFactory.create(store=store), on=on, at=hour)
        for on, hour in (
            (FRIDAY, dt.time(8)),
            (TODAY, None),
            (TODAY, dt.time(14)),
            (TODAY, dt.time(9)),
        )
    ]

    lines = visits_between(staff=staff, store=store, first=TODAY, last=FRIDAY)

    assert [one.visit for one in lines] == [made[3], made[2], made[1], made[0]]


def test_a_loan_car_that_is_not_needed_is_not_shown():
    store = Shop().store
    staff = make_staff(Role.SERVICE_ADVISOR, store)
    for state in (LoanState.BOOKED, LoanState.DROPPED):
        vehicle = VehicleFactory.create(store=store)
        LoanFactory.create(visit__vehicle=vehicle, state=state)
    VisitFactory.create(vehicle=VehicleFactory.create(store=store))

    lines = visits_between(staff=staff, store=store, first=TODAY, last=TODAY)

    assert [one.loan is None for one in lines] == [False, True, True]
