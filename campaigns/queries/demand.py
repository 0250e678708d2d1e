"""What the open vehicles of many stores will want, counted in groups by the database.

No vehicle is ever looked at alone: each question is one statement over all stores and
campaigns asked for, whose answer has a row for each group of vehicles that are alike.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, OuterRef

from campaigns.models import (
    CampaignVehicle,
    PartFitted,
    PartRequest,
    Repair,
    VisitJob,
)
from campaigns.queries.idle import (
    COMING,
    WAITING,
    count_idle,
    open_groups,
    sort_campaigns,
)
from campaigns.queries.plans import by_index
from campaigns.queries.records import records_of
from campaigns.queries.remedies import ALL
from campaigns.queries.variants import variant_of
from campaigns.rules.lifecycle import Outcome, RepairState
from inventory.forecasting.demand import Cohort


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Iterator, Mapping

    from django.db.models import QuerySet

    from campaigns.models import Campaign, Remedy
    from campaigns.queries.idle import Idle, Sorted
    from campaigns.queries.records import Cell, Record

_LOOKED_AT = (Outcome.REMEDIED, Outcome.INSPECTED_CLEAR, Outcome.NEEDS_REPAIR)
_ROWS = Count("*")


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

    ``remedies`` by campaign id. See ``count_idle`` for who is expected.
    """
    with by_index():
        return _read(
            campaigns=campaigns, remedies=remedies, store_ids=store_ids, today=today
        )


