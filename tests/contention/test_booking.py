"""Two advisors want the last piece at the same moment."""

import pytest

from campaigns.domain.booking import PartsNotThere, book_visit
from campaigns.domain.loans import NoLoanCar
from campaigns.domain.room import HoursUsedUp
from campaigns.models import Loan, Visit
from inventory.models import Reservation
from inventory.queries.books import faults_of_the_books
from tests.contention.test_reserving import at_once
from tests.factories.campaigns import WorkshopHoursFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
)


pytestmark = [
    pytest.mark.both,
    pytest.mark.committing,
    pytest.mark.usefixtures("committing_db"),
]


def book(row, key, **facts):
    return book_visit(
        key=key,
        vehicle=row.vehicle,
        store=row.store,
        on=TODAY,
        jobs=[row],
        by=None,
        at=NOW,
        today=TODAY,
        **facts,
    )


def test_one_gets_the_last_piece_and_the_other_learns_the_day():
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 1, campaign.earmark)
    announce(store, part, 4, on=TODAY, earmark=campaign.earmark)
    rows = [open_vehicle(campaign, store) for _ in range(4)]

    results = at_once(*(lambda row=row: book(row, f"v{row.pk}") for row in rows))

    booked = [one for one in results if isinstance(one, Visit)]
    refused = [one for one in results if isinstance(one, PartsNotThere)]
    assert (len(booked), len(refused)) == (1, 3)
    # Thursday is Thanksgiving Day, 5 USC 6103(a): Wednesday's delivery counts on Friday
    assert {one.earliest.isoformat() for one in refused} == {"2026-11-27"}
    assert Visit.objects.count() == 1
    assert Reservation.objects.count() == 1
    assert faults_of_the_books() == []


def test_the_same_press_from_two_tabs_is_one_visit():
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 5, campaign.earmark)
    row = open_vehicle(campaign, store)

    results = at_once(*(lambda: book(row, "one") for _ in range(4)))

    assert len({one.pk for one in results if isinstance(one, Visit)}) == 1
    assert [one for one in results if not isinstance(one, Visit)] == []
    assert Visit.objects.count() == 1
    assert Reservation.objects.get().quantity == 1


@pytest.mark.parametrize(
    ("facts", "refusal"),
    [({"hours": 150}, HoursUsedUp), ({"loan_until": TODAY}, NoLoanCar)],
    ids=["hours", "loan cars"],
)
def test_the_last_hour_and_the_last_loan_car_go_to_one(facts, refusal):
    store, part = StoreFactory.create(loan_cars=1), PartFactory.create()
    campaign = campaign_with_remedy(part)  # takes 0.80 h
    put_on_shelf(store, part, 9, campaign.earmark)
    facts = dict(facts)
    hours = facts.pop("hours", 10_000)
    WorkshopHoursFactory.create(store=store, weekday=3, hundredths_of_hour=hours)
    rows = [open_vehicle(campaign, store) for _ in range(4)]

    results = at_once(
        *(lambda row=row: book(row, f"v{row.pk}", **facts) for row in rows)
    )

    assert [isinstance(one, Visit) for one in results].count(True) == 1
    assert [isinstance(one, refusal) for one in results].count(True) == 3
    assert (Visit.objects.count(), Loan.objects.count()) == (1, "loan_until" in facts)
    assert faults_of_the_books() == []
