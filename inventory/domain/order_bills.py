"""The bill of an order entered by hand: at its own prices, before or after its pieces.

Pieces that are still to be counted come in at the price billed. Those that were counted
without a bill stand at the price ordered; what of them lies on the shelf is moved into
a layer at the price billed, by a movement of its own. What was fitted, sold or put aside
before keeps the cents it was booked with, and the account shows the difference as one
to settle with the supplier. No line that was written before is changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.ledger import Line, post
from inventory.domain.locks import lock_pockets
from inventory.domain.ordering import OrderCannotMove
from inventory.models import Balance, Bill, CostLayer, Entry, ShipmentLine
from inventory.queries.billed import unbilled_pieces
from inventory.rules.accounts import Account, MovementKind, OrderState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import StaffMember
    from inventory.models import BillLine, OrderLine, PurchaseOrder


@dataclass(frozen=True, slots=True, kw_only=True)
class Priced:
    """What a bill says of one line of an order: pieces, and cents a piece."""

    quantity: int
    unit_cost_cents: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderBilled:
    """A bill that was entered, and what it made of pieces that were here before it.

    ``recosted``: pieces on the shelf that stand at the price billed now. ``kept``:
    pieces that keep the cents they were booked with, and by how many cents the bill
    differs for them (below zero: it is cheaper).
    """

    bill: Bill
    recosted: int = 0
    kept: int = 0
    difference_cents: int = 0


class BillWithoutLine(Refusal):
    """A bill on which no part has a piece."""

    def __init__(self) -> None:
        super().__init__(_("The bill has no piece. Enter how many it says."))


class MoreThanSent(Refusal):
    """The bill has more pieces of a line than were ordered and not billed yet."""

    def __init__(self, line: OrderLine, billed: int, most: int) -> None:
        super().__init__(
            _(
                "%(part)s: the bill says %(billed)d, but only %(most)d of this order"
                " are without a bill. Check the order's number; what is billed and was"
                " never ordered belongs on no order."
            )
            % {"part": line.part.number, "billed": billed, "most": most}
        )
        self.line = line
        self.billed = billed
        self.most = most


def enter_order_bill(
    *,
    order: PurchaseOrder,
    number: str,
    dated: dt.date,
    lines: Mapping[int, Priced],
    by: StaffMember | None,
    at: dt.datetime,
) -> OrderBilled:
    """Enter the bill of an order as it is printed, by order line id.

    The bill's number is the key: the same bill again changes nothing. Raises
    OrderCannotMove for a draft, BillWithoutLine, MoreThanSent, and what ``enter_bill``
    raises.
    """
    if order.state in {OrderState.DRAFT, OrderState.CANCELLED}:
        raise OrderCannotMove(order)
    with transaction.atomic():
        rows = order.lines.filter(
            pk__in=[n for n, one in lines.items() if one.quantity]
        )
        billed = {row: lines[row.pk] for row in rows.select_related("part")}
        if not billed:
            raise BillWithoutLine
        lock_pockets(store=order.store, part_ids=[row.part_id for row in billed])
        known = Bill.objects.filter(
            store=order.store, supplier=order.supplier, number=number
        ).exists()
        if not known:
            _refuse_too_many(order, billed)
        bill = enter_bill(
            store=order.store,
            supplier=order.supplier,
            number=number,
            dated=dated,
            lines=[
                BilledLine(
                    part=row.part,
                    quantity=one.quantity,
                    unit_cost_cents=one.unit_cost_cents,
                )
                for row, one in billed.items()
            ],
            earmark=order.earmark,
            by=by,
            at=at,
        )
        if known:
            return OrderBilled(bill=bill)
        bill.order = order
        bill.save(update_fields=["order"])
        return _spread(order, bill, by=by, at=at)


def _refuse_too_many(order: PurchaseOrder, billed: Mapping[OrderLine, Priced]) -> None:
    left = unbilled_pieces(order)
    for row, one in billed.items():
        if one.quantity > left[row.part_id]:
            raise MoreThanSent(row, one.quantity, left[row.part_id])
        left[row.part_id] -= one.quantity


def _spread(
    order: PurchaseOrder, bill: Bill, *, by: StaffMember | None, at: dt.datetime
) -> OrderBilled:
    """Tie a bill's lines to the order's deliveries, the first one first."""
    recosted = kept = difference = 0
    for billed in bill.lines.select_related("part").order_by("pk"):
        left = billed.quantity
        sent = ShipmentLine.objects.filter(
            shipment__order=order, part=billed.part, bill_line=None
        ).select_related("shipment")
        for line in sent.order_by("shipment", "pk"):
            if not left:
                break
            if line.shipment.received_at is None:
                left -= _tie(line, billed, left)
                continue
            layer = CostLayer.objects.filter(
                source=f"shipment_line:{line.pk}", bill_line=None
            ).first()
            if layer is None:
                continue
            pieces = min(left, layer.quantity - _recosted_of(layer))
            moved = _recost(layer, billed, pieces, by=by, at=at)
            left -= pieces
            off = billed.unit_cost_cents - layer.unit_cost_cents
            recosted += moved
            kept += pieces - moved if off else 0
            difference += (pieces - moved) * off
    return OrderBilled(
        bill=bill, recosted=recosted, kept=kept, difference_cents=difference
    )


def _tie(line: ShipmentLine, billed: BillLine, left: int) -> int:
    """Name the bill on a delivery to come, if it is for the whole line."""
    if line.sent > left:
        return 0
    line.bill_line = billed
    line.save(update_fields=["bill_line"])
    shipment = line.shipment
    if shipment.bill_id is None:
        shipment.bill = billed.bill
        shipment.save(update_fields=["bill"])
    return line.sent


def _recosted_of(layer: CostLayer) -> int:
    """Count the pieces of a layer that earlier bills have moved to their own price."""
    back = Entry.objects.filter(
        layer=layer, account=Account.SUPPLIER, movement__kind=MovementKind.CORRECT
    )
    return back.aggregate(n=Sum("quantity", default=0))["n"] or 0


def _recost(
    layer: CostLayer,
    billed: BillLine,
    pieces: int,
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> int:
    """Move what of a layer lies on the shelf to the price billed; gives how many."""
    if billed.unit_cost_cents == layer.unit_cost_cents:
        return 0
    layer = CostLayer.objects.select_for_update().get(pk=layer.pk)
    pocket = Balance.objects.get(
        store=layer.store_id, part=layer.part_id, earmark=layer.earmark
    )
    aside = Entry.objects.filter(layer=layer, account=Account.QUARANTINE)
    in_quarantine = aside.aggregate(n=Sum("quantity", default=0))["n"] or 0
    on_shelf = layer.quantity - layer.taken - in_quarantine
    moved = min(pieces, on_shelf, pocket.free + pocket.held)
    if moved <= 0:
        return 0
    at_price = CostLayer.objects.create(
        store_id=layer.store_id,
        part_id=layer.part_id,
        earmark_id=layer.earmark_id,
        bill_line=billed,
        source=f"bill_line:{billed.pk}",
        unit_cost_cents=billed.unit_cost_cents,
        quantity=moved,
        received_on=layer.received_on,
    )
    places = (
        (Account.FREE, min(moved, pocket.free)),
        (Account.HELD, moved - min(moved, pocket.free)),
    )
    movement = post(
        key=f"bill_line:{billed.pk}/{layer.pk}",
        kind=MovementKind.CORRECT,
        store=layer.store,
        lines=[
            Line(
                part=layer.part,
                earmark=layer.earmark,
                source=source,
                target=target,
                quantity=n,
                layer=of,
            )
            for place, n in places
            if n
            for source, target, of in (
                (place, Account.SUPPLIER, layer),
                (Account.SUPPLIER, place, at_price),
            )
        ],
        by=by,
        at=at,
        effective_on=timezone.localdate(at),
        why=_("bill %(number)s has another price") % {"number": billed.bill.number},
    )
    record(
        act="layer.recosted",
        subject=at_price,
        by=by,
        at=at,
        store=layer.store,
        before={"unit_cents": layer.unit_cost_cents},
        after={
            "unit_cents": billed.unit_cost_cents,
            "pieces": moved,
            "movement": movement.pk,
        },
    )
    return moved
