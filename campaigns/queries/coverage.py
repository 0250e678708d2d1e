"""A campaign's parts in one store: batches, what differs, and whom they cover."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Count, Q
from django.utils.translation import gettext_lazy as _

from campaigns.models import (
    Allocation,
    CampaignVehicle,
    Replenishment,
    VariantPart,
)
from campaigns.rules.lifecycle import STILL_OPEN, ProposalState, Reach, WorkState
from inventory.models import Dispute, Part, ShipmentLine
from inventory.queries.numbers import read_chains
from inventory.queries.stock import PromisePicture, StockOf, draw_promise, stock_of
from inventory.rules.accounts import UNSETTLED


if TYPE_CHECKING:
    from campaigns.models import Campaign
    from dealership.models import Store


DIFFERENCE_WORDS = {
    "short": _("billed and not come"),
    "damaged": _("came damaged"),
    "price": _("price billed is not the one announced"),
    "billed_more": _("billed more than announced"),
    "billed_less": _("billed less than announced"),
    "sent_less": _("billed more than sent"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRow:
    """One part's first batch: announced, billed, sent and arrived, in pieces."""

    allocation: Allocation
    billed: int | None
    billed_unit_cents: int | None
    sent: int | None
    good: int | None
    damaged: int | None
    short: int | None

    @property
    def billed_cents(self) -> int | None:
        """Give the sum billed, in cents."""
        if self.billed is None or self.billed_unit_cents is None:
            return None
        return self.billed * self.billed_unit_cents

    @property
    def is_received(self) -> bool:
        """Tell whether the batch has been counted."""
        return self.good is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing in which the papers and the pieces do not agree.

    ``kind``: 'short', 'damaged', 'price', 'billed_more', 'billed_less', 'sent_less'.
    ``cents`` is what it is worth; ``dispute`` stands where one is open or settled.
    """

    kind: str
    part: Part
    pieces: int
    cents: int
    last_date: date | None = None
    dispute: Dispute | None = None

    @property
    def words(self) -> str:
        """Say the difference in a few words."""
        return str(DIFFERENCE_WORDS[self.kind])


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """How many open vehicles the pieces of one part are enough for.

    ``usable`` are free and held pieces; ``per_vehicle`` the most that any variant
    takes; ``share_basis_points`` of how many vehicles need it. ``others`` are further
    numbers that serve, with their pieces, which are counted.
    """

    part: Part
    per_vehicle: int
    share_basis_points: int
    usable: int
    coming: int
    open_vehicles: int
    population: int
    picture: PromisePicture
    others: tuple[tuple[Part, int], ...] = ()

    @property
    def covered(self) -> int:
        """Give the open vehicles that the pieces on hand are enough for."""
        return min(self.open_vehicles, self._vehicles(self.usable))

    @property
    def covered_with_coming(self) -> int:
        """Give the same with what is on its way."""
        return min(self.open_vehicles, self._vehicles(self.usable + self.coming))

    @property
    def uncovered(self) -> int:
        """Give the open vehicles without a piece on hand."""
        return self.open_vehicles - self.covered

    def _vehicles(self, pieces: int) -> int:
        """Give the vehicles that so many pieces serve, where only a share needs one."""
        return pieces // self.per_vehicle * 10_000 // self.share_basis_points


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignParts:
    """All that the page of a campaign's parts shows for one store."""

    batches: list[BatchRow]
    differences: list[Difference]
    covers: list[Cover]
    proposals: list[Replenishment]
    promised: list[tuple[Part, str, date, int, bool]]

    @property
    def unsettled(self) -> list[Difference]:
        """Give the differences with a last date, the first one due first."""
        rows = [one for one in self.differences if one.last_date]
        return sorted(rows, key=lambda one: one.last_date or date.max)

    @property
    def counted(self) -> bool:
        """Tell whether every batch is billed and counted."""
        return all(row.is_received and row.billed is not None for row in self.batches)


def campaign_parts(*, campaign: Campaign, store: Store, today: date) -> CampaignParts:
    """Read a campaign's parts in one store, with a fixed number of queries."""
    batches = _batches(campaign, store)
    needs = _needs(campaign)
    beside = {row.allocation.part_id for row in batches} - set(needs)
    parts = Part.objects.in_bulk(beside)
    parts |= {one.pk: one for need in needs.values() for one in need.numbers}
    parts |= {pk: need.part for pk, need in needs.items()}
    ids = set(parts)
    stock = stock_of(store=store, part_ids=ids)
    return CampaignParts(
        batches=batches,
        differences=_differences(batches),
        covers=_covers(campaign, store, parts, needs, stock=stock, today=today),
        proposals=list(
            Replenishment.objects.filter(
                store=store, part_id__in=ids, state=ProposalState.OPEN
            ).select_related("part")
        ),
        promised=[
            (parts[one.part_id], one.subject, one.day, one.pieces, one.held)
            for one in stock.promised
            if one.earmark_id in {campaign.earmark_id, None}
        ],
    )


def _batches(campaign: Campaign, store: Store) -> list[BatchRow]:
    allocations = list(
        Allocation.objects.filter(campaign=campaign, store=store)
        .select_related("part", "bill", "shipment", "store")
        .prefetch_related("bill__lines")
        .order_by("part__number")
    )
    lines = ShipmentLine.objects.filter(
        shipment__in=[one.shipment_id for one in allocations if one.shipment_id]
    )
    by_shipment = {(line.shipment_id, line.part_id): line for line in lines}
    rows = []
    for one in allocations:
        line = by_shipment.get((one.shipment_id or 0, one.part_id))
        billed = (
            [b for b in one.bill.lines.all() if b.part_id == one.part_id]
            if one.bill
            else []
        )
        rows.append(
            BatchRow(
                allocation=one,
                billed=sum(b.quantity for b in billed) if billed else None,
                billed_unit_cents=billed[0].unit_cost_cents if billed else None,
                sent=line.sent if line else None,
                good=line.good if line else None,
                damaged=line.damaged if line else None,
                short=line.short if line else None,
            )
        )
    return rows


