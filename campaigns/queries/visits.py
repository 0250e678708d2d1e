"""Visits: the day list, the week, how the parts of each stand, the hours booked."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import Count, Prefetch, Sum

from campaigns.models import CampaignVehicle, Repair, Visit, VisitJob
from campaigns.rules.lifecycle import STILL_OPEN, VisitState
from dealership.rules.workdays import is_business_day
from inventory.models import Reservation
from inventory.rules.accounts import ReservationState
from vehicles.models import Tenure
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from django.db.models import QuerySet

    from campaigns.models import Campaign, ScheduledItem
    from dealership.models import StaffMember, Store
    from vehicles.models import Party

EXPECTED = (VisitState.BOOKED, VisitState.ARRIVED)
COUNTED = (VisitState.BOOKED, VisitState.ARRIVED, VisitState.DONE)
"""States of a visit that takes hours of its day."""

WEEK = 7
OWN_STOCK = (Standing.NEW, Standing.USED, Standing.RENTAL, Standing.LOANER)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    """One job of a visit and how its parts stand."""

    job: VisitJob
    parts: tuple[Reservation, ...]
    hundredths_of_hour: int
    repair: Repair | None

    @property
    def campaign(self) -> Campaign | None:
        """Give the campaign, or None for a scheduled item."""
        row = self.job.campaign_vehicle
        return row.campaign if row else None

    @property
    def subject(self) -> Campaign | ScheduledItem:
        """Give what the job is for: it has a code and a title."""
        subject = self.campaign or self.job.scheduled_item
        assert subject is not None, "the database keeps one of them"
        return subject

    @property
    def parts_held(self) -> bool:
        """Tell whether all live promises stand on the shelf."""
        live = [one for one in self.parts if one.state in _LIVE]
        return all(one.state == ReservationState.HELD for one in live)


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitLine:
    """One visit with its jobs and the person it is for."""

    visit: Visit
    jobs: tuple[JobLine, ...]
    owner: Party | None

    @property
    def hundredths_of_hour(self) -> int:
        """Give the published time of all its jobs, in hundredths of an hour."""
        return sum(job.hundredths_of_hour for job in self.jobs)

    @property
    def parts_held(self) -> bool:
        """Tell whether the parts of every job are on the shelf."""
        return all(job.parts_held for job in self.jobs)

    @property
    def takes_parts(self) -> bool:
        """Tell whether anything is promised to it."""
        return any(one.state in _LIVE for job in self.jobs for one in job.parts)


_LIVE = (ReservationState.PROMISED, ReservationState.HELD)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayLoad:
    """How full one day is. Hours in hundredths; ``capacity`` 0 on a day off."""

    day: dt.date
    visits: int
    booked: int
    capacity: int
    is_workday: bool

    @property
    def free(self) -> int:
        """Give the hundredths of an hour left; below zero when overbooked."""
        return self.capacity - self.booked

    @property
    def is_over(self) -> bool:
        """Tell whether more is booked than the workshop has hours."""
        return self.booked > self.capacity


def hours_of(hundredths: int) -> str:
    """Write hundredths of an hour, zero or more, as hours: 80 gives 0.80."""
    return f"{hundredths // 100}.{hundredths % 100:02}"


def visit_rows(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    """Read visits with all that a line shows."""
    jobs = VisitJob.objects.select_related(
        "campaign_vehicle__campaign", "scheduled_item", "variant__remedy", "repair"
    ).annotate(hundredths=Sum("variant__labour__hundredths_of_hour"))
    owners = Tenure.objects.filter(until__isnull=True).select_related("party")
    return visits.select_related("vehicle", "store", "booked_by").prefetch_related(
        Prefetch("jobs", queryset=jobs.order_by("pk")),
        Prefetch("vehicle__tenures", queryset=owners.order_by("-pk")),
    )


def lines_of(visits: Iterable[Visit]) -> list[VisitLine]:
    """Put visits read by ``visit_rows`` together with the promises of their parts."""
    listed = list(visits)
    subjects = [job.subject for visit in listed for job in visit.jobs.all()]
    promised: dict[str, list[Reservation]] = defaultdict(list)
    rows = Reservation.objects.filter(subject__in=subjects).select_related(
        "part", "earmark"
    )
    for row in rows.order_by("pk"):
        promised[row.subject].append(row)
    return [
        VisitLine(
            visit=visit,
            jobs=tuple(
                JobLine(
                    job=job,
                    parts=tuple(promised[job.subject]),
                    hundredths_of_hour=_hundredths(job),
                    repair=getattr(job, "repair", None),
                )
                for job in visit.jobs.all()
            ),
            owner=next((one.party for one in visit.vehicle.tenures.all()), None),
        )
        for visit in listed
    ]


def _hundredths(job: VisitJob) -> int:
    """Read the published time that ``visit_rows`` has summed up."""
    summed: int | None = getattr(job, "hundredths", None)
    return summed or 0


def visits_of_day(*, staff: StaffMember, store: Store, day: dt.date) -> list[VisitLine]:
    """Give a day's list in order of the hour; those without one come last."""
    rows = Visit.objects.for_staff(staff).in_store(store).filter(on=day)
    lines = lines_of(visit_rows(rows))
    return sorted(
        lines, key=lambda one: (one.visit.at is None, one.visit.at, one.visit.pk)
    )


