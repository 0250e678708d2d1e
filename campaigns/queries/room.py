"""Room in the workshop: each day's hours by skill and its loan cars."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import Count, Sum
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from campaigns.models import DifferingDay, Loan, Visit, VisitJob, WorkshopHours
from campaigns.models.words import SKILL_WORDS
from campaigns.rules.lifecycle import VisitState
from campaigns.rules.room import (
    Lent,
    LoanRoom,
    LoanState,
    Skill,
    SkillHours,
    day_hours,
    hours_there,
    lacking,
    loan_room,
)
from dealership.rules.workdays import federal_holidays, is_business_day
from vehicles.models import Vehicle
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from dealership.models import Store

COUNTED = (VisitState.BOOKED, VisitState.ARRIVED, VisitState.DONE)
"""States of a visit that takes hours of its day."""

WEEK = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class DayLoad:
    """How full one day is. Hours in hundredths; ``hours`` skill by skill."""

    day: dt.date
    visits: int
    hours: tuple[SkillHours, ...]
    loans: LoanRoom

    @property
    def booked(self) -> int:
        """Give the hours planned, all skills together."""
        return sum(one.planned for one in self.hours)

    @property
    def capacity(self) -> int:
        """Give the hours there, all skills together; 0 on a day off."""
        return sum(one.there for one in self.hours)

    @property
    def is_workday(self) -> bool:
        """Tell whether anybody works."""
        return self.capacity > 0

    @property
    def free(self) -> int:
        """Give the hundredths of an hour left; below zero when overbooked."""
        return self.capacity - self.booked

    @property
    def over(self) -> tuple[SkillHours, ...]:
        """Give the skills for which more is planned than there is."""
        return tuple(one for one in self.hours if one.is_over)

    @property
    def is_over(self) -> bool:
        """Tell whether more is planned for a skill than the workshop has hours."""
        return bool(self.over)

    def has_room(self, wanted: Mapping[Skill, int]) -> bool:
        """Tell whether the hours of each skill suffice for further work."""
        return not lacking(self.hours, wanted)


def skill_words(skill: Skill | None) -> str:
    """Name a skill; the single pool is named as the workshop."""
    return str(SKILL_WORDS[skill]) if skill else ""


def load_words(load: DayLoad) -> str:
    """Say how full a day is, skill by skill, and how many loan cars it has left."""
    hours = ", ".join(
        _("%(skill)s %(planned)s of %(there)s h")
        % {
            "skill": skill_words(one.skill),
            "planned": hours_of(one.planned),
            "there": hours_of(one.there),
        }
        for one in load.hours
    ).strip()
    if not load.loans.there:
        return hours
    cars = ngettext("%(n)s loan car free", "%(n)s loan cars free", load.loans.free)
    return f"{hours}, {cars % {'n': max(load.loans.free, 0)}}"


def hours_of(hundredths: int) -> str:
    """Write hundredths of an hour, zero or more, as hours: 80 gives 0.80."""
    return f"{hundredths // 100}.{hundredths % 100:02}"


def week_of(day: dt.date) -> list[dt.date]:
    """Give the days from Monday to Sunday of the week that a day falls in."""
    monday = day - timedelta(days=day.weekday())
    return [monday + timedelta(days=number) for number in range(WEEK)]


def loads(*, store: Store, first: dt.date, days: int, today: dt.date) -> list[DayLoad]:
    """Give how full each of some days in a row is, in a fixed number of queries."""
    last = first + timedelta(days=days - 1)
    visits = Visit.objects.in_store(store).filter(
        on__range=(first, last), state__in=COUNTED
    )
    counted = dict(
        visits.order_by()
        .values_list("on")
        .annotate(n=Count("pk"))
        .values_list("on", "n")
    )
    planned = _planned(store, first, last)
    there = _Hours(store, first, last)
    cars, lent = loan_cars(store), loans_of(store)
    return [
        DayLoad(
            day=day,
            visits=counted.get(day, 0),
            hours=day_hours(
                there=there.of(day), pool=there.pool(day), planned=planned[day]
            ),
            loans=loan_room(day, there=cars, lent=lent, today=today),
        )
        for day in (first + timedelta(days=number) for number in range(days))
    ]


def _planned(
    store: Store, first: dt.date, last: dt.date
) -> dict[dt.date, dict[Skill, int]]:
    """Sum up the published time of the visits, by day and skill."""
    rows = (
        VisitJob.objects.filter(
            visit__store=store,
            visit__on__range=(first, last),
            visit__state__in=COUNTED,
            variant__labour__isnull=False,
        )
        .order_by()
        .values_list("visit__on", "variant__labour__skill")
        .annotate(hundredths=Sum("variant__labour__hundredths_of_hour"))
    )
    found: dict[dt.date, dict[Skill, int]] = defaultdict(dict)
    for day, skill, hundredths in rows:
        found[day][Skill(skill)] = hundredths
    return found


class _Hours:
    """The hours that a store has said, for some days in a row."""

    def __init__(self, store: Store, first: dt.date, last: dt.date) -> None:
        self.store = store
        self.weekly = usual_week(store)
        self.differing: dict[dt.date, dict[Skill, int]] = defaultdict(dict)
        for one in DifferingDay.objects.in_store(store).filter(
            day__range=(first, last)
        ):
            self.differing[one.day][Skill(one.skill)] = one.hundredths_of_hour

    def of(self, day: dt.date) -> dict[Skill, int] | None:
        """Give the hours by skill, or None where the store has said none."""
        differing = self.differing.get(day, {})
        if not self.weekly and not differing:
            return None
        return hours_there(
            day,
            weekly=self.weekly,
            differing=differing,
            holiday=day in federal_holidays(day.year),
        )

    def pool(self, day: dt.date) -> int:
        """Give the hours of a store that has said none by skill."""
        return self.store.workshop_hours_per_day * 100 if is_business_day(day) else 0


def usual_week(store: Store) -> dict[tuple[Skill, int], int]:
    """Give the hours of a usual week, in hundredths, by skill and day (Monday is 1)."""
    return {
        (Skill(one.skill), one.weekday): one.hundredths_of_hour
        for one in WorkshopHours.objects.in_store(store)
    }


def differing_days(store: Store, *, since: dt.date) -> list[DifferingDay]:
    """Give the days to come that have hours of their own."""
    return list(DifferingDay.objects.in_store(store).filter(day__gte=since))


def loan_cars(store: Store) -> int:
    """Give how many loan cars the store has: as it says, else as many as are known."""
    if store.loan_cars is not None:
        return store.loan_cars
    return Vehicle.objects.in_store(store).filter(standing=Standing.LOANER).count()


def loans_of(store: Store, *, without: Visit | None = None) -> list[Lent]:
    """Give the loans that take a car or will, of all visits but one."""
    rows = Loan.objects.in_store(store).filter(
        state__in=[LoanState.BOOKED, LoanState.OUT]
    )
    if without is not None:
        rows = rows.exclude(visit=without)
    return [
        Lent(
            first=one.first_day,
            last=one.last_day,
            is_out=one.state == LoanState.OUT,
        )
        for one in rows
    ]


def days_to_offer(
    seen: Sequence[DayLoad],
    *,
    first: dt.date,
    wanted: Mapping[Skill, int],
    days: int = 6,
) -> list[DayLoad]:
    """Choose the working days to offer from a day on, the first with room first.

    ``wanted`` is the time that the visit takes, by skill. When every day seen is full,
    the working days are offered all the same, and each says how full it is.
    """
    workdays = [one for one in seen if one.is_workday and one.day >= first]
    with_room = [one for one in workdays if one.has_room(wanted)]
    return (with_room or workdays)[:days]
