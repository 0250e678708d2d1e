"""Open vehicles for which nothing is arranged yet, counted in groups by the database.

Most campaigns have one way of mending and no limit but the years of the law. Theirs
are counted from one index alone, in its own order, and the few that are otherwise are
taken off: the store's own vehicles, those past the years, those booked, waiting or in
work. Where the variant or a limit depends on the vehicle, each row is tested.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

from django.db.models import Case, Count, DateField, Exists, F, OuterRef, Q, Value, When

from campaigns.models import CampaignVehicle, PartRequest, Repair, VisitJob
from campaigns.queries.plans import in_index_order
from campaigns.queries.records import start_days
from campaigns.queries.remedies import limits_of
from campaigns.queries.variants import variant_of
from campaigns.rules.eligibility import SAFETY_YEARS, years_later
from campaigns.rules.lifecycle import (
    CampaignClass,
    Reach,
    RepairState,
    RequestState,
    VisitState,
    WorkState,
)
from vehicles.models import Vehicle
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Mapping

    from django.db.models import QuerySet

    from campaigns.models import Campaign, Remedy

WAITING = (RequestState.WAITING, RequestState.OFFERED)
COMING = (VisitState.BOOKED, VisitState.ARRIVED)
STILL_OPEN = ("to_verify", "open", "needs_repair")
_PLACE = ("store_id", "campaign_id", "latest_letter_on", "first_letter_on")

Place: TypeAlias = tuple[int, int, "int | None"]
"""A store's and a campaign's id, and a variant's, None where it cannot be told."""

Days: TypeAlias = tuple["dt.date", "dt.date"]
"""The days of the latest letter and of the first."""


class OpenGroup(NamedTuple):
    """Open vehicles alike; ``unasked`` of them have not asked yet."""

    store_id: int
    campaign_id: int
    state: str
    reach: str
    on_list: bool
    latest: dt.date | None
    first: dt.date | None
    vehicles: int
    unasked: int

    @property
    def is_expected(self) -> bool:
        """Tell whether these may still come, limits apart."""
        surely = self.state != WorkState.TO_VERIFY or self.on_list
        return surely and self.reach == Reach.REACHABLE


@dataclass(slots=True)
class Idle:
    """What was counted.

    ``cohorts`` by place and letters; ``own`` by place and the day that is planned.
    """

    launched: Mapping[int, dt.date]
    cohorts: Counter[tuple[Place, Days]] = field(default_factory=Counter)
    own: Counter[tuple[Place, dt.date | None]] = field(default_factory=Counter)

    def add(
        self, place: Place, latest: dt.date | None, first: dt.date | None, n: int
    ) -> None:
        """Count vehicles of customers; a negative number takes them off again."""
        start = self.launched[place[1]]
        self.cohorts[place, (latest or start, first or start)] += n


@dataclass(frozen=True, slots=True, kw_only=True)
class Sorted:
    """Campaigns by how their vehicles are counted.

    ``one_way`` gives the only variant of each that needs no look at the vehicle (None:
    no remedy is entered); ``past`` the day before which a vehicle of such a campaign
    was first used too long ago; ``several`` are all the others that go on.
    """

    one_way: Mapping[int, int | None]
    past: Mapping[int, dt.date]
    several: tuple[Campaign, ...]


def sort_campaigns(
    campaigns: Collection[Campaign], remedies: Mapping[int, Remedy], today: dt.date
) -> Sorted:
    """Tell which campaigns can be counted without a look at each vehicle."""
    one_way: dict[int, int | None] = {}
    past: dict[int, dt.date] = {}
    several = []
    for campaign in campaigns:
        limits = limits_of(campaign)
        remedy = remedies.get(campaign.pk)
        variants = list(remedy.variants.all()) if remedy else []
        free = not variants or (len(variants) == 1 and not variants[0].conditions)
        bounded = limits.campaign_class is not CampaignClass.EMISSIONS and (
            limits.odometer_miles is not None
        )
        if not free or bounded:
            several.append(campaign)
            continue
        one_way[campaign.pk] = variants[0].pk if variants else None
        cut = _first_use_limit(campaign, today)
        if cut is not None:
            past[campaign.pk] = cut
    return Sorted(one_way=one_way, past=past, several=tuple(several))


def _is_over(campaign: Campaign, today: dt.date) -> bool:
    """Tell whether a campaign's last day has passed; the law knows none for some."""
    limits = limits_of(campaign)
    ends = limits.campaign_class not in {CampaignClass.EMISSIONS, CampaignClass.SAFETY}
    return ends and limits.last_day is not None and today > limits.last_day


