"""Everything known about each part at each store on one day, ready for the forecast."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any, TypeAlias

from django.db.models import Count, Sum

from campaigns.models import Campaign, Remedy, ScheduledItem, VisitJob
from campaigns.queries.demand import Wanted, wanted_of
from campaigns.queries.experience import experience_for, read_experience
from campaigns.queries.habits import NO_HABITS, Habits, habits_of
from campaigns.queries.remedies import ALL, load_remedies
from campaigns.queries.uses import (
    PartUse,
    UseOf,
    item_uses,
    part_uses,
    takers_of,
)
from campaigns.rules.lifecycle import CampaignState, VisitState
from dealership.rules.money import return_credit_cents, share_of_basis_points
from inventory.forecasting.demand import CertainUse, ScheduledUse
from inventory.forecasting.promise import Receipt
from inventory.forecasting.proposal import PartPosition, ReturnTerms
from inventory.forecasting.reorder import CostTerms, costs_of
from inventory.models import (
    Balance,
    OrderLine,
    Part,
    Reservation,
    ShipmentLine,
    TransferLine,
)
from inventory.queries.stock import COMING_STATES
from inventory.rules.accounts import ReservationState, TransferState
from inventory.rules.supersession import Number, current_of, served_by
from vehicles.models import Vehicle


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from campaigns.models import VariantPart
    from campaigns.queries.experience import Scope
    from dealership.models import Store
    from inventory.forecasting.reorder import Costs
    from inventory.forecasting.response import Experience

Key: TypeAlias = tuple[int, int]
"""A store's and a part's id."""

LEAST_BESIDE_BOOKED = 1 / 3
"""Share of a service item's usual rate that comes beside those booked, at the least:
common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One part at one store: the facts, and for what pocket an act would be.

    ``earmark_id`` is set where one campaign alone uses the part. ``returned`` names
    the campaign whose terms a return would follow. ``campaigns`` are codes.
    """

    store_id: int
    part: Part
    position: PartPosition
    earmark_id: int | None
    returned: Campaign | None
    campaigns: tuple[str, ...]


@dataclass(slots=True)
class _Stock:
    """What stands and comes of one part at one store."""

    free: int = 0
    held: int = 0
    # by earmark id: free pieces that no promise counts on
    spare: dict[int | None, int] = field(default_factory=lambda: defaultdict(int))
    coming: dict[dt.date | None, int] = field(default_factory=lambda: defaultdict(int))

    @property
    def is_empty(self) -> bool:
        """Tell whether nothing stands and nothing comes."""
        return not (self.free or self.held or any(self.coming.values()))


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """What is the same for all stores of one run."""

    campaigns: Mapping[int, Campaign]
    remedies: Mapping[int, Remedy]
    items: Mapping[int, ScheduledItem]
    item_remedies: Mapping[int, Remedy]
    parts: Mapping[int, Part]
    current: Mapping[int, int]
    counted_as: Mapping[int, int]
    experience: Mapping[Scope, Experience]
    by_earmark: Mapping[int, Campaign]

    def current_part(self, part_id: int) -> int:
        """Give the number that is ordered today in place of this one."""
        return self.current.get(part_id, part_id)

    def counts_as(self, part_id: int) -> int:
        """Give the number for which stock of this one counts; itself if it is apart."""
        return self.counted_as.get(part_id, part_id)


def read_house() -> House:
    """Read campaigns, remedies, service items and parts, whatever the stores."""
    campaigns = {
        one.pk: one
        for one in Campaign.objects.filter(state=CampaignState.RUNNING).select_related(
            "earmark"
        )
    }
    items = {one.pk: one for one in ScheduledItem.objects.filter(active=True)}
    found = load_remedies(campaign_ids=campaigns, item_ids=items)
    parts = Part.objects.in_bulk()
    chain = {
        one.pk: one.superseded_by_id
        for one in parts.values()
        if one.superseded_by_id is not None
    }
    current = {pk: current_of(pk, chain) for pk in chain}
    return House(
        campaigns=campaigns,
        remedies={pk: one for (kind, pk), one in found.items() if kind == "campaign"},
        items=items,
        item_remedies={pk: one for (kind, pk), one in found.items() if kind == "item"},
        parts=parts,
        current=current,
        counted_as=_counted_as(parts, current, found.values()),
        experience=read_experience(),
        by_earmark={one.earmark_id: one for one in campaigns.values()},
    )


def _counted_as(
    parts: Mapping[int, Part], current: Mapping[int, int], remedies: Iterable[Remedy]
) -> dict[int, int]:
    """Say for each old number whether its stock counts for the one ordered now.

    It does where every step of the chain lets what is left serve and every remedy that
    takes the new number allows it; else it stands apart, and nothing is ordered of it.
    """
    numbers = {
        pk: Number(newer=one.superseded_by_id, serves=one.old_stock_serves)
        for pk, one in parts.items()
        if pk in current
    }
    lines: dict[int, list[VariantPart]] = defaultdict(list)
    if current:
        for remedy in remedies:
            for variant in remedy.variants.all():
                for line in variant.parts.all():
                    lines[current.get(line.part_id, line.part_id)].append(line)
    return {
        old: new
        for old, new in current.items()
        if not parts[old].recalled
        and served_by(old, numbers) == new
        and all(old in {one.pk for one in line.numbers} for line in lines[new])
    }


def cases_of(
    *, house: House, stores: Sequence[Store], today: dt.date
) -> dict[Key, Case]:
    """Put together every part that these stores have, expect, or will want.

    A fixed number of queries for all stores given. Parts under a recall of their own
    are left out: they are neither ordered nor fitted.
    """
    store_ids = [one.pk for one in stores]
    wanted = wanted_of(
        campaigns=list(house.campaigns.values()),
        remedies=house.remedies,
        store_ids=store_ids,
        today=today,
    )
    uses = _uses(house, wanted, today)
    stock = _stock(house, store_ids)
    served = _item_uses(house, stores)
    habits = habits_of(store_ids, today=today)
    by_store: dict[int, set[int]] = defaultdict(set)
    for store_id, part_id in (*uses, *stock, *served):
        by_store[store_id].add(part_id)
    cases = {}
    for store in stores:
        for part_id in sorted(by_store[store.pk]):
            key = store.pk, part_id
            case = _case(
                house,
                store,
                part_id,
                today=today,
                uses=uses.get(key, []),
                served=served.get(key, []),
                stock=stock.get(key, _Stock()),
                habits=habits.get(store.pk, NO_HABITS),
            )
            if case is not None:
                cases[key] = case
    return cases


def _uses(house: House, wanted: Wanted, today: dt.date) -> dict[Key, list[UseOf]]:
    """Spread what each campaign wants over the parts that its remedy takes."""
    found: dict[Key, list[UseOf]] = defaultdict(list)
    takers = {pk: takers_of(remedy) for pk, remedy in house.remedies.items()}
    for store_id, campaign_id in sorted(wanted.cells()):
        remedy = house.remedies.get(campaign_id)
        if remedy is None:
            continue
        campaign = house.campaigns[campaign_id]
        for one in part_uses(
            campaign,
            remedy,
            wanted,
            cell=(store_id, campaign_id),
            today=today,
            experience=experience_for(
                house.experience,
                store_id=store_id,
                campaign_class=campaign.campaign_class,
            ),
            takers=takers[campaign_id],
        ):
            found[store_id, house.current_part(one.part_id)].append(one)
    return found


def _case(
    house: House,
    store: Store,
    part_id: int,
    *,
    today: dt.date,
    uses: Sequence[UseOf],
    served: Sequence[PartUse],
    stock: _Stock,
    habits: Habits,
) -> Case | None:
    """Put one part's facts together; None where there is nothing to say."""
    part = house.parts[part_id]
    if part.recalled or (not uses and not served and stock.is_empty):
        return None
    window = part.lead_days + store.review_days
    campaigns = {one.campaign.pk: one.campaign for one in uses}
    alone = next(iter(campaigns.values())) if len(campaigns) == 1 else None
    returned = _return_campaign(house, stock, today)
    returns = _terms(store, returned, stock)
    position = PartPosition(
        today=today,
        free=stock.free,
        held=stock.held,
        waiting=sum(one.waiting for one in uses),
        unit_cost_cents=part.unit_cost_cents,
        lead_days=part.lead_days,
        review_days=store.review_days,
        pack=part.pack,
        minimum=part.minimum_order,
        order_limit=part.order_limit,
        receipts=_receipts(stock, today),
        campaigns=tuple(
            replace(
                one.use,
                show_rate=habits.show_rate(store.show_rate_basis_points / ALL),
                unbooked_ahead=habits.unbooked_ahead,
            )
            for one in uses
            if one.use is not None
        ),
        scheduled=tuple(_scheduled(one, today, window) for one in served if one.weekly),
        certain=(
            *(one for use in uses for one in use.certain(today, window)),
            *(_certain(one, day, n) for one in served for day, n in one.booked),
        ),
        costs=_costs(store, part, today, returns),
        order_cost_cents=store.order_cost_cents,
        yearly_holding=share_of_basis_points(part.annual_holding_basis_points),
        returns=returns,
        service_limit=store.service_limit_basis_points / ALL,
    )
    return Case(
        store_id=store.pk,
        part=part,
        position=position,
        earmark_id=alone.earmark_id if alone and not served else None,
        returned=returned,
        campaigns=tuple(sorted(one.code for one in campaigns.values())),
    )


