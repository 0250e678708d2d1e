"""The vehicles of a campaign as the population page lists them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from django.db.models import Exists, OuterRef, Q, Subquery, Window
from django.db.models.functions import RowNumber
from django.utils.translation import gettext_lazy as _

from campaigns.models import (
    CampaignVehicle,
    CriteriaVersion,
    ListedVin,
    MatchedChange,
    VisitJob,
)
from campaigns.rules.lifecycle import Reach, WorkState
from dealership.models import Job
from vehicles.models import Vehicle
from vehicles.rules.standing import Standing
from vehicles.rules.vin import normalise_vin


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable

    from django.db.models import QuerySet

    from campaigns.models import Campaign
    from dealership.models import Store


class Stretch(StrEnum):
    """A part of the population that can be looked at; the bar's parts come first."""

    REMEDIED = "remedied"
    INSPECTED_CLEAR = "inspected_clear"
    BOOKED = "booked"
    OPEN = "open"
    TO_BE_VERIFIED = "to_be_verified"
    NOT_REACHABLE = "not_reachable"
    DISQUALIFIED = "disqualified"
    REMOVED = "removed"
    OWN_STOCK = "own_stock"


STRETCH_WORDS = {
    Stretch.REMEDIED: _("remedied"),
    Stretch.INSPECTED_CLEAR: _("inspected, no repair needed"),
    Stretch.BOOKED: _("booked"),
    Stretch.OPEN: _("open, not booked"),
    Stretch.TO_BE_VERIFIED: _("to be verified"),
    Stretch.NOT_REACHABLE: _("not reachable"),
    Stretch.DISQUALIFIED: _("disqualified"),
    Stretch.REMOVED: _("removed by amendment"),
    Stretch.OWN_STOCK: _("own stock, still open"),
}
SORTS = {
    "vin": "vehicle__vin",
    "model_year": "vehicle__model_year",
    "line": "vehicle__line",
    "added": "added_on",
}
_IN_WORK = Q(work_state__in=[WorkState.OPEN, WorkState.NEEDS_REPAIR])
_WANTS_WORK = _IN_WORK | Q(work_state=WorkState.TO_VERIFY)
_REACHABLE = Q(reach=Reach.REACHABLE)
_SEARCH_LENGTH = 17


@dataclass(frozen=True, slots=True, kw_only=True)
class PopulationRow:
    """One vehicle with why it is in, what is missing, and when it comes."""

    row: CampaignVehicle
    reasons: tuple[str, ...]
    missing: tuple[str, ...]
    booked_on: dt.date | None


def booked() -> Exists:
    """Give the condition that a visit is booked for a vehicle."""
    return Exists(VisitJob.objects.filter(campaign_vehicle=OuterRef("pk"), live=True))


def in_stretch(
    rows: QuerySet[CampaignVehicle], stretch: Stretch
) -> QuerySet[CampaignVehicle]:
    """Keep the vehicles of one part of the population, as the counts count them.

    To be verified are all of them, on the manufacturer's list or not.
    """
    return rows.filter(_condition(stretch))


def _condition(stretch: Stretch) -> Q:
    """Give what the vehicles of one part meet."""
    remedied = [WorkState.REMEDIED_HERE, WorkState.REMEDIED_ELSEWHERE]
    conditions = {
        Stretch.REMEDIED: Q(work_state__in=remedied),
        Stretch.INSPECTED_CLEAR: Q(work_state=WorkState.INSPECTED_CLEAR),
        Stretch.DISQUALIFIED: Q(work_state=WorkState.DISQUALIFIED),
        Stretch.REMOVED: Q(work_state=WorkState.REMOVED),
        Stretch.BOOKED: _IN_WORK & _REACHABLE & Q(booked()),
        Stretch.OPEN: _IN_WORK & _REACHABLE & ~Q(booked()),
        Stretch.TO_BE_VERIFIED: _REACHABLE & Q(work_state=WorkState.TO_VERIFY),
        Stretch.NOT_REACHABLE: _WANTS_WORK & ~_REACHABLE,
        Stretch.OWN_STOCK: _WANTS_WORK & ~Q(vehicle__standing=Standing.CUSTOMER),
    }
    return conditions[stretch]