def _first_use_limit(campaign: Campaign, today: dt.date) -> dt.date | None:
    """Give the day before which a vehicle was first used too long ago, or None."""
    limits = limits_of(campaign)
    if limits.campaign_class is CampaignClass.EMISSIONS:
        return None
    if limits.campaign_class is CampaignClass.SAFETY:
        years = min(limits.years or SAFETY_YEARS, SAFETY_YEARS)
        return _bought_before(limits.notice_on, years)
    return None if limits.years is None else _bought_before(today, limits.years)


def _bought_before(day: dt.date, years: int) -> dt.date:
    """Give the day before which a vehicle was first used more than so many years ago.

    Turned round from ``years_later``: the years from 28 February end on that day.
    """
    cut = years_later(day, -years)
    return cut if cut.day == day.day else cut + timedelta(days=1)


# Asking the database ----------------------------------------------------------------


def open_groups(rows: QuerySet[CampaignVehicle]) -> list[OpenGroup]:
    """Count the open vehicles of these rows by state, reach and letters."""
    groups: Any = (
        rows.filter(work_state__in=STILL_OPEN)
        .order_by()
        .values_list(
            "store_id", "campaign_id", "work_state", "reach", "on_list",
            "latest_letter_on", "first_letter_on",
        )
        .annotate(n=Count("*"), asked=Count("first_asked_on"))
    )  # fmt: skip
    with in_index_order():
        return [OpenGroup._make((*row[:8], row[7] - row[8])) for row in groups]


def count_idle(
    *,
    rows: QuerySet[CampaignVehicle],
    store_ids: Collection[int],
    groups: Collection[OpenGroup],
    campaigns: Collection[Campaign],
    sorted_: Sorted,
    remedies: Mapping[int, Remedy],
    today: dt.date,
) -> Idle:
    """Count the vehicles that may come and for which nothing is arranged yet.

    Vehicles past their limit, out of reach or still to be verified (unless the
    manufacturer lists them) are not expected.
    """
    idle = Idle(launched=start_days(campaigns))
    over = {one.pk for one in campaigns if _is_over(one, today)}
    one_way = {pk: v for pk, v in sorted_.one_way.items() if pk not in over}
    for group in groups:
        if group.is_expected and group.campaign_id in one_way:
            place = group.store_id, group.campaign_id, one_way[group.campaign_id]
            idle.add(place, group.latest, group.first, group.vehicles)
    expected = rows.filter(_open_now(), reach=Reach.REACHABLE)
    if one_way:
        _take_off(idle, one_way, sorted_.past, store_ids)
    several = [one for one in sorted_.several if one.pk not in over]
    if several:
        _count_each(idle, expected, several, remedies, today)
    return idle


def _open_now(link: str = "") -> Q:
    """Give the test of a vehicle that wants work for sure, seen over a link."""
    listed = ~Q(**{f"{link}work_state": WorkState.TO_VERIFY}) | Q(
        **{f"{link}on_list": True}
    )
    return Q(**{f"{link}work_state__in": STILL_OPEN}) & listed


def _take_off(
    idle: Idle,
    one_way: Mapping[int, int | None],
    past: Mapping[int, dt.date],
    store_ids: Collection[int],
) -> None:
    """Take the few off that are otherwise: own, past the years, arranged."""
    latest_cut = max(past.values(), default=None)
    old = _first_use_if_before(latest_cut)

    def is_past(campaign_id: int, first_use: dt.date | None) -> bool:
        cut = past.get(campaign_id)
        return cut is not None and first_use is not None and first_use < cut

    # the few lead: with a list of campaigns SQLite would look each up in all of these
    own: Any = (
        CampaignVehicle.objects.filter(
            _open_now(),
            ~Q(vehicle__standing="customer"),
            store__in=store_ids,
            reach=Reach.REACHABLE,
        )
        .annotate(old=old, arranged=_arranged())
        .order_by()
        .values_list(*_PLACE, "old", "planned_on", "arranged")
        .annotate(n=Count("*"))
    )
    for store, campaign, latest, first, used, planned, arranged, n in own:
        if campaign not in one_way:
            continue
        place = store, campaign, one_way[campaign]
        idle.add(place, latest, first, -n)
        if not arranged and not is_past(campaign, used):
            idle.own[place, planned] += n
    for place_days, used, n in _arranged_customers(one_way, store_ids):
        store, campaign, latest, first = place_days
        if not is_past(campaign, used):
            idle.add((store, campaign, one_way[campaign]), latest, first, -n)
    if latest_cut is None:
        return
    customers: Any = (
        CampaignVehicle.objects.filter(
            _open_now(),
            store__in=store_ids,
            reach=Reach.REACHABLE,
            vehicle__in=Vehicle.objects.filter(
                standing=Standing.CUSTOMER, first_use_date__lt=latest_cut
            ).values("pk"),
        )
        .order_by()
        .values_list(*_PLACE, "vehicle__first_use_date")
        .annotate(n=Count("*"))
    )
    for store, campaign, latest, first, used, n in customers:
        if campaign in one_way and is_past(campaign, used):
            idle.add((store, campaign, one_way[campaign]), latest, first, -n)