def _receipts(stock: _Stock, today: dt.date) -> tuple[Receipt, ...]:
    """Give what comes, by day; without a day it counts as overdue until it has one."""
    unknown = today - timedelta(days=1)
    by_day: dict[dt.date, int] = defaultdict(int)
    for day, pieces in stock.coming.items():
        by_day[day or unknown] += pieces
    return tuple(
        Receipt(day=day, pieces=pieces)
        for day, pieces in sorted(by_day.items())
        if pieces > 0
    )


def _scheduled(one: PartUse, today: dt.date, window: int) -> ScheduledUse:
    """Take those booked within the window off the usual rate of a service item."""
    booked = sum(n for day, n in one.booked if (day - today).days <= window)
    rest = one.weekly - booked * 7 / window if window else one.weekly
    return ScheduledUse(
        label=one.label,
        pieces_per_week=max(rest, one.weekly * LEAST_BESIDE_BOOKED),
    )


def _certain(one: PartUse, day: dt.date, pieces: int) -> CertainUse:
    return CertainUse(label=one.label, day=day, pieces=pieces)


def _return_campaign(house: House, stock: _Stock, today: dt.date) -> Campaign | None:
    """Find the campaign whose pocket has pieces to spare and whose last day is next."""
    pockets = (
        house.by_earmark.get(earmark_id)
        for earmark_id, pieces in stock.spare.items()
        if earmark_id is not None and pieces > 0
    )
    found = [
        one
        for one in pockets
        if one is not None
        and one.returns_until is not None
        and one.returns_until >= today
    ]
    return min(found, key=lambda one: (one.returns_until, one.code), default=None)


