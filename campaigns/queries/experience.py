"""How closed campaigns ran, and what was learned from them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

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
    from collections.abc import Collection, Iterable, Mapping

    from campaigns.models import Campaign
    from inventory.forecasting.response import Experience

Scope: TypeAlias = tuple[int | None, str]
"""A store's id, or None for the group, and a class, or "" for all classes."""

Row: TypeAlias = list[Any]
"""Vehicles alike: how many, the days of their letters, the day until, asked or not."""

LATEST = 60
"""Closed campaigns that are learned from at the most, the latest ones."""

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


class Mark(NamedTuple):
    """One kept course by what changes when it is kept anew; without the course."""

    id: int
    campaign_id: int
    made_at: dt.datetime


def closed_marks() -> dict[Scope, list[Mark]]:
    """Give the kept courses by store and class, each set that is large enough.

    Of all stores and of the group; the latest closed come last. The courses themselves
    are not read: most runs need none.
    """
    rows = ClosedResponse.objects.filter(campaign__state=CampaignState.CLOSED)
    found: dict[Scope, list[Mark]] = defaultdict(list)
    for store_id, campaign_class, pk, campaign_id, made_at in rows.order_by(
        "campaign__closed_at", "campaign", "store"
    ).values_list(
        "store_id", "campaign__campaign_class", "pk", "campaign_id", "made_at"
    ):
        one = Mark(pk, campaign_id, made_at)
        for store in (store_id, None):
            found[store, campaign_class].append(one)
            found[store, ""].append(one)
    return {scope: marks for scope, marks in found.items() if _enough(marks)}


def _enough(marks: Iterable[Mark]) -> bool:
    """Tell whether there are three campaigns; one at three stores is one."""
    return len({one.campaign_id for one in marks}) >= FEWEST_FOR_A_CURVE


def courses(ids: Collection[int]) -> dict[int, ClosedCampaign]:
    """Read kept courses by id."""
    rows = ClosedResponse.objects.filter(pk__in=ids).values_list(
        "pk", "campaign__code", "seen"
    )
    return {
        pk: ClosedCampaign(label=code, seen=seen_of(seen)) for pk, code, seen in rows
    }


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
