"""How closed campaigns ran, and what was learned from them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, TypeAlias

from django.db.models import (
    Case,
    Count,
    DateField,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from campaigns.models import (
    CampaignVehicle,
    ClosedResponse,
    LearnedResponse,
    Letter,
    ReachFact,
    StateChange,
)
from campaigns.rules.lifecycle import CampaignState, Reach, RoundKind, WorkState
from inventory.forecasting.response import (
    FEWEST_FOR_A_CURVE,
    ClosedCampaign,
    Seen,
    experience_of,
)
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping

    from campaigns.models import Campaign
    from inventory.forecasting.response import Experience

Scope: TypeAlias = tuple[int | None, str]
"""A store's id, or None for the group, and a class, or "" for all classes."""

Row: TypeAlias = list[Any]
"""Vehicles alike: how many, the days of their letters, the day until, asked or not."""

_OPEN = [WorkState.OPEN, WorkState.NEEDS_REPAIR]


def course_of(campaign: Campaign, *, last_day: dt.date) -> dict[int, list[Row]]:
    """Give how a campaign ran, by store, in groups of vehicles alike.

    Days count from the day letters were due, else from the announcement. Vehicles
    that never were open, and the store's own, are left out. Who asked was seen until
    then; the others until they left (mended elsewhere, out of reach) or ``last_day``.
    """
    start = campaign.letters_on or campaign.announced_on
    groups: Any = (
        CampaignVehicle.objects.filter(
            campaign=campaign, vehicle__standing=Standing.CUSTOMER
        )
        .exclude(work_state__in=[WorkState.REMOVED, WorkState.TO_VERIFY])
        .order_by()
        .annotate(
            first=_letter(0),
            second=_letter(1),
            third=_letter(2),
            until=_until(last_day),
        )
        .values("store_id", "first", "second", "third", "until")
        .annotate(n=Count("pk"), asked=Count("first_asked_on"))
    )
    found: dict[int, list[Row]] = defaultdict(list)
    for group in groups:
        letters = sorted(
            {
                (day - start).days
                for day in (group["first"], group["second"], group["third"])
                if day is not None
            }
            or {0}
        )
        until = (group["until"] - start).days
        for vehicles, asked in (
            (group["asked"], True),
            (group["n"] - group["asked"], False),
        ):
            if vehicles:
                found[group["store_id"]].append([vehicles, letters, until, asked])
    return {store: sorted(rows) for store, rows in found.items()}


def _letter(place: int) -> Subquery:
    """Give the day of a letter that arrived; an interim one starts no clock."""
    letters: QuerySet[Letter] = Letter.objects.filter(
        campaign_vehicle=OuterRef("pk"),
        posted_on__isnull=False,
        returned_on__isnull=True,
    ).exclude(letter_round__kind=RoundKind.INTERIM)
    return Subquery(
        letters.order_by("posted_on").values("posted_on")[place : place + 1]
    )


def _until(last_day: dt.date) -> Coalesce:
    """Give the day until which a vehicle was seen."""
    end = Value(last_day, output_field=DateField())
    fact = ReachFact.objects.filter(campaign_vehicle=OuterRef("pk")).order_by("-pk")
    change = StateChange.objects.filter(campaign_vehicle=OuterRef("pk")).order_by("-pk")
    left = Case(
        When(Q(work_state__in=_OPEN, reach=Reach.REACHABLE), then=end),
        When(work_state__in=_OPEN, then=Subquery(fact.values("effective_on")[:1])),
        default=Subquery(change.values("effective_on")[:1]),
        output_field=DateField(),
    )
    return Coalesce(F("first_asked_on"), left, F("added_on"))


def seen_of(rows: Iterable[Row]) -> tuple[Seen, ...]:
    """Turn kept rows of days into the weeks that the forecast counts in."""
    return tuple(
        Seen(
            vehicles=vehicles,
            letters=tuple(day / 7 for day in letters),
            until=until / 7,
            asked=asked,
        )
        for vehicles, letters, until, asked in rows
    )


def closed_campaigns(
    *, store_id: int | None = None
) -> dict[Scope, list[tuple[ClosedResponse, ClosedCampaign]]]:
    """Give closed campaigns by store and class, each set that is large enough.

    Of one store, or of all stores and of the group. The latest closed come last.
    """
    rows = ClosedResponse.objects.filter(
        campaign__state=CampaignState.CLOSED
    ).select_related("campaign", "store")
    if store_id is not None:
        rows = rows.filter(store=store_id)
    found: dict[Scope, list[tuple[ClosedResponse, ClosedCampaign]]] = defaultdict(list)
    for row in rows.order_by("campaign__closed_at", "campaign", "store"):
        one = row, ClosedCampaign(label=row.campaign.code, seen=seen_of(row.seen))
        stores = (row.store_id,) if store_id is not None else (row.store_id, None)
        for store in stores:
            found[store, row.campaign.campaign_class].append(one)
            found[store, ""].append(one)
    return {scope: rows for scope, rows in found.items() if _enough(rows)}


def _enough(rows: Iterable[tuple[ClosedResponse, ClosedCampaign]]) -> bool:
    """Tell whether there are three campaigns; one at three stores is one."""
    return len({row.campaign_id for row, _campaign in rows}) >= FEWEST_FOR_A_CURVE


def read_experience() -> dict[Scope, Experience]:
    """Read what was learned, by store and class."""
    return {
        (row.store_id, row.campaign_class): experience_of(row.learned)
        for row in LearnedResponse.objects.all()
    }


def experience_for(
    known: Mapping[Scope, Experience], *, store_id: int, campaign_class: str
) -> Experience | None:
    """Give the nearest experience: own store before group, own class before all."""
    scopes: tuple[Scope, ...] = (
        (store_id, campaign_class),
        (store_id, ""),
        (None, campaign_class),
        (None, ""),
    )
    return next((known[scope] for scope in scopes if scope in known), None)
