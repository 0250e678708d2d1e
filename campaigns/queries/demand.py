"""What the open vehicles of many stores will want, counted in groups by the database.

No vehicle is ever looked at alone: each question is one statement over all stores and
campaigns asked for, whose answer has a row for each group of vehicles that are alike.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any, TypeAlias

from django.db.models import (
    Case,
    Count,
    DateField,
    Exists,
    F,
    OuterRef,
    Q,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from campaigns.models import (
    CampaignVehicle,
    Letter,
    PartFitted,
    PartRequest,
    ReachFact,
    Repair,
    StateChange,
    VisitJob,
)
from campaigns.queries.remedies import limits_of
from campaigns.queries.variants import variant_of
from campaigns.rules.eligibility import SAFETY_YEARS, years_later
from campaigns.rules.lifecycle import (
    CampaignClass,
    Outcome,
    Reach,
    RepairState,
    RequestState,
    RoundKind,
    VisitState,
    WorkState,
)
from inventory.forecasting.demand import Cohort
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping

    from django.db.models import QuerySet

    from campaigns.models import Campaign, Remedy
    from inventory.forecasting.response import ResponseCurve

Cell: TypeAlias = tuple[int, int]
"""A store's and a campaign's id."""

_WAITING = (RequestState.WAITING, RequestState.OFFERED)
_COMING = (VisitState.BOOKED, VisitState.ARRIVED)
_OWN = [kind.value for kind in Standing if kind is not Standing.CUSTOMER]
_LOOKED_AT = (Outcome.REMEDIED, Outcome.INSPECTED_CLEAR, Outcome.NEEDS_REPAIR)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposed:
    """Vehicles alike in what they were exposed to: letters, and until when.

    ``asked`` tells whether they asked on ``until``; else they were last seen open then.
    """

    first: dt.date
    latest: dt.date
    until: dt.date
    asked: bool
    vehicles: int

    def hazard(self, curve: ResponseCurve) -> float:
        """Give H over the time since the first letter, the latest one counted."""
        days = (self.until - self.first).days
        again = (self.latest - self.first).days
        letters = (0.0, again / 7) if 0 < again < days else (0.0,)
        return curve.hazard(letters, 0.0, days / 7)


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """How one campaign has run at one store so far.

    ``mean_model_year`` is None while no vehicle has one.
    """

    exposed: tuple[Exposed, ...]
    mean_model_year: float | None

    @property
    def asked(self) -> int:
        """Give how many asked once they had their letter."""
        return sum(
            one.vehicles for one in self.exposed if one.asked and one.until >= one.first
        )

    def expected(self, curve: ResponseCurve) -> float:
        """Give how many the curve expected by now."""
        return sum(one.vehicles * one.hazard(curve) for one in self.exposed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """Repairs of one variant that were signed off.

    ``fitted``: on how many of them each part was fitted, by part id.
    """

    repairs: int
    fitted: Mapping[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """All that open vehicles want, by store and campaign, then by variant.

    A variant of None: which one the vehicles need cannot be told yet. ``cohorts`` are
    vehicles neither booked nor waiting nor in the workshop nor of the store itself.
    ``own`` has the days on which own vehicles are planned, None where none is set.
    """

    cohorts: Mapping[Cell, Mapping[int | None, tuple[Cohort, ...]]]
    booked: Mapping[Cell, Mapping[int | None, tuple[dt.date, ...]]]
    waiting: Mapping[Cell, Mapping[int | None, int]]
    in_work: Mapping[Cell, Mapping[int | None, int]]
    own: Mapping[Cell, Mapping[int | None, Mapping[dt.date | None, int]]]
    looked: Mapping[Cell, Mapping[int | None, Looked]]
    records: Mapping[Cell, Record]

    def cells(self) -> set[Cell]:
        """Give the stores and campaigns that want anything."""
        return {
            *self.cohorts,
            *self.booked,
            *self.waiting,
            *self.in_work,
            *self.own,
        }


def wanted_of(
    *,
    campaigns: Collection[Campaign],
    remedies: Mapping[int, Remedy],
    store_ids: Collection[int],
    today: dt.date,
) -> Wanted:
    """Count what the open vehicles of these stores want, in a fixed number of queries.

    ``remedies`` by campaign id. Vehicles past their limit, out of reach or still to be
    verified (unless the manufacturer lists them) are not expected.
    """
    rows = CampaignVehicle.objects.filter(
        campaign__in=[one.pk for one in campaigns], store__in=store_ids
    )
    which = variant_of(remedies, today=today)
    expected = rows.filter(_expected(campaigns, today)).annotate(which=which)
    idle = expected.exclude(_booked() | _waiting() | _in_work())
    return Wanted(
        cohorts=_cohorts(idle.exclude(vehicle__standing__in=_OWN), today),
        booked=_bookings(rows),
        waiting=_counted(rows.filter(_waiting()).annotate(which=which)),
        in_work=_workshop(rows),
        own=_own_stock(idle.filter(vehicle__standing__in=_OWN)),
        looked=_looked(rows),
        records=_records(rows, today),
    )


# Which vehicles -------------------------------------------------------------------


def _expected(campaigns: Collection[Campaign], today: dt.date) -> Q:
    """Give the test of a vehicle that may still come for the remedy."""
    open_now = Q(work_state__in=[WorkState.OPEN, WorkState.NEEDS_REPAIR]) | Q(
        work_state=WorkState.TO_VERIFY, on_list=True
    )
    within = open_now & Q(reach=Reach.REACHABLE)
    for campaign in campaigns:
        past = _past_limit(campaign, today)
        if past is not None:
            within &= ~(Q(campaign=campaign.pk) & past)
    return within


def _past_limit(campaign: Campaign, today: dt.date) -> Q | None:
    """Give the test of a vehicle past the limits of its campaign, or None."""
    limits = limits_of(campaign)
    if limits.campaign_class is CampaignClass.EMISSIONS:
        return None
    past: list[Q] = []
    years, day = limits.years, today
    if limits.campaign_class is CampaignClass.SAFETY:
        years, day = min(limits.years or SAFETY_YEARS, SAFETY_YEARS), limits.notice_on
    elif limits.last_day is not None and today > limits.last_day:
        return Q(pk__isnull=False)
    if limits.odometer_miles is not None:
        known = Q(vehicle__odometer__isnull=False)
        past.append(known & Q(vehicle__odometer__gt=limits.odometer_miles))
    if years is not None:
        known = Q(vehicle__first_use_date__isnull=False)
        past.append(known & Q(vehicle__first_use_date__lt=_bought_before(day, years)))
    if not past:
        return None
    found = past[0]
    for one in past[1:]:
        found |= one
    return found


def _bought_before(day: dt.date, years: int) -> dt.date:
    """Give the day before which a vehicle was first used more than so many years ago.

    Turned round from ``years_later``: the years from 28 February end on that day.
    """
    cut = years_later(day, -years)
    return cut if cut.day == day.day else cut + timedelta(days=1)


def _booked() -> Exists:
    return Exists(
        VisitJob.objects.filter(
            campaign_vehicle=OuterRef("pk"), live=True, visit__state__in=_COMING
        )
    )


def _waiting() -> Exists:
    return Exists(
        PartRequest.objects.filter(campaign_vehicle=OuterRef("pk"), state__in=_WAITING)
    )


def _in_work() -> Exists:
    return Exists(
        Repair.objects.filter(campaign_vehicle=OuterRef("pk"), state=RepairState.OPEN)
    )


# Counting them --------------------------------------------------------------------


def _clock(*, latest: bool) -> Coalesce:
    """Give the day from which weeks count: a letter that arrived, else the launch.

    An interim letter says that there are no parts yet and starts no clock.
    """
    letters = Letter.objects.filter(
        campaign_vehicle=OuterRef("pk"),
        posted_on__isnull=False,
        returned_on__isnull=True,
    ).exclude(letter_round__kind=RoundKind.INTERIM)
    order = "-posted_on" if latest else "posted_on"
    return Coalesce(
        Subquery(letters.order_by(order).values("posted_on")[:1]),
        F("campaign__letters_on"),
        F("campaign__announced_on"),
    )


def _cohorts(
    rows: QuerySet[CampaignVehicle], today: dt.date
) -> dict[Cell, dict[int | None, tuple[Cohort, ...]]]:
    """Count vehicles by the days of their latest letter and of the first."""
    groups = (
        rows.order_by()
        .annotate(since=_clock(latest=True), first=_clock(latest=False))
        .values_list("store_id", "campaign_id", "which", "since", "first")
        .annotate(n=Count("pk"))
    )
    found: dict[Cell, dict[int | None, list[Cohort]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for store, campaign, which, since, first, vehicles in sorted(
        groups, key=lambda row: (*row[:2], row[2] or 0, *row[3:])
    ):
        found[store, campaign][which].append(
            Cohort(
                weeks_since_letter=(today - since).days / 7,
                vehicles=vehicles,
                weeks_since_first=(today - first).days / 7 if first < since else None,
            )
        )
    return {
        cell: {which: tuple(rows) for which, rows in by_variant.items()}
        for cell, by_variant in found.items()
    }


def _bookings(
    rows: QuerySet[CampaignVehicle],
) -> dict[Cell, dict[int | None, tuple[dt.date, ...]]]:
    """Count booked vehicles by variant and day; those already in work are not in it."""
    working = Repair.objects.filter(visit_job=OuterRef("pk"))
    groups = (
        VisitJob.objects.filter(
            campaign_vehicle__in=rows.values("pk"),
            live=True,
            visit__state__in=_COMING,
        )
        .exclude(Exists(working))
        .order_by()
        .values_list(
            "campaign_vehicle__store_id",
            "campaign_vehicle__campaign_id",
            "variant_id",
            "visit__on",
        )
        .annotate(n=Count("pk"))
    )
    found: dict[Cell, dict[int | None, list[dt.date]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for store, campaign, variant, day, vehicles in sorted(groups, key=_by_place):
        found[store, campaign][variant] += [day] * vehicles
    return {
        cell: {which: tuple(days) for which, days in by_variant.items()}
        for cell, by_variant in found.items()
    }


def _counted(rows: QuerySet[Any]) -> dict[Cell, dict[int | None, int]]:
    """Count vehicles by variant."""
    groups = (
        rows.order_by()
        .values_list("store_id", "campaign_id", "which")
        .annotate(n=Count("pk"))
    )
    return _nested(groups)


def _workshop(rows: QuerySet[CampaignVehicle]) -> dict[Cell, dict[int | None, int]]:
    """Count repairs that are open, by variant."""
    groups = (
        Repair.objects.filter(
            campaign_vehicle__in=rows.values("pk"), state=RepairState.OPEN
        )
        .order_by()
        .values_list("store_id", "campaign_vehicle__campaign_id", "variant_id")
        .annotate(n=Count("pk"))
    )
    return _nested(groups)


def _nested(groups: Iterable[Any]) -> dict[Cell, dict[int | None, int]]:
    found: dict[Cell, dict[int | None, int]] = defaultdict(dict)
    for store, campaign, which, vehicles in groups:
        found[store, campaign][which] = vehicles
    return dict(found)


def _own_stock(
    rows: QuerySet[Any],
) -> dict[Cell, dict[int | None, dict[dt.date | None, int]]]:
    """Count the store's own vehicles by the day that is planned for them."""
    groups = (
        rows.order_by()
        .values_list("store_id", "campaign_id", "which", "planned_on")
        .annotate(n=Count("pk"))
    )
    found: dict[Cell, dict[int | None, dict[dt.date | None, int]]] = defaultdict(
        lambda: defaultdict(dict)
    )
    for store, campaign, which, day, vehicles in groups:
        found[store, campaign][which][day] = vehicles
    return {cell: dict(by_variant) for cell, by_variant in found.items()}


