"""Working days, quarters, and the days on which reports fall due.

Federal holidays (5 USC 6103) come from the ``holidays`` library, with the day on
which one that falls on a weekend is observed.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Self

import holidays


SAFETY_DAYS_AFTER_QUARTER = 30
"""49 CFR 573.7(d), from memory: 30 Apr, 30 Jul, 30 Oct, 30 Jan."""

EMISSIONS_DAYS_AFTER_QUARTER = 25
"""40 CFR 1068.525(b): within 25 days of the end of the quarter."""

MONDAY_TO_FRIDAY = frozenset(range(5))


@dataclass(frozen=True, slots=True, order=True)
class Quarter:
    """A quarter of the calendar year; ``number`` is 1 to 4."""

    year: int
    number: int

    def __post_init__(self) -> None:
        """Hold the number to 1 to 4."""
        if self.number not in range(1, 5):
            raise ValueError(self.number)

    @classmethod
    def of(cls, day: date) -> Self:
        """Give the quarter that a day falls in."""
        return cls(day.year, (day.month - 1) // 3 + 1)

    @property
    def first_day(self) -> date:
        """Give the day the quarter begins."""
        return date(self.year, 3 * self.number - 2, 1)

    @property
    def last_day(self) -> date:
        """Give the day the quarter ends."""
        return self.later(1).first_day - timedelta(days=1)

    def later(self, quarters: int) -> Self:
        """Give the quarter so many quarters later."""
        years, number = divmod(self.number - 1 + quarters, 4)
        return type(self)(self.year + years, number + 1)

    def __str__(self) -> str:
        return f"{self.year}-Q{self.number}"


@lru_cache(maxsize=64)
def federal_holidays(year: int) -> frozenset[date]:
    """Give the federal holidays of a year, and the days on which they are observed.

    A holiday on a Saturday is observed the Friday before, one on a Sunday the Monday
    after; so 31 December may be next year's New Year's Day.
    """
    return frozenset(holidays.country_holidays("US", years=year))


def is_business_day(
    day: date,
    *,
    weekdays: frozenset[int] = MONDAY_TO_FRIDAY,
    closed: frozenset[date] = frozenset(),
) -> bool:
    """Tell whether work is done on a day.

    ``weekdays`` are the open days of the week, Monday is 0; ``closed`` are further
    days on which the store is shut. Federal holidays are never business days.
    """
    if day.weekday() not in weekdays or day in closed:
        return False
    return day not in federal_holidays(day.year)


def business_day_from(
    day: date,
    *,
    weekdays: frozenset[int] = MONDAY_TO_FRIDAY,
    closed: frozenset[date] = frozenset(),
) -> date:
    """Give the day itself if it is a business day, else the next one.

    Raises ValueError if ``weekdays`` is empty, for then there is none.
    """
    if not weekdays:
        raise ValueError("a week needs a working day")
    while not is_business_day(day, weekdays=weekdays, closed=closed):
        day += timedelta(days=1)
    return day


def next_business_day(
    day: date,
    *,
    weekdays: frozenset[int] = MONDAY_TO_FRIDAY,
    closed: frozenset[date] = frozenset(),
) -> date:
    """Give the first business day after a day."""
    return business_day_from(day + timedelta(days=1), weekdays=weekdays, closed=closed)


def safety_report_due(quarter: Quarter) -> date:
    """Give the day a safety recall's quarterly report is due.

    30 days after the quarter's end; on a weekend or federal holiday the next federal
    business day: 49 CFR 573.7(d), from memory; the same wording stands in 579.28(b).
    """
    last = quarter.last_day + timedelta(days=SAFETY_DAYS_AFTER_QUARTER)
    return business_day_from(last)


def emissions_report_due(quarter: Quarter) -> date:
    """Give the day an emissions recall's quarterly report is due.

    Within 25 days of the quarter's end, 40 CFR 1068.525(b); the rule says nothing of
    weekends, so the day is not moved.
    """
    return quarter.last_day + timedelta(days=EMISSIONS_DAYS_AFTER_QUARTER)
