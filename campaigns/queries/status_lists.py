"""A status list held against what stands here, and up to when such lists know."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Max, OuterRef, Q, Subquery

from campaigns.models import (
    Campaign,
    CampaignVehicle,
    StateChange,
    StatusDifference,
    StatusList,
)
from campaigns.rules.lifecycle import CampaignState, WorkState
from campaigns.rules.status_rows import Meets, meets
from vehicles.models import Vehicle


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from campaigns.rules.status_rows import StatusRead, StatusRow
    from dealership.models import Store

CHUNK = 5_000


@dataclass(frozen=True, slots=True)
class Compared:
    """One row beside the vehicle's row here; None where there is none."""

    said: StatusRow
    mine: CampaignVehicle | None
    follows: Meets


def compare(status_list: StatusList, read: StatusRead) -> list[Compared]:
    """Hold every row against what stands here now, in a few statements a chunk.

    A row that names no campaign is of the list's own; the last of several rows about
    one vehicle and campaign counts. What a person has decided before, and the list
    only says again, agrees.
    """
    named = _campaigns_by_name(status_list)
    wanted: dict[tuple[str, int | None], StatusRow] = {}
    for row in read.rows:
        wanted[row.vin, named.get(_key(row.campaign))] = row
    rows = list(wanted.items())
    found: list[Compared] = []
    for start in range(0, len(rows), CHUNK):
        found += _compare(status_list, rows[start : start + CHUNK])
    return found


def _campaigns_by_name(status_list: StatusList) -> dict[str, int]:
    """Give the campaigns that run by each number under which they are known."""
    running = Campaign.objects.exclude(state=CampaignState.DRAFT).order_by("pk")
    named: dict[str, int] = {}
    for pk, *numbers in running.values_list(
        "pk", "code", "maker_number", "regulator_number"
    ):
        named |= {_key(number): pk for number in numbers if number}
    if status_list.campaign_id is not None:
        named[""] = status_list.campaign_id
    return named


def _compare(
    status_list: StatusList, rows: Sequence[tuple[tuple[str, int | None], StatusRow]]
) -> list[Compared]:
    vins = {vin for (vin, _campaign), _row in rows}
    last = StateChange.objects.filter(campaign_vehicle=OuterRef("pk")).order_by("-id")
    mine = {
        (row.vehicle.vin, row.campaign_id): row
        for row in CampaignVehicle.objects.in_store(status_list.store)
        .filter(vehicle__vin__in=vins)
        .select_related("vehicle", "store", "campaign")
        .annotate(stands_since=Subquery(last.values("effective_on")[:1]))
    }
    held = set(
        Vehicle.objects.in_store(status_list.store)
        .filter(vin__in=vins)
        .values_list("vin", flat=True)
    )
    decided = set(
        StatusDifference.objects.filter(
            campaign_vehicle__in=[row.pk for row in mine.values()],
            settled_at__isnull=False,
            ours_stands=True,
        ).values_list("campaign_vehicle", "said", "work_state")
    )
    found = []
    for (vin, campaign), said in rows:
        row = None if campaign is None else mine.get((vin, campaign))
        if row is None:
            known = campaign is not None and vin in held
            follows = Meets.NOT_IN if known else Meets.UNKNOWN
        else:
            since = getattr(row, "stands_since", None) or row.added_on
            follows = meets(
                said.status,
                WorkState(row.work_state),
                since=since,
                listed_on=status_list.listed_on,
            )
            again = (row.pk, said.status.value, row.work_state) in decided
            if follows is Meets.ASKS and again:
                follows = Meets.AGREES
        found.append(Compared(said, row, follows))
    return found


def count_follows(compared: Sequence[Compared]) -> dict[str, int]:
    """Count what follows, each kind named."""
    counts = Counter(one.follows for one in compared)
    return {kind.value: counts[kind] for kind in Meets}


def known_until(campaign: Campaign, store: Store) -> dt.date | None:
    """Give up to when the applied lists know of work done elsewhere; None: no list."""
    told: dict[str, dt.date | None] = (
        StatusList.objects.in_store(store)
        .filter(applied_at__isnull=False)
        .filter(Q(campaign=campaign) | Q(campaign__isnull=True))
        .aggregate(day=Max("listed_on"))
    )
    return told["day"]


def _key(text: str) -> str:
    return "".join(text.split()).casefold()