@dataclass(frozen=True, slots=True)
class _Need:
    """The most that any variant takes of a part, and the numbers that serve in all."""

    part: Part
    pieces: int
    share: int
    numbers: tuple[Part, ...]


def _needs(campaign: Campaign) -> dict[int, _Need]:
    """Give what the campaign's remedy takes, by part id."""
    lines = list(
        VariantPart.objects.filter(variant__remedy__campaign=campaign)
        .select_related("part")
        .order_by("pk")
    )
    chains = read_chains({line.part_id for line in lines})
    found: dict[int, _Need] = {}
    for line in lines:
        serving = chains.serving(line.part, older=line.old_numbers_serve)
        before = found.get(line.part_id)
        found[line.part_id] = _Need(
            part=line.part,
            pieces=max(line.quantity, before.pieces if before else 0),
            share=max(line.share_basis_points, before.share if before else 0),
            numbers=tuple(
                one for one in serving if before is None or one in before.numbers
            ),
        )
    return found


def _differences(batches: list[BatchRow]) -> list[Difference]:
    """Set bill, slip and count of each batch side by side."""
    shipments = [row.allocation.shipment_id for row in batches]
    disputes: dict[int, list[Dispute]] = defaultdict(list)
    rows = Dispute.objects.filter(shipment_line__shipment__in=filter(None, shipments))
    for dispute in rows.select_related("shipment_line__part").order_by("last_date"):
        disputes[dispute.shipment_line.shipment_id].append(dispute)
    found: list[Difference] = []
    for row in batches:
        found += _paper_differences(row)
        found += [
            Difference(
                kind=dispute.kind,
                part=dispute.shipment_line.part,
                pieces=dispute.quantity,
                cents=dispute.quantity * dispute.unit_cost_cents,
                last_date=dispute.last_date if dispute.state in UNSETTLED else None,
                dispute=dispute,
            )
            for dispute in disputes[row.allocation.shipment_id or 0]
        ]
    return found


def _paper_differences(row: BatchRow) -> list[Difference]:
    """Give what the papers themselves do not agree in."""
    one, part = row.allocation, row.allocation.part
    found = []
    if row.billed is not None and row.billed_unit_cents is not None:
        more = row.billed - one.quantity
        if more:
            kind = "billed_more" if more > 0 else "billed_less"
            cents = abs(more) * row.billed_unit_cents
            found.append(
                Difference(kind=kind, part=part, pieces=abs(more), cents=cents)
            )
        dearer = row.billed_unit_cents - one.unit_cost_cents
        if dearer:
            found.append(
                Difference(
                    kind="price",
                    part=part,
                    pieces=row.billed,
                    cents=dearer * row.billed,
                )
            )
        if row.sent is not None and row.sent < row.billed:
            missing = row.billed - row.sent
            cents = missing * row.billed_unit_cents
            found.append(
                Difference(kind="sent_less", part=part, pieces=missing, cents=cents)
            )
    return found


def _covers(
    campaign: Campaign,
    store: Store,
    parts: dict[int, Part],
    needs: dict[int, _Need],
    *,
    stock: StockOf,
    today: date,
) -> list[Cover]:
    """Set the pieces of each part against the vehicles that may want them."""
    pockets: set[int | None] = {campaign.earmark_id, None}
    open_vehicles, population = _vehicles(campaign, store)
    covers = []
    serving = {one.pk for need in needs.values() for one in need.numbers}
    shown = [pk for pk in parts if pk in needs or pk not in serving]
    for part_id in sorted(shown, key=lambda pk: parts[pk].number):
        need = needs.get(part_id) or _Need(parts[part_id], 1, 10_000, ())
        numbers = need.numbers or (parts[part_id],)
        own = stock.of_parts({one.pk for one in numbers})
        covers.append(
            Cover(
                part=parts[part_id],
                per_vehicle=need.pieces,
                share_basis_points=need.share,
                usable=_usable(own, pockets),
                others=tuple(
                    (one, pieces)
                    for one in numbers
                    if one.pk != part_id
                    and (pieces := _usable(own.of_part(one.pk), pockets))
                ),
                coming=sum(
                    one.pieces for one in own.coming if one.earmark_id in pockets
                ),
                open_vehicles=open_vehicles,
                population=population,
                picture=draw_promise(
                    own, part=parts[part_id], earmark_ids=set(pockets), today=today
                ),
            )
        )
    return covers


def _usable(stock: StockOf, pockets: set[int | None]) -> int:
    """Count the free and held pieces of some pockets."""
    return sum(
        one.free + one.held for one in stock.balances if one.earmark_id in pockets
    )


def _vehicles(campaign: Campaign, store: Store) -> tuple[int, int]:
    """Count the open vehicles that can be reached, and all that are involved."""
    rows = CampaignVehicle.objects.filter(campaign=campaign, store=store)
    involved = rows.exclude(work_state=WorkState.REMOVED).aggregate(
        all=Count("pk"),
        open=Count(
            "pk",
            filter=Q(work_state__in=sorted(STILL_OPEN), reach=Reach.REACHABLE),
        ),
    )
    return involved["open"], involved["all"]
