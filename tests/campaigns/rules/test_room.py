"""Hours by skill and loan cars: counted by hand, and by a slow count beside it."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules.room import (
    Lent,
    LoanRoom,
    Skill,
    SkillHours,
    day_hours,
    day_without_loan_car,
    hours_there,
    lacking,
    loan_room,
)


MONDAY = dt.date(2026, 11, 23)
WEEK = {
    (Skill.MECHANICAL, 1): 1_600,
    (Skill.MECHANICAL, 2): 1_400,
    (Skill.BODY, 2): 400,
}


def test_a_day_has_the_hours_of_its_week():
    def of(number, **told):
        day = MONDAY + dt.timedelta(days=number)
        facts = {"differing": {}, "holiday": False, **told}
        return hours_there(day, weekly=WEEK, **facts)

    assert of(0) == {Skill.MECHANICAL: 1_600, Skill.BODY: 0}
    assert of(1) == {Skill.MECHANICAL: 1_400, Skill.BODY: 400}
    assert of(6) == {Skill.MECHANICAL: 0, Skill.BODY: 0}
    assert of(1, holiday=True) == {Skill.MECHANICAL: 0, Skill.BODY: 0}
    # What is said for the very day comes before all else, also on a holiday.
    assert of(1, holiday=True, differing={Skill.ELECTRICAL: 300}) == {
        Skill.MECHANICAL: 0,
        Skill.BODY: 0,
        Skill.ELECTRICAL: 300,
    }


def test_a_skill_without_hours_stands_only_where_work_asks_for_it():
    there = {Skill.MECHANICAL: 1_600}

    def told(planned):
        found = day_hours(there=there, pool=4_000, planned=planned)
        return [(one.skill, one.free, one.is_over) for one in found]

    assert told({}) == [(Skill.MECHANICAL, 1_600, False)]
    assert told({Skill.BODY: 50}) == [
        (Skill.MECHANICAL, 1_600, False),
        (Skill.BODY, -50, True),
    ]


def test_one_pool_serves_every_skill():
    hours = day_hours(
        there=None, pool=800, planned={Skill.MECHANICAL: 500, Skill.BODY: 200}
    )

    assert hours == (SkillHours(skill=None, there=800, planned=700),)
    assert lacking(hours, {Skill.BODY: 100}) == ()
    assert lacking(hours, {Skill.BODY: 60, Skill.MECHANICAL: 41}) == hours


@pytest.mark.parametrize(
    ("wanted", "short"),
    [
        ({}, []),
        ({Skill.BODY: 0}, []),
        ({Skill.MECHANICAL: 100}, []),
        ({Skill.MECHANICAL: 101}, [Skill.MECHANICAL]),
        ({Skill.ELECTRICAL: 1}, [Skill.ELECTRICAL]),
    ],
)
def test_which_skill_is_short(wanted, short):
    hours = (
        SkillHours(skill=Skill.MECHANICAL, there=800, planned=700),
        SkillHours(skill=Skill.BODY, there=0, planned=200),
    )

    assert [one.skill for one in lacking(hours, wanted)] == short


def test_work_without_time_finds_room_on_an_overbooked_day():
    over = (SkillHours(skill=None, there=0, planned=500),)

    assert lacking(over, {}) == ()
    assert lacking(over, {Skill.BODY: 1}) == over


def day(number):
    return MONDAY + dt.timedelta(days=number)


LENDING = st.builds(
    lambda first, length, is_out: Lent(
        first=day(first), last=day(first + length), is_out=is_out
    ),
    st.integers(-5, 8),
    st.integers(0, 4),
    st.booleans(),
)


@given(lent=st.lists(LENDING, max_size=8), there=st.integers(0, 6))
def test_the_cars_of_a_day_are_those_that_take_it(lent, there):
    for number in range(-6, 14):
        found = loan_room(day(number), there=there, lent=lent, today=MONDAY)

        taking = [
            one
            for one in lent
            if day(number)
            in {
                one.first + dt.timedelta(days=step)
                for step in range((one.last - one.first).days + 1)
            }
            or (one.is_out and one.first <= day(number) <= MONDAY)
        ]
        out = [one for one in taking if one.is_out]
        assert found == LoanRoom(
            there=there, out=len(out), booked=len(taking) - len(out)
        )
        assert found.free == there - len(taking)


@given(
    lent=st.lists(LENDING, max_size=8),
    there=st.integers(0, 4),
    first=st.integers(0, 6),
    length=st.integers(0, 4),
)
def test_a_promise_never_takes_more_cars_than_there_are(lent, there, first, length):
    without = day_without_loan_car(
        first=day(first), last=day(first + length), there=there, lent=lent, today=MONDAY
    )

    further = Lent(first=day(first), last=day(first + length), is_out=False)
    over = [
        day(number)
        for number in range(first, first + length + 1)
        if loan_room(day(number), there=there, lent=[*lent, further], today=MONDAY).free
        < 0
    ]
    assert without == (over[0] if over else None)
