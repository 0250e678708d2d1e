"""Hours of the workshop, day by day, and the days to offer."""

import datetime as dt

import pytest

from campaigns.queries.visits import DayLoad, days_to_offer, hours_of, loads, week_of
from tests.factories.campaigns import VariantLabourFactory, VisitJobFactory
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.vehicles import VehicleFactory


@pytest.mark.django_db
def test_hours_are_those_of_the_visits_that_still_count():
    store = StoreFactory.create(workshop_hours_per_day=8)
    for state in ("booked", "arrived", "done", "missed", "cancelled"):
        job = VisitJobFactory.create(
            visit__vehicle=VehicleFactory.create(store=store), visit__state=state
        )
        VariantLabourFactory.create(variant=job.variant, hundredths_of_hour=80)
        VariantLabourFactory.create(variant=job.variant, hundredths_of_hour=20)
    VisitJobFactory.create()

    found = loads(store=store, first=TODAY, days=4)

    assert [(one.visits, one.booked, one.capacity) for one in found] == [
        (3, 300, 800),
        (0, 0, 0),  # Thanksgiving Day, 5 USC 6103(a)
        (0, 0, 800),
        (0, 0, 0),  # Saturday
    ]
    assert [one.is_workday for one in found] == [True, False, True, False]


def load(number: int, *, booked: int = 0, works: bool = True) -> DayLoad:
    return DayLoad(
        day=TODAY + dt.timedelta(days=number),
        visits=0,
        booked=booked,
        capacity=800,
        is_workday=works,
    )


def test_the_first_day_with_room_is_offered_first():
    seen = [load(0, booked=790), load(1, works=False), load(2), load(3, booked=720)]

    offered = days_to_offer(seen, first=TODAY, hundredths=80)

    assert [one.day.day for one in offered] == [27, 28]
    assert days_to_offer(seen, first=TODAY, hundredths=80, days=1) == [seen[2]]


def test_when_all_days_are_full_they_are_offered_all_the_same():
    seen = [load(0, booked=800), load(1, booked=900)]

    assert days_to_offer(seen, first=TODAY, hundredths=10) == seen
    assert (seen[1].free, seen[1].is_over) == (-100, True)


def test_a_week_is_monday_to_sunday():
    week = week_of(TODAY)

    assert (week[0], week[-1]) == (dt.date(2026, 11, 23), dt.date(2026, 11, 29))
    assert [day.weekday() for day in week] == list(range(7))


@pytest.mark.parametrize(
    ("hundredths", "words"), [(0, "0.00"), (5, "0.05"), (80, "0.80"), (1234, "12.34")]
)
def test_hours_are_written_with_two_decimals(hundredths, words):
    assert hours_of(hundredths) == words