def _read(
    *,
    campaigns: Collection[Campaign],
    remedies: Mapping[int, Remedy],
    store_ids: Collection[int],
    today: dt.date,
) -> Wanted:
    ids = [one.pk for one in campaigns]
    rows = CampaignVehicle.objects.filter(campaign__in=ids, store__in=store_ids)
    groups = open_groups(rows)
    sorted_ = sort_campaigns(campaigns, remedies, today)
    idle = count_idle(
        rows=rows,
        store_ids=store_ids,
        groups=groups,
        campaigns=campaigns,
        sorted_=sorted_,
        remedies=remedies,
        today=today,
    )
    linked = _Linked(campaign_ids=frozenset(ids), store_ids=store_ids)
    records = records_of(
        rows=rows,
        store_ids=store_ids,
        campaigns=campaigns,
        open_groups=groups,
        today=today,
    )
    return Wanted(
        cohorts=_cohorts(idle, today),
        booked=_bookings(linked),
        waiting=_waiting(linked, rows, sorted_, remedies, today),
        in_work=_workshop(linked),
        own=_own_stock(idle),
        looked=_looked(linked, remedies),
        records=records.by_cell(),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Linked:
    """Asks tables that belong to vehicles of campaigns, from their own side.

    They are small beside the population, so they lead and the vehicle is looked up.
    """

    campaign_ids: frozenset[int]
    store_ids: Collection[int]

    def groups(
        self,
        rows: QuerySet[Any],
        *names: str,
        link: str = "campaign_vehicle",
        counted: Count = _ROWS,
    ) -> Iterator[tuple[Any, ...]]:
        """Count by store, campaign and these names; the number comes last."""
        told = (
            rows.filter(**{f"{link}__store__in": self.store_ids})
            .order_by()
            .values_list(f"{link}__store_id", f"{link}__campaign_id", *names)
            .annotate(n=counted)
        )
        return (row for row in told if row[1] in self.campaign_ids)


def _cohorts(
    idle: Idle, today: dt.date
) -> dict[Cell, dict[int | None, tuple[Cohort, ...]]]:
    """Give the vehicles of customers by the weeks since their letters."""
    found: dict[Cell, dict[int | None, list[Cohort]]] = defaultdict(
        lambda: defaultdict(list)
    )
    told = sorted(
        (place[:2], place[2] or 0, place[2], days, n)
        for (place, days), n in idle.cohorts.items()
        if n
    )
    for cell, _order, which, (latest, first), vehicles in told:
        found[cell][which].append(
            Cohort(
                weeks_since_letter=(today - latest).days / 7,
                vehicles=vehicles,
                weeks_since_first=(today - first).days / 7 if first < latest else None,
            )
        )
    return {
        cell: {which: tuple(rows) for which, rows in by_variant.items()}
        for cell, by_variant in found.items()
    }


def _own_stock(idle: Idle) -> dict[Cell, dict[int | None, dict[dt.date | None, int]]]:
    """Give the store's own vehicles by the day that is planned for them."""
    found: dict[Cell, dict[int | None, dict[dt.date | None, int]]] = defaultdict(
        lambda: defaultdict(dict)
    )
    for ((store, campaign, which), day), vehicles in idle.own.items():
        found[store, campaign][which][day] = vehicles
    return {cell: dict(by_variant) for cell, by_variant in found.items()}


def _waiting(
    linked: _Linked,
    rows: QuerySet[CampaignVehicle],
    sorted_: Sorted,
    remedies: Mapping[int, Remedy],
    today: dt.date,
) -> dict[Cell, dict[int | None, int]]:
    """Count the vehicles that wait, by variant."""
    waiting = PartRequest.objects.filter(state__in=WAITING)
    told = [
        (store, campaign, sorted_.one_way[campaign], n)
        for store, campaign, n in linked.groups(waiting)
        if campaign in sorted_.one_way
    ]
    ids = [one.pk for one in sorted_.several]
    if ids:
        which = variant_of(
            {pk: remedies[pk] for pk in ids if pk in remedies}, today=today
        )
        told += (
            rows.filter(campaign__in=ids, requests__state__in=WAITING)
            .annotate(which=which)
            .order_by()
            .values_list("store_id", "campaign_id", "which")
            .annotate(n=Count("*"))
        )
    return _nested(told)


def _bookings(linked: _Linked) -> dict[Cell, dict[int | None, tuple[dt.date, ...]]]:
    """Count booked vehicles by variant and day; those already in work are not in it."""
    working = Repair.objects.filter(visit_job=OuterRef("pk"))
    booked = VisitJob.objects.filter(live=True, visit__state__in=COMING).exclude(
        Exists(working)
    )
    found: dict[Cell, dict[int | None, list[dt.date]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for store, campaign, variant, day, vehicles in sorted(
        linked.groups(booked, "variant_id", "visit__on")
    ):
        found[store, campaign][variant] += [day] * vehicles
    return {
        cell: {which: tuple(days) for which, days in by_variant.items()}
        for cell, by_variant in found.items()
    }


def _workshop(linked: _Linked) -> dict[Cell, dict[int | None, int]]:
    """Count repairs that are open, by variant."""
    at_work = Repair.objects.filter(state=RepairState.OPEN)
    return _nested(linked.groups(at_work, "variant_id"))


def _nested(groups: Iterable[Any]) -> dict[Cell, dict[int | None, int]]:
    found: dict[Cell, dict[int | None, int]] = defaultdict(dict)
    for store, campaign, which, vehicles in groups:
        found[store, campaign][which] = vehicles
    return dict(found)


def _looked(
    linked: _Linked, remedies: Mapping[int, Remedy]
) -> dict[Cell, dict[int | None, Looked]]:
    """Count the repairs that were signed off, and those that took each part.

    Only of remedies in which not every vehicle takes each part; of the others nobody
    asks.
    """
    unsure = [one.pk for one in remedies.values() if _is_conditional(one)]
    done = Repair.objects.filter(
        state=RepairState.COMPLETED,
        outcome__in=_LOOKED_AT,
        variant__remedy__in=unsure,
    )
    taken = PartFitted.objects.filter(repair__in=done.values("pk"))
    by_part: dict[tuple[int, int, int], dict[int, int]] = defaultdict(dict)
    fitted = linked.groups(
        taken,
        "repair__variant_id",
        "part_id",
        link="repair__campaign_vehicle",
        counted=Count("repair_id", distinct=True),
    )
    for store, campaign, variant, part, number in fitted:
        by_part[store, campaign, variant][part] = number
    found: dict[Cell, dict[int | None, Looked]] = defaultdict(dict)
    for store, campaign, variant, number in linked.groups(done, "variant_id"):
        found[store, campaign][variant] = Looked(
            repairs=number, fitted=by_part[store, campaign, variant]
        )
    return dict(found)


def _is_conditional(remedy: Remedy) -> bool:
    """Tell whether a part of the remedy may or may not be needed."""
    variants = list(remedy.variants.all())
    return len(variants) > 1 or any(
        line.share_basis_points < ALL for one in variants for line in one.parts.all()
    )