def _costs(
    store: Store, part: Part, today: dt.date, returns: ReturnTerms | None
) -> Costs | None:
    """Give the costs of a part, or None where the store has not said its own.

    What an unused piece brings is its credit, if an order placed today still arrives
    before the last day for returns; else nothing.
    """
    margin, visit = store.labour_margin_cents, store.second_visit_cents
    if margin is None or visit is None or margin + visit == 0:
        return None
    brings = 0
    if returns is not None and (returns.last_day - today).days >= part.lead_days:
        brings = return_credit_cents(1, part.unit_cost_cents, returns.restocking)
    return costs_of(
        CostTerms(
            labour_margin_cents=margin,
            second_visit_cents=visit,
            lost_share=share_of_basis_points(store.lost_share_basis_points),
            handling=share_of_basis_points(store.parts_handling_basis_points),
        ),
        unit_cents=part.unit_cost_cents,
        review_days=store.review_days,
        brings_cents=brings,
        yearly=share_of_basis_points(part.annual_holding_basis_points),
    )


def _terms(
    store: Store, campaign: Campaign | None, stock: _Stock
) -> ReturnTerms | None:
    if campaign is None or campaign.returns_until is None:
        return None
    return ReturnTerms(
        last_day=campaign.returns_until,
        restocking=share_of_basis_points(campaign.restocking_basis_points),
        freight_cents=store.return_freight_cents,
        most=stock.spare[campaign.earmark_id],
    )


# Stock ----------------------------------------------------------------------------