def _arranged_customers(
    one_way: Collection[int], store_ids: Collection[int]
) -> list[tuple[tuple[Any, ...], dt.date | None, int]]:
    """Count the expected vehicles of customers that are booked, wait, or are in work.

    Asked from the side of what is arranged, which is little beside the population; a
    vehicle that is in two of these counts once.
    """
    link = "campaign_vehicle__"
    names = [f"{link}{name}" for name in _PLACE]
    seen: dict[int, tuple[Any, ...]] = {}
    for rows in _arranged_rows():
        told = rows.filter(
            _open_now(link),
            campaign_vehicle__reach=Reach.REACHABLE,
            campaign_vehicle__store__in=store_ids,
            campaign_vehicle__vehicle__standing=Standing.CUSTOMER,
        ).values_list("campaign_vehicle_id", *names, f"{link}vehicle__first_use_date")
        seen.update((row[0], row[1:]) for row in told if row[2] in one_way)
    return [(row[:4], row[4], n) for row, n in Counter(seen.values()).items()]


def _arranged_rows() -> tuple[QuerySet[Any], ...]:
    """Give the bookings, the people who wait, and the open repairs of campaigns."""
    return (
        VisitJob.objects.filter(
            campaign_vehicle__isnull=False, live=True, visit__state__in=COMING
        ).order_by(),
        PartRequest.objects.filter(state__in=WAITING).order_by(),
        Repair.objects.filter(
            campaign_vehicle__isnull=False, state=RepairState.OPEN
        ).order_by(),
    )


def _first_use_if_before(day: dt.date | None) -> Case:
    """Give the day of first use of old vehicles, NULL for all others."""
    whens = (
        [When(vehicle__first_use_date__lt=day, then=F("vehicle__first_use_date"))]
        if day
        else []
    )
    return Case(*whens, default=Value(None), output_field=DateField())


def _arranged() -> Q:
    """Give the test of a vehicle that is booked, waits, or is in the workshop."""
    mine = {"campaign_vehicle": OuterRef("pk")}
    return (
        Q(Exists(VisitJob.objects.filter(live=True, visit__state__in=COMING, **mine)))
        | Q(Exists(PartRequest.objects.filter(state__in=WAITING, **mine)))
        | Q(Exists(Repair.objects.filter(state=RepairState.OPEN, **mine)))
    )


def _count_each(
    idle: Idle,
    expected: QuerySet[CampaignVehicle],
    campaigns: Collection[Campaign],
    remedies: Mapping[int, Remedy],
    today: dt.date,
) -> None:
    """Count where the variant or a limit depends on the vehicle: each row is tested."""
    ids = [one.pk for one in campaigns]
    test = Q(campaign__in=ids)
    for campaign in campaigns:
        limit = _past_limit(campaign, today)
        if limit is not None:
            test &= ~(Q(campaign=campaign.pk) & limit)
    which = variant_of({pk: remedies[pk] for pk in ids if pk in remedies}, today=today)
    rows = expected.filter(test & ~_arranged()).annotate(which=which).order_by()
    customers: Any = (
        rows.filter(vehicle__standing=Standing.CUSTOMER)
        .values_list(*_PLACE, "which")
        .annotate(n=Count("*"))
    )
    for store, campaign, latest, first, variant, n in customers:
        idle.add((store, campaign, variant), latest, first, n)
    own: Any = (
        rows.filter(~Q(vehicle__standing="customer"))
        .values_list("store_id", "campaign_id", "which", "planned_on")
        .annotate(n=Count("*"))
    )
    for store, campaign, variant, planned, n in own:
        idle.own[(store, campaign, variant), planned] += n


def _past_limit(campaign: Campaign, today: dt.date) -> Q | None:
    """Give the test of a vehicle past the limits of its campaign, or None."""
    limits = limits_of(campaign)
    past = Q()
    if (
        limits.odometer_miles is not None
        and limits.campaign_class is not CampaignClass.EMISSIONS
    ):
        known = Q(vehicle__odometer__isnull=False)
        past |= known & Q(vehicle__odometer__gt=limits.odometer_miles)
    cut = _first_use_limit(campaign, today)
    if cut is not None:
        known = Q(vehicle__first_use_date__isnull=False)
        past |= known & Q(vehicle__first_use_date__lt=cut)
    return past or None