def overdue_visits(
    *, staff: StaffMember, store: Store, today: dt.date
) -> list[VisitLine]:
    """Give the visits of past days of which nobody said what became of them."""
    rows = Visit.objects.for_staff(staff).in_store(store)
    return lines_of(
        visit_rows(rows.filter(on__lt=today, state=VisitState.BOOKED).order_by("on"))
    )


def visits_of_campaign(
    *, staff: StaffMember, store: Store, campaign: Campaign
) -> list[VisitLine]:
    """Give the expected visits for one campaign, the next first."""
    rows = (
        Visit.objects.for_staff(staff)
        .in_store(store)
        .filter(jobs__campaign_vehicle__campaign=campaign, state__in=EXPECTED)
        .distinct()
        .order_by("on", "at", "pk")
    )
    return lines_of(visit_rows(rows))


def own_stock_of(
    *, staff: StaffMember, store: Store, campaign: Campaign
) -> list[CampaignVehicle]:
    """Give the store's own vehicles that are open in a campaign, unplanned first."""
    rows = (
        CampaignVehicle.objects.for_staff(staff)
        .in_store(store)
        .filter(
            campaign=campaign,
            work_state__in=STILL_OPEN,
            vehicle__standing__in=OWN_STOCK,
        )
        .select_related("vehicle")
    )
    return sorted(rows, key=lambda row: (row.planned_on or row.added_on.min, row.pk))


def loads(*, store: Store, first: dt.date, days: int) -> list[DayLoad]:
    """Give how full each of some days in a row is, in two queries."""
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
    booked = dict(
        VisitJob.objects.filter(visit__in=visits)
        .order_by()
        .values("visit__on")
        .annotate(hundredths=Sum("variant__labour__hundredths_of_hour"))
        .values_list("visit__on", "hundredths")
    )
    found = []
    for number in range(days):
        day = first + timedelta(days=number)
        works = is_business_day(day)
        found.append(
            DayLoad(
                day=day,
                visits=counted.get(day, 0),
                booked=booked.get(day) or 0,
                capacity=store.workshop_hours_per_day * 100 if works else 0,
                is_workday=works,
            )
        )
    return found


def days_to_offer(
    seen: Sequence[DayLoad], *, first: dt.date, hundredths: int, days: int = 6
) -> list[DayLoad]:
    """Choose the working days to offer from a day on, the first with room first.

    ``hundredths`` is the time that the visit takes. When every day seen is full, the
    working days are offered all the same, and each says how full it is.
    """
    workdays = [one for one in seen if one.is_workday and one.day >= first]
    with_room = [one for one in workdays if one.free >= hundredths]
    return (with_room or workdays)[:days]


def week_of(day: dt.date) -> list[dt.date]:
    """Give the days from Monday to Sunday of the week that a day falls in."""
    monday = day - timedelta(days=day.weekday())
    return [monday + timedelta(days=number) for number in range(WEEK)]


def jobs_of(lines: Sequence[VisitLine]) -> int:
    """Count the jobs of some visits."""
    return sum(len(line.jobs) for line in lines)