def population(
    *,
    rows: QuerySet[CampaignVehicle],
    stretch: Stretch | None = None,
    search: str = "",
    sort: str = "",
) -> QuerySet[CampaignVehicle]:
    """Filter and sort the population; ``search`` is a VIN, a part of it, or a plate."""
    if stretch is not None:
        rows = in_stretch(rows, stretch)
    if search.strip():
        letters = normalise_vin(search)[:_SEARCH_LENGTH]
        rows = rows.filter(
            Q(vehicle__vin__contains=letters) | Q(vehicle__plate__iexact=search.strip())
        )
    field = SORTS.get(sort.removeprefix("-"), "vehicle__vin")
    order = f"-{field}" if sort.startswith("-") else field
    visits = VisitJob.objects.filter(campaign_vehicle=OuterRef("pk"), live=True)
    return (
        rows.select_related("vehicle", "store", "campaign")
        .annotate(booked_on=Subquery(visits.values("visit__on")[:1]))
        .order_by(order, "pk")
    )


def as_rows(rows: Iterable[CampaignVehicle]) -> list[PopulationRow]:
    """Give what a page shows of each vehicle."""
    return [
        PopulationRow(
            row=row,
            reasons=sentences(row.reasons),
            missing=missing_facts(row.reasons),
            booked_on=getattr(row, "booked_on", None),
        )
        for row in rows
    ]


def sentences(reasons: Iterable[dict[str, Any]]) -> tuple[str, ...]:
    """Give the sentences of a verdict."""
    return tuple(str(reason.get("sentence", "")) for reason in reasons)


def missing_facts(reasons: Iterable[dict[str, Any]]) -> tuple[str, ...]:
    """Give the sentences that name a fact which is missing or cannot be compared."""
    return tuple(
        str(reason.get("sentence", ""))
        for reason in reasons
        if str(reason.get("code", "")).endswith(("_missing", "_not_comparable"))
    )


def listed_without_vehicle(campaign: Campaign) -> QuerySet[ListedVin]:
    """Give the VINs of the manufacturer's list that the vehicle file does not have."""
    known = Vehicle.objects.filter(vin=OuterRef("vin"))
    return ListedVin.objects.filter(~Exists(known), campaign=campaign)


def changes_of(
    *,
    version: CriteriaVersion,
    store_ids: Collection[int] | None,
    change: str = "",
    search: str = "",
) -> QuerySet[MatchedChange]:
    """Give what a match would change in these stores, with the vehicles."""
    rows = version.changes.select_related("vehicle", "vehicle__store")
    if store_ids is not None:
        rows = rows.filter(vehicle__store__in=store_ids)
    if change:
        rows = rows.filter(change=change)
    if search.strip():
        rows = rows.filter(vehicle__vin__contains=normalise_vin(search)[:17])
    return rows.order_by("pk")


def samples(
    *, version: CriteriaVersion, store_ids: Collection[int], size: int = 3
) -> dict[str, list[str]]:
    """Give some VINs of each kind of change in these stores; one statement."""
    place = Window(RowNumber(), partition_by="change", order_by="pk")
    rows = (
        version.changes.filter(vehicle__store__in=store_ids)
        .annotate(place=place)
        .filter(place__lte=size)
        .order_by("pk")
        .values_list("change", "vehicle__vin")
    )
    found: dict[str, list[str]] = {}
    for change, vin in rows:
        found.setdefault(change, []).append(vin)
    return found


def last_list_job(campaign: Campaign, store: Store) -> Job | None:
    """Give the last reading of a VIN list of this campaign that this store asked for."""
    return (
        Job.objects.filter(
            kind="campaigns.take_list",
            store=store,
            arguments__campaign_id=campaign.pk,
        )
        .order_by("-created_at")
        .first()
    )