def _stock(house: House, store_ids: Collection[int]) -> dict[Key, _Stock]:
    """Read balances, promises and deliveries of these stores, grouped by part."""
    found: dict[Key, _Stock] = defaultdict(_Stock)

    def at(store_id: int, part_id: int) -> _Stock:
        return found[store_id, house.counts_as(part_id)]

    balances = Balance.objects.filter(store__in=store_ids).values_list(
        "store_id", "part_id", "earmark_id", "free", "held"
    )
    for store_id, part_id, earmark_id, free, held in balances:
        one = at(store_id, part_id)
        one.free += free
        one.held += held
        one.spare[earmark_id] += free
    promised = (
        Reservation.objects.filter(store__in=store_ids, state=ReservationState.PROMISED)
        .order_by()
        .values_list("store_id", "part_id", "earmark_id")
        .annotate(n=Sum("quantity"))
    )
    for store_id, part_id, earmark_id, pieces in promised:
        at(store_id, part_id).spare[earmark_id] -= pieces
    for store_id, part_id, day, pieces in _coming(store_ids):
        at(store_id, part_id).coming[day] += pieces
    return found


def _coming(
    store_ids: Collection[int],
) -> list[tuple[int, int, dt.date | None, int]]:
    """Read what is on its way: deliveries announced, transfers, then open orders."""
    announced = ShipmentLine.objects.filter(
        shipment__store__in=store_ids, shipment__received_at__isnull=True
    ).order_by()
    rows: list[tuple[int, int, dt.date | None, int]] = list(
        announced.values_list(
            "shipment__store_id", "part_id", "shipment__expected_on"
        ).annotate(n=Sum("sent"))
    )
    rows += list(
        TransferLine.objects.filter(
            transfer__to_store__in=store_ids, transfer__state=TransferState.SENT
        )
        .order_by()
        .values_list("transfer__to_store_id", "part_id", "transfer__expected_on")
        .annotate(n=Sum("quantity"))
    )
    shipped: dict[int | None, int] = dict(
        announced.filter(order_line__isnull=False)
        .values_list("order_line_id")
        .annotate(n=Sum("sent"))
    )
    ordered = OrderLine.objects.filter(
        order__store__in=store_ids, order__state__in=COMING_STATES
    ).values_list(
        "pk", "order__store_id", "part_id", "expected_on", "quantity", "received"
    )
    rows += [
        (store_id, part_id, day, missing)
        for pk, store_id, part_id, day, quantity, received in ordered
        if (missing := quantity - received - shipped.get(pk, 0)) > 0
    ]
    return rows


# Service items --------------------------------------------------------------------


def _item_uses(house: House, stores: Sequence[Store]) -> dict[Key, list[PartUse]]:
    """Count the vehicles that each service item is meant for, and those booked."""
    if not house.items:
        return {}
    store_ids = [one.pk for one in stores]
    fleet: dict[int, list[tuple[str, str, int]]] = defaultdict(list)
    groups: Any = (
        Vehicle.objects.filter(store__in=store_ids)
        .order_by()
        .values_list("store_id", "line", "engine")
        .annotate(n=Count("pk"))
    )
    for store_id, line, engine, vehicles in groups:
        fleet[store_id].append((line, engine, vehicles))
    booked: dict[int, list[tuple[int, int, dt.date, int]]] = defaultdict(list)
    visits: Any = (
        VisitJob.objects.filter(
            visit__store__in=store_ids,
            live=True,
            scheduled_item__in=list(house.items),
            visit__state__in=[VisitState.BOOKED, VisitState.ARRIVED],
        )
        .order_by()
        .values_list("visit__store_id", "scheduled_item_id", "variant_id", "visit__on")
        .annotate(n=Count("pk"))
    )
    for store_id, item_id, variant_id, day, number in visits:
        booked[store_id].append((item_id, variant_id, day, number))
    found: dict[Key, list[PartUse]] = defaultdict(list)
    for store_id in store_ids:
        for item_id, item in sorted(house.items.items()):
            remedy = house.item_remedies.get(item_id)
            if remedy is None:
                continue
            mine = [row[1:] for row in booked[store_id] if row[0] == item_id]
            for one in item_uses(item, remedy, fleet[store_id], mine):
                found[store_id, house.current_part(one.part_id)].append(one)
    return found
