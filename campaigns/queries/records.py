"""How campaigns have run so far at each store: who asked, and how many were expected.

The rows stand in columns, one for each group of vehicles that are alike, and all are
held against a curve at once. No vehicle is looked at alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from django.db.models import (
    Case,
    Count,
    DateField,
    F,
    OuterRef,
    Q,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from campaigns.models import CampaignVehicle, ReachFact, StateChange
from campaigns.queries.plans import in_index_order
from campaigns.rules.lifecycle import Reach, WorkState
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping

    from django.db.models import QuerySet
    from numpy.typing import NDArray

    from campaigns.models import Campaign
    from campaigns.queries.idle import OpenGroup
    from inventory.forecasting.response import ResponseCurve

Cell: TypeAlias = tuple[int, int]
"""A store's and a campaign's id."""

_IN_WORK = (WorkState.OPEN, WorkState.NEEDS_REPAIR)
_NOT_WATCHED = (WorkState.REMOVED, WorkState.TO_VERIFY)
_PLACE = ("store_id", "campaign_id", "first_letter_on", "latest_letter_on")

Group: TypeAlias = tuple[
    int, int, "dt.date | None", "dt.date | None", "dt.date", bool, int
]
"""Store, campaign, first and latest letter, day until, whether asked then, vehicles."""


@dataclass(frozen=True, slots=True)
class Record:
    """How one campaign has run at one store so far."""

    of: Records
    place: int

    @property
    def asked(self) -> int:
        """Give how many asked once they had their letter."""
        return int(self.of.asked[self.place])

    def expected(self, curve: ResponseCurve) -> float:
        """Give how many the curve expected by now."""
        return float(self.of.expected(curve)[self.place])

    @property
    def mean_model_year(self) -> float | None:
        """Give the mean model year, None while no vehicle has one."""
        return self.of.mean_year(self.place)


@dataclass(slots=True)
class Records:
    """The records of many stores and campaigns, in columns.

    ``again`` are the weeks from the first letter to the latest one (0: the same),
    ``until`` those to the day until which the vehicles were seen. Vehicles that are
    taken out of a group counted before stand with a negative number.
    """

    cells: list[Cell]
    cell: NDArray[np.int64]
    again: NDArray[np.float64]
    until: NDArray[np.float64]
    vehicles: NDArray[np.float64]
    asked: NDArray[np.float64]
    years: QuerySet[CampaignVehicle]
    _by_curve: dict[int, tuple[ResponseCurve, NDArray[np.float64]]] = field(
        default_factory=dict
    )
    _mean_years: dict[Cell, float] | None = None

    def by_cell(self) -> dict[Cell, Record]:
        """Give each record under its store and campaign."""
        return {cell: Record(self, place) for place, cell in enumerate(self.cells)}

    def expected(self, curve: ResponseCurve) -> NDArray[np.float64]:
        """Give what a curve expected by now, for all cells; worked out once a curve."""
        known = self._by_curve.get(id(curve))
        if known is None:
            each = self.vehicles * curve.since(self.again, self.until)
            total: NDArray[np.float64] = np.asarray(
                np.bincount(self.cell, weights=each, minlength=len(self.cells)),
                dtype=np.float64,
            )
            known = self._by_curve[id(curve)] = curve, total
        return known[1]

    def mean_year(self, place: int) -> float | None:
        """Give the mean model year of a cell; read for all when first asked for."""
        if self._mean_years is None:
            told: Any = (
                self.years.order_by()
                .values_list("store_id", "campaign_id")
                .annotate(
                    years=Sum("vehicle__model_year"), n=Count("vehicle__model_year")
                )
            )
            self._mean_years = {
                (store, campaign): years / n for store, campaign, years, n in told if n
            }
        return self._mean_years.get(self.cells[place])


def records_of(
    *,
    rows: QuerySet[CampaignVehicle],
    store_ids: Collection[int],
    campaigns: Collection[Campaign],
    open_groups: Iterable[OpenGroup],
    today: dt.date,
) -> Records:
    """Read how these campaigns have run. The store's own vehicles are left out.

    ``rows``: those of these stores and campaigns. ``open_groups``: the vehicles that
    are open now, which are seen until today.
    """
    watched = rows.exclude(work_state__in=_NOT_WATCHED)
    groups: list[Group] = [
        (
            one.store_id,
            one.campaign_id,
            one.first,
            one.latest,
            today,
            False,
            one.unasked,
        )
        for one in open_groups
        if one.unasked and one.state in _IN_WORK and one.reach == Reach.REACHABLE
    ]
    groups += _asked(watched)
    groups += _gone(watched)
    ids = {one.pk for one in campaigns}
    groups += [
        (*group[:-1], -group[-1]) for group in _own(store_ids, today) if group[1] in ids
    ]
    return _columns(
        groups, campaigns, watched.filter(vehicle__standing=Standing.CUSTOMER)
    )


def _asked(watched: QuerySet[CampaignVehicle]) -> list[Group]:
    """Count who asked, by the day."""
    rows: Any = (
        watched.filter(first_asked_on__isnull=False)
        .order_by()
        .values_list(*_PLACE, "first_asked_on")
        .annotate(n=Count("*"))
    )
    with in_index_order():
        return [(*row[:5], True, row[5]) for row in rows]


def _gone(watched: QuerySet[CampaignVehicle]) -> list[Group]:
    """Count who left without asking: out of reach, or mended elsewhere."""
    unasked = watched.filter(first_asked_on__isnull=True)
    lost = unasked.filter(work_state__in=_IN_WORK).exclude(reach=Reach.REACHABLE)
    over = unasked.exclude(work_state__in=["to_verify", "open", "needs_repair"])
    found: list[Group] = []
    for rows, day in ((lost, _last_fact()), (over, _last_change())):
        told: Any = (
            rows.order_by()
            .annotate(until=Coalesce(day, F("added_on")))
            .values_list(*_PLACE, "until")
            .annotate(n=Count("*"))
        )
        found += [(*row[:5], False, row[5]) for row in told]
    return found


def _own(store_ids: Collection[int], today: dt.date) -> list[Group]:
    """Count the store's own vehicles, which stand among the others, in any campaign.

    They are few, so they lead: with a list of campaigns SQLite would look each of them
    up in every one of these.
    """
    watched = CampaignVehicle.objects.filter(store__in=store_ids).exclude(
        work_state__in=_NOT_WATCHED
    )
    left = Case(
        When(
            work_state__in=_IN_WORK,
            reach=Reach.REACHABLE,
            then=Value(today, output_field=DateField()),
        ),
        When(work_state__in=_IN_WORK, then=_last_fact()),
        default=_last_change(),
        output_field=DateField(),
    )
    told: Any = (
        watched.filter(~Q(vehicle__standing="customer"))
        .order_by()
        .annotate(until=Coalesce(F("first_asked_on"), left, F("added_on")))
        .values_list(*_PLACE, "until")
        .annotate(n=Count("*"), came=Count("first_asked_on"))
    )
    found: list[Group] = []
    for *place, n, came in told:
        if came:
            found.append((*place, True, came))
        if n - came:
            found.append((*place, False, n - came))
    return found


def _last_fact() -> Subquery:
    rows = ReachFact.objects.filter(campaign_vehicle=OuterRef("pk"))
    return Subquery(rows.order_by("-pk").values("effective_on")[:1])


def _last_change() -> Subquery:
    rows = StateChange.objects.filter(campaign_vehicle=OuterRef("pk"))
    return Subquery(rows.order_by("-pk").values("effective_on")[:1])


def _columns(
    groups: list[Group],
    campaigns: Collection[Campaign],
    years: QuerySet[CampaignVehicle],
) -> Records:
    """Stand the groups in columns, always in the same order."""
    launched = start_days(campaigns)
    whole = np.array(
        [
            (
                store,
                campaign,
                (first or launched[campaign]).toordinal(),
                (latest or launched[campaign]).toordinal(),
                until.toordinal(),
                asked,
                n,
            )
            for store, campaign, first, latest, until, asked, n in groups
        ],
        dtype=np.int64,
    ).reshape(-1, 7)
    whole = whole[np.lexsort(whole.T[::-1])]
    pairs, cell = np.unique(whole[:, :2], axis=0, return_inverse=True)
    cell = cell.reshape(-1)
    first, latest, until, came, n = whole[:, 2:].T
    counted = np.where((came == 1) & (until >= first), n, 0).astype(float)
    return Records(
        cells=[(int(store), int(campaign)) for store, campaign in pairs],
        cell=cell,
        again=(latest - first) / 7,
        until=(until - first) / 7,
        vehicles=n.astype(float),
        asked=np.bincount(cell, weights=counted, minlength=len(pairs)).astype(
            np.float64
        ),
        years=years,
    )


def start_days(campaigns: Collection[Campaign]) -> Mapping[int, dt.date]:
    """Give the day from which weeks count where no letter arrived: the launch."""
    return {one.pk: one.letters_on or one.announced_on for one in campaigns}
