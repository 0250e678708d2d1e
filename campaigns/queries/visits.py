"""Visits: the day list, the week, and how the parts of each stand."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch, Sum

from campaigns.models import CampaignVehicle, Loan, Repair, Visit, VisitJob
from campaigns.rules.lifecycle import STILL_OPEN, VisitState
from campaigns.rules.room import LoanState
from inventory.models import Reservation
from inventory.rules.accounts import ReservationState
from vehicles.models import Tenure
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from django.db.models import QuerySet

    from campaigns.models import Campaign, ScheduledItem
    from campaigns.queries.room import DayLoad
    from dealership.models import StaffMember, Store
    from vehicles.models import Party

EXPECTED = (VisitState.BOOKED, VisitState.ARRIVED)
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
    def loan(self) -> Loan | None:
        """Give the loan car promised for it, unless it was not needed after all."""
        found: Loan | None = getattr(self.visit, "loan", None)
        return None if found is None or found.state == LoanState.DROPPED else found

    @property
    def takes_parts(self) -> bool:
        """Tell whether anything is promised to it."""
        return any(one.state in _LIVE for job in self.jobs for one in job.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekDay:
    """One day of the calendar: its room, and its visits with their parts."""

    load: DayLoad
    lines: tuple[VisitLine, ...]

    @property
    def coming(self) -> list[VisitLine]:
        """Give the visits that are expected or here."""
        return [one for one in self.lines if one.visit.state in EXPECTED]

    @property
    def on_shelf(self) -> int:
        """Count the visits to come whose parts are all on the shelf."""
        return sum(one.takes_parts and one.parts_held for one in self.coming)

    @property
    def with_delivery(self) -> int:
        """Count those that rest on the promise of a delivery."""
        return sum(not one.parts_held for one in self.coming)


_LIVE = (ReservationState.PROMISED, ReservationState.HELD)


def visit_rows(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    """Read visits with all that a line shows."""
    jobs = VisitJob.objects.select_related(
        "campaign_vehicle__campaign", "scheduled_item", "variant__remedy", "repair"
    ).annotate(hundredths=Sum("variant__labour__hundredths_of_hour"))
    owners = Tenure.objects.filter(until__isnull=True).select_related("party")
    return visits.select_related(
        "vehicle", "store", "booked_by", "loan"
    ).prefetch_related(
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


def visits_between(
    *, staff: StaffMember, store: Store, first: dt.date, last: dt.date
) -> list[VisitLine]:
    """Give the visits of some days, by day and hour; those without one come last."""
    rows = Visit.objects.for_staff(staff).in_store(store)
    lines = lines_of(visit_rows(rows.filter(on__range=(first, last))))
    return sorted(lines, key=_by_day_and_hour)


def _by_day_and_hour(line: VisitLine) -> tuple[dt.date, bool, str, int]:
    hour = line.visit.at
    return (line.visit.on, hour is None, str(hour or ""), line.visit.pk)


def week_days(loads: Sequence[DayLoad], lines: Sequence[VisitLine]) -> list[WeekDay]:
    """Put the room of some days together with the visits of each."""
    by_day: dict[dt.date, list[VisitLine]] = defaultdict(list)
    for line in lines:
        by_day[line.visit.on].append(line)
    return [WeekDay(load=one, lines=tuple(by_day[one.day])) for one in loads]


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


def jobs_of(lines: Sequence[VisitLine]) -> int:
    """Count the jobs of some visits."""
    return sum(len(line.jobs) for line in lines)
