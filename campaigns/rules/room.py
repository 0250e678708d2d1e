"""Room in the workshop: hours by day and skill, and loan cars, there and taken.

Hours are whole hundredths of an hour. A store may say its hours skill by skill; one
that does not has a single pool, whatever the skill.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

SUNDAY = 7
"""Days of the week are counted as in ISO 8601: Monday is 1."""


class Skill(StrEnum):
    """What somebody in the workshop can do; a labour line asks for one."""

    MECHANICAL = "mechanical"
    ELECTRICAL = "electrical"
    BODY = "body"


class LoanState(StrEnum):
    """How a loan car that was promised for a visit stands."""

    BOOKED = "booked"
    OUT = "out"
    BACK = "back"
    DROPPED = "dropped"


LOAN_MOVES: dict[LoanState, frozenset[LoanState]] = {
    LoanState.BOOKED: frozenset({LoanState.OUT, LoanState.DROPPED}),
    LoanState.OUT: frozenset({LoanState.BACK}),
    LoanState.BACK: frozenset(),
    LoanState.DROPPED: frozenset(),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SkillHours:
    """Hours there and planned on one day; ``skill`` None: the store's single pool."""

    skill: Skill | None
    there: int
    planned: int

    @property
    def free(self) -> int:
        """Give the hundredths of an hour left; below zero when overbooked."""
        return self.there - self.planned

    @property
    def is_over(self) -> bool:
        """Tell whether more is planned than there is."""
        return self.planned > self.there


@dataclass(frozen=True, slots=True, kw_only=True)
class LoanRoom:
    """Loan cars on one day: the store's number, those out, those promised."""

    there: int
    out: int
    booked: int

    @property
    def free(self) -> int:
        """Give how many could still be promised; below zero when too many are."""
        return self.there - self.out - self.booked


@dataclass(frozen=True, slots=True, kw_only=True)
class Lent:
    """One loan: its first and last day, both inside, and whether the car is out."""

    first: date
    last: date
    is_out: bool

    def takes(self, day: date, *, today: date) -> bool:
        """Tell whether it takes a car on a day.

        One that is out and late is taken to stay out today, for nobody knows better.
        """
        last = max(self.last, today) if self.is_out else self.last
        return self.first <= day <= last


def hours_there(
    day: date,
    *,
    weekly: Mapping[tuple[Skill, int], int],
    differing: Mapping[Skill, int],
    holiday: bool,
) -> dict[Skill, int]:
    """Give the hours of each skill on a day.

    ``weekly``: by skill and day of the week, 1 to 7; a skill named there at all is
    given on every day. ``differing``: what was said for this very day comes before the
    week and before a holiday.
    """
    skills = [one for one in Skill if any(one is skill for skill, _day in weekly)]
    found = {
        skill: 0 if holiday else weekly.get((skill, day.isoweekday()), 0)
        for skill in skills
    }
    return found | dict(differing)


def day_hours(
    *,
    there: Mapping[Skill, int] | None,
    pool: int,
    planned: Mapping[Skill, int],
) -> tuple[SkillHours, ...]:
    """Set what is planned against what is there, skill by skill or as one pool.

    ``there`` None: the store has said no hours by skill, and ``pool`` counts. A skill
    for which there is no hour and work all the same stands with 0.
    """
    if there is None:
        return (SkillHours(skill=None, there=pool, planned=sum(planned.values())),)
    return tuple(
        SkillHours(skill=one, there=there.get(one, 0), planned=planned.get(one, 0))
        for one in Skill
        if one in there or planned.get(one)
    )


def lacking(
    hours: Sequence[SkillHours], wanted: Mapping[Skill, int]
) -> tuple[SkillHours, ...]:
    """Give the skills whose hours do not suffice for further work, with their hours."""
    asked = {skill: hundredths for skill, hundredths in wanted.items() if hundredths}
    if len(hours) == 1 and hours[0].skill is None:
        short = bool(asked) and sum(asked.values()) > hours[0].free
        return tuple(hours) if short else ()
    by_skill = {one.skill: one for one in hours}
    found = []
    for skill, hundredths in asked.items():
        one = by_skill.get(skill) or SkillHours(skill=skill, there=0, planned=0)
        if hundredths > one.free:
            found.append(one)
    return tuple(found)


def loan_room(day: date, *, there: int, lent: Iterable[Lent], today: date) -> LoanRoom:
    """Count the loan cars of a day."""
    taking = [one for one in lent if one.takes(day, today=today)]
    out = sum(one.is_out for one in taking)
    return LoanRoom(there=there, out=out, booked=len(taking) - out)


def day_without_loan_car(
    *, first: date, last: date, there: int, lent: Sequence[Lent], today: date
) -> date | None:
    """Give the first day of a wanted loan on which no car is left, or None."""
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        if loan_room(day, there=there, lent=lent, today=today).free < 1:
            return day
    return None
