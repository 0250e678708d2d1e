"""Room in the workshop, day by day, and the days to offer."""

import datetime as dt

import pytest

from campaigns.queries.room import (
    DayLoad,
    days_to_offer,
    hours_of,
    load_words,
    loads,
    loan_cars,
    week_of,
)
from campaigns.rules.room import LoanRoom, LoanState, Skill, SkillHours
from tests.factories.campaigns import (
    DifferingDayFactory,
    LoanFactory,
    VariantLabourFactory,
    VisitJobFactory,
    WorkshopHoursFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.vehicles import VehicleFactory


def job_of(store, *, skill="mechanical", hundredths=80, **facts):
    job = VisitJobFactory.create(
        visit__vehicle=VehicleFactory.create(store=store),
        **{f"visit__{name}": value for name, value in facts.items()},
    )
    VariantLabourFactory.create(
        variant=job.variant, hundredths_of_hour=hundredths, skill=skill
    )
    return job


@pytest.mark.django_db
def test_hours_are_those_of_the_visits_that_still_count():
    store = StoreFactory.create(workshop_hours_per_day=8)
    for state in ("booked", "arrived", "done", "missed", "cancelled"):
        job = job_of(store, state=state)
        VariantLabourFactory.create(variant=job.variant, hundredths_of_hour=20)
    VisitJobFactory.create()

    found = loads(store=store, first=TODAY, days=4, today=TODAY)

    assert [(one.visits, one.booked, one.capacity) for one in found] == [
        (3, 300, 800),
        (0, 0, 0),  # Thanksgiving Day, 5 USC 6103(a)
        (0, 0, 800),
        (0, 0, 0),  # Saturday
    ]
    assert [one.is_workday for one in found] == [True, False, True, False]


@pytest.mark.django_db
def test_each_skill_has_its_own_hours_and_work():
    store = StoreFactory.create()
    for weekday in range(1, 7):
        WorkshopHoursFactory.create(
            store=store, weekday=weekday, hundredths_of_hour=1_600
        )
    WorkshopHoursFactory.create(
        store=store, skill="electrical", weekday=3, hundredths_of_hour=400
    )
    DifferingDayFactory.create(
        store=store, day=TODAY + dt.timedelta(days=2), hundredths_of_hour=200
    )
    job_of(store, hundredths=70)
    job_of(store, hundredths=450, skill="electrical")
    WorkshopHoursFactory.create(hundredths_of_hour=9_900)  # of another store

    found = loads(store=store, first=TODAY, days=4, today=TODAY)

    def told(load):
        return [(one.skill, one.there, one.planned) for one in load.hours]

    assert told(found[0]) == [
        (Skill.MECHANICAL, 1_600, 70),
        (Skill.ELECTRICAL, 400, 450),
    ]
    # Thanksgiving Day, 5 USC 6103(a)
    assert told(found[1]) == [(Skill.MECHANICAL, 0, 0), (Skill.ELECTRICAL, 0, 0)]
    assert told(found[2]) == [(Skill.MECHANICAL, 200, 0), (Skill.ELECTRICAL, 0, 0)]
    assert told(found[3]) == [(Skill.MECHANICAL, 1_600, 0), (Skill.ELECTRICAL, 0, 0)]
    assert [one.skill for one in found[0].over] == [Skill.ELECTRICAL]


@pytest.mark.django_db
def test_loan_cars_are_counted_there_out_and_promised():
    store = StoreFactory.create(loan_cars=4)
    tomorrow = TODAY + dt.timedelta(days=1)
    vehicle = VehicleFactory.create(store=store)
    LoanFactory.create(visit__vehicle=vehicle, first_day=TODAY, last_day=tomorrow)
    LoanFactory.create(
        visit__vehicle=vehicle,
        first_day=TODAY - dt.timedelta(days=3),
        last_day=TODAY - dt.timedelta(days=1),
        state=LoanState.OUT,  # late: still out today
        out_at=NOW,
    )
    LoanFactory.create(visit__vehicle=vehicle, first_day=TODAY, state=LoanState.DROPPED)
    LoanFactory.create(first_day=TODAY)

    found = loads(store=store, first=TODAY, days=3, today=TODAY)

    assert [one.loans for one in found] == [
        LoanRoom(there=4, out=1, booked=1),
        LoanRoom(there=4, out=0, booked=1),
        LoanRoom(there=4, out=0, booked=0),
    ]
    assert [one.loans.free for one in found] == [2, 3, 4]


@pytest.mark.django_db
def test_a_store_that_gives_no_number_has_its_registered_loan_cars():
    store = StoreFactory.create()
    VehicleFactory.create_batch(2, store=store, standing="loaner")
    VehicleFactory.create(store=store, standing="rental")
    VehicleFactory.create(standing="loaner")

    assert (store.loan_cars, loan_cars(store)) == (None, 2)
    assert loan_cars(StoreFactory.create(loan_cars=0)) == 0


@pytest.mark.django_db
@pytest.mark.parametrize("rows", [1, 3])
def test_one_visit_or_three_take_the_same_queries(rows, django_assert_num_queries):
    store = StoreFactory.create(loan_cars=3)
    for _number in range(rows):
        LoanFactory.create(visit=job_of(store).visit)

    with django_assert_num_queries(5):
        loads(store=store, first=TODAY, days=7, today=TODAY)


def load(number: int, *, booked: int = 0, works: bool = True) -> DayLoad:
    return DayLoad(
        day=TODAY + dt.timedelta(days=number),
        visits=0,
        hours=(SkillHours(skill=None, there=800 if works else 0, planned=booked),),
        loans=LoanRoom(there=2, out=1, booked=0),
    )


WANTED = {Skill.MECHANICAL: 80}


def test_the_first_day_with_room_is_offered_first():
    seen = [load(0, booked=790), load(1, works=False), load(2), load(3, booked=720)]

    offered = days_to_offer(seen, first=TODAY, wanted=WANTED)

    assert [one.day.day for one in offered] == [27, 28]
    assert days_to_offer(seen, first=TODAY, wanted=WANTED, days=1) == [seen[2]]


def test_when_all_days_are_full_they_are_offered_all_the_same():
    seen = [load(0, booked=800), load(1, booked=900)]

    assert days_to_offer(seen, first=TODAY, wanted=WANTED) == seen
    assert (seen[1].free, seen[1].is_over) == (-100, True)


def test_how_full_a_day_is_in_words():
    by_skill = DayLoad(
        day=TODAY,
        visits=1,
        hours=(
            SkillHours(skill=Skill.MECHANICAL, there=1_600, planned=70),
            SkillHours(skill=Skill.BODY, there=0, planned=0),
        ),
        loans=LoanRoom(there=0, out=0, booked=0),
    )

    assert load_words(load(0, booked=790)) == "7.90 of 8.00 h, 1 loan car free"
    assert load_words(by_skill) == "mechanical 0.70 of 16.00 h, body 0.00 of 0.00 h"


def test_a_week_is_monday_to_sunday():
    week = week_of(TODAY)

    assert (week[0], week[-1]) == (dt.date(2026, 11, 23), dt.date(2026, 11, 29))
    assert [day.weekday() for day in week] == list(range(7))


@pytest.mark.parametrize(
    ("hundredths", "words"), [(0, "0.00"), (5, "0.05"), (80, "0.80"), (1234, "12.34")]
)
def test_hours_are_written_with_two_decimals(hundredths, words):
    assert hours_of(hundredths) == words