def _looked(rows: QuerySet[CampaignVehicle]) -> dict[Cell, dict[int | None, Looked]]:
    """Count the repairs that were signed off, and those that took each part."""
    done = Repair.objects.filter(
        campaign_vehicle__in=rows.values("pk"),
        state=RepairState.COMPLETED,
        outcome__in=_LOOKED_AT,
    )
    place = ("store_id", "campaign_vehicle__campaign_id", "variant_id")
    repairs = done.order_by().values_list(*place).annotate(n=Count("pk"))
    fitted = (
        PartFitted.objects.filter(repair__in=done.values("pk"))
        .order_by()
        .values_list(*(f"repair__{name}" for name in place), "part_id")
        .annotate(n=Count("repair_id", distinct=True))
    )
    by_part: dict[tuple[int, int, int], dict[int, int]] = defaultdict(dict)
    for store, campaign, variant, part, number in fitted:
        by_part[store, campaign, variant][part] = number
    found: dict[Cell, dict[int | None, Looked]] = defaultdict(dict)
    for store, campaign, variant, number in repairs:
        found[store, campaign][variant] = Looked(
            repairs=number, fitted=by_part[store, campaign, variant]
        )
    return dict(found)


def _records(rows: QuerySet[CampaignVehicle], today: dt.date) -> dict[Cell, Record]:
    """Count who asked, and how long the others have been open, by days."""
    groups = (
        rows.exclude(work_state__in=[WorkState.REMOVED, WorkState.TO_VERIFY])
        .exclude(vehicle__standing__in=_OWN)
        .order_by()
        .annotate(
            first=_clock(latest=False), latest=_clock(latest=True), until=_until(today)
        )
        .values("store_id", "campaign_id", "first", "latest", "until")
        .annotate(
            n=Count("pk"),
            asked=Count("first_asked_on"),
            years=Sum("vehicle__model_year"),
            known=Count("vehicle__model_year"),
        )
    )
    exposed: dict[Cell, list[Exposed]] = defaultdict(list)
    years: dict[Cell, list[int]] = defaultdict(lambda: [0, 0])
    for group in sorted(groups, key=_by_days):
        cell = group["store_id"], group["campaign_id"]
        days = {name: group[name] for name in ("first", "latest", "until")}
        asked, rest = group["asked"], group["n"] - group["asked"]
        if asked:
            exposed[cell].append(Exposed(asked=True, vehicles=asked, **days))
        if rest:
            exposed[cell].append(Exposed(asked=False, vehicles=rest, **days))
        years[cell][0] += group["years"] or 0
        years[cell][1] += group["known"]
    return {
        cell: Record(
            exposed=tuple(groups),
            mean_model_year=years[cell][0] / years[cell][1] if years[cell][1] else None,
        )
        for cell, groups in exposed.items()
    }


def _until(today: dt.date) -> Coalesce:
    """Give the day until which a vehicle was seen: it asked, it left, or today."""
    change = StateChange.objects.filter(campaign_vehicle=OuterRef("pk"))
    fact = ReachFact.objects.filter(campaign_vehicle=OuterRef("pk"))
    still_open = Q(work_state__in=[WorkState.OPEN, WorkState.NEEDS_REPAIR])
    left = Case(
        When(
            still_open & Q(reach=Reach.REACHABLE),
            then=Value(today, output_field=DateField()),
        ),
        When(
            still_open,
            then=Subquery(fact.order_by("-pk").values("effective_on")[:1]),
        ),
        default=Subquery(change.order_by("-pk").values("effective_on")[:1]),
        output_field=DateField(),
    )
    return Coalesce(F("first_asked_on"), left, F("added_on"))


def _by_place(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """Sort groups so that the same facts are always added in the same order."""
    store, campaign, which, day, _vehicles = row
    return store, campaign, which or 0, day


def _by_days(group: Mapping[str, Any]) -> tuple[Any, ...]:
    """Sort groups of days, as above."""
    names = ("store_id", "campaign_id", "first", "latest", "until")
    return tuple(group[name] for name in names)
