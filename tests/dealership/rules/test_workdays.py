"""Working days and due dates against the regulations and the calendar."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dealership.rules import workdays
from dealership.rules.workdays import Quarter


DAYS = st.dates(date(2015, 1, 1), date(2035, 12, 31))


def test_safety_reports_of_2026():
    """49 CFR 573.7(d), from memory; 30 January 2027 is a Saturday (calendar)."""
    due = [workdays.safety_report_due(Quarter(2026, n)) for n in (1, 2, 3, 4)]
    assert due == [
        date(2026, 4, 30),
        date(2026, 7, 30),
        date(2026, 10, 30),
        date(2027, 2, 1),
    ]


def test_emissions_reports_of_2026():
    """40 CFR 1068.525(b): within 25 days, no word of weekends."""
    due = [workdays.emissions_report_due(Quarter(2026, n)) for n in (1, 2, 3, 4)]
    assert due == [
        date(2026, 4, 25),
        date(2026, 7, 25),
        date(2026, 10, 25),
        date(2027, 1, 25),
    ]


@pytest.mark.parametrize(
    ("day", "open_then"),
    [
        (date(2026, 11, 26), False),  # Thanksgiving Day, 5 USC 6103(a)
        (date(2026, 11, 27), True),
        (date(2026, 7, 3), False),  # 4 July is a Saturday: 5 USC 6103(b)
        (date(2027, 7, 5), False),  # 4 July is a Sunday: observed on Monday
        (date(2027, 12, 31), False),  # 1 January 2028 is a Saturday
        (date(2026, 6, 19), False),
        (date(2026, 11, 28), False),
        (date(2026, 11, 25), True),
    ],
)
def test_business_days(day, open_then):
    assert workdays.is_business_day(day) is open_then


def test_next_business_day_skips_thanksgiving_and_the_days_closed():
    assert workdays.next_business_day(date(2026, 11, 25)) == date(2026, 11, 27)
    closed = frozenset({date(2026, 11, 27)})
    assert workdays.next_business_day(date(2026, 11, 25), closed=closed) == date(
        2026, 11, 30
    )
    saturday_too = frozenset(range(6))
    assert workdays.next_business_day(
        date(2026, 11, 25), closed=closed, weekdays=saturday_too
    ) == date(2026, 11, 28)


def test_a_week_without_working_days_is_our_own_mistake():
    with pytest.raises(ValueError, match="working day"):
        workdays.business_day_from(date(2026, 1, 1), weekdays=frozenset())
    with pytest.raises(ValueError, match="5"):
        Quarter(2026, 5)


@settings(deadline=None)
@given(DAYS)
def test_next_business_day_is_the_first_one_after(day):
    found = workdays.next_business_day(day)
    between = [day + timedelta(days=n) for n in range(1, (found - day).days)]
    assert found > day
    assert workdays.is_business_day(found)
    assert not any(workdays.is_business_day(other) for other in between)


@settings(deadline=None)
@given(DAYS)
def test_each_day_is_in_its_quarter(day):
    quarter = Quarter.of(day)
    assert quarter.first_day <= day <= quarter.last_day
    assert quarter.later(1).first_day == quarter.last_day + timedelta(days=1)
    assert quarter.later(5).later(-5) == quarter
    assert str(quarter) == f"{day.year}-Q{quarter.number}"
