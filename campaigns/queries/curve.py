"""The completion curve of a campaign: time from the letter to the work done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Max, Min, Q

from campaigns.models import CampaignVehicle, Letter, ReachFact, StateChange
from campaigns.rules.categories import Category, category_of, is_involved
from campaigns.rules.lifecycle import Reach, WorkState
from inventory.forecasting.takeup import CompletionPoint, completion_curve


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import Campaign
    from dealership.models import Store

_DONE = {Category.REMEDIED, Category.INSPECTED_CLEAR}


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """The curve of work done, weeks since the letter, and how many it is made from.

    ``watched``: vehicles that it is worked out from; ``last_week``: how long the
    longest of them has been watched.
    """

    points: tuple[CompletionPoint, ...]
    watched: int
    last_week: float


def curve_of(
    *,
    campaign: Campaign,
    store: Store,
    as_of: dt.date,
    known_at: dt.datetime | None = None,
) -> Curve:
    """Work out 1 - Kaplan-Meier of the time from the letter to the work done.

    The clock of a vehicle starts at its first posted letter, else at the campaign's
    letter date, else at the announcement, and not before it was added. The event is
    the work done (repaired, or inspected and clear). Vehicles still open are seen
    until ``as_of``; those that cannot be reached until that became known; disqualified
    ones until then. Removed ones are not counted. ``known_at`` leaves out what was
    recorded later.
    """
    in_force = Q(effective_on__lte=as_of)
    if known_at is not None:
        in_force &= Q(recorded_at__lte=known_at)
    changes = _last_changes(campaign, store, in_force)
    facts = _last_reach(campaign, store, in_force)
    letters = _letter_days(campaign, store, as_of)
    general = campaign.letters_on or campaign.announced_on
    weeks, done = [], []
    rows = CampaignVehicle.objects.filter(campaign=campaign, store=store)
    for pk, added_on, on_list in rows.order_by("pk").values_list(
        "pk", "added_on", "on_list"
    ):
        change = changes.get(pk)
        if change is None:
            continue
        work = WorkState(change[0])
        listed = on_list if change[2] is None else change[2]
        if not is_involved(work, on_list=listed):
            continue
        reach, since = facts.get(pk, (Reach.REACHABLE, as_of))
        start = letters.get(pk) or max(general, added_on)
        if start > as_of:
            continue
        category = category_of(work, Reach(reach))
        end = _seen_until(category, change[1], since, as_of)
        weeks.append(max(0, (end - start).days) / 7)
        done.append(category in _DONE)
    return Curve(
        points=completion_curve(weeks, done),
        watched=len(weeks),
        last_week=max(weeks, default=0.0),
    )


def _seen_until(
    category: Category, changed_on: dt.date, reach_since: dt.date, as_of: dt.date
) -> dt.date:
    """Give the day of the event, or the last day on which a vehicle counts as open."""
    if category in _DONE or category is Category.DISQUALIFIED:
        return changed_on
    return as_of if category in {Category.OPEN, Category.TO_VERIFY} else reach_since


def _last_changes(
    campaign: Campaign, store: Store, in_force: Q
) -> dict[int, tuple[str, dt.date, bool | None]]:
    """Give the change in force of each vehicle: state, day, whether on the list."""
    mine = StateChange.objects.filter(
        in_force, campaign_vehicle__campaign=campaign, campaign_vehicle__store=store
    )
    last = mine.order_by().values("campaign_vehicle").annotate(last=Max("pk"))
    rows = StateChange.objects.filter(pk__in=last.values("last")).values_list(
        "campaign_vehicle_id", "after", "effective_on", "on_list"
    )
    return {pk: (after, day, listed) for pk, after, day, listed in rows}


def _last_reach(
    campaign: Campaign, store: Store, in_force: Q
) -> dict[int, tuple[str, dt.date]]:
    """Give the reach in force of each vehicle that has a fact, and since when."""
    rows = ReachFact.objects.filter(
        in_force, campaign_vehicle__campaign=campaign, campaign_vehicle__store=store
    )
    return {
        pk: (reach, day)
        for pk, reach, day in rows.order_by("pk").values_list(
            "campaign_vehicle_id", "reach", "effective_on"
        )
    }


def _letter_days(
    campaign: Campaign, store: Store, as_of: dt.date
) -> dict[int, dt.date]:
    """Give the day of the first posted letter about each vehicle."""
    rows = Letter.objects.filter(
        campaign_vehicle__campaign=campaign,
        campaign_vehicle__store=store,
        posted_on__lte=as_of,
    )
    return dict(
        rows.order_by()
        .values_list("campaign_vehicle_id")
        .annotate(first=Min("posted_on"))
        .values_list("campaign_vehicle_id", "first")
    )
