"""Orders by hand: drawn up line by line, in whole packs, then sent."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.domain.series import next_number
from dealership.rules.refusals import Refusal
from inventory.domain.ledger import NotPieces
from inventory.domain.once import once
from inventory.domain.ordering import (
    NothingOrdered,
    OrderCannotMove,
    OrderedLine,
    OtherSupplier,
    current_part,
)
from inventory.models import OrderLine, PurchaseOrder
from inventory.rules.accounts import OrderState
from inventory.rules.packs import orderable


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Part


class NotWholePacks(Refusal):
    """A number of pieces that the supplier does not sell; ``offered`` is the next."""

    def __init__(self, part: Part, quantity: int, offered: int) -> None:
        super().__init__(
            _(
                "%(part)s comes in packs of %(pack)d, at least %(minimum)d pieces: "
                "%(quantity)d cannot be ordered. Order %(offered)d."
            )
            % {
                "part": part.number,
                "pack": part.pack,
                "minimum": part.minimum_order,
                "quantity": quantity,
                "offered": offered,
            }
        )
        self.part = part
        self.quantity = quantity
        self.offered = offered


class OverTheLimit(Refusal):
    """More pieces than the supplier allots in one order."""

    def __init__(self, part: Part, quantity: int, most: int) -> None:
        super().__init__(
            _(
                "The supplier allots %(most)d pieces of %(part)s an order at most; "
                "%(quantity)d are too many."
            )
            % {"part": part.number, "quantity": quantity, "most": most}
        )
        self.part = part
        self.quantity = quantity
        self.most = most


class AlreadyOnOrder(Refusal):
    """The part has a line on this order."""

    def __init__(self, part: Part) -> None:
        super().__init__(
            _("%(part)s is on this order already. Change the pieces of its line.")
            % {"part": part.number}
        )
        self.part = part


def draft_order(
    *,
    key: str,
    store: Store,
    earmark: Earmark | None,
    line: OrderedLine,
    by: StaffMember | None,
    at: dt.datetime,
) -> PurchaseOrder:
    """Begin an order with its first line; nothing is on its way before it is sent.

    It goes to the part's supplier. The same ``key`` again gives the first order. Raises
    NotPieces, NotWholePacks, OverTheLimit.
    """

    def act() -> PurchaseOrder:
        order = PurchaseOrder.objects.create(
            store=store,
            supplier=line.part.supplier,
            number=next_number(store=store, kind="order"),
            key=key,
            earmark=earmark,
            state=OrderState.DRAFT,
            made_by=by,
            made_at=at,
        )
        _write(order, line)
        record(
            act="order.drafted",
            subject=order,
            by=by,
            at=at,
            store=store,
            after={"pieces": line.quantity},
        )
        return order

    return once(found=lambda: PurchaseOrder.objects.filter(key=key).first(), act=act)


def add_line(
    *,
    order: PurchaseOrder,
    line: OrderedLine,
    by: StaffMember | None,
    at: dt.datetime,
) -> OrderLine:
    """Put a further part on a draft.

    Raises OrderCannotMove, OtherSupplier, AlreadyOnOrder, NotPieces, NotWholePacks,
    OverTheLimit.
    """
    with transaction.atomic():
        order = _draft(order)
        if line.part.supplier_id != order.supplier_id:
            raise OtherSupplier(line.part, order.supplier)
        written = _write(order, line)
        _note(order, "line_added", by=by, at=at, line=written.pk, pieces=line.quantity)
        return written


def change_line(
    *, line: OrderLine, quantity: int, by: StaffMember | None, at: dt.datetime
) -> OrderLine:
    """Give a line of a draft another number of pieces; 0 takes the line off.

    The same number again changes nothing. Raises OrderCannotMove, NotPieces,
    NotWholePacks, OverTheLimit.
    """
    with transaction.atomic():
        order = _draft(line.order)
        if quantity:
            refuse_odd_pieces(line.part, quantity)
        if quantity == line.quantity:
            return line
        _note(order, "line_changed", by=by, at=at, line=line.pk, pieces=quantity or 0)
        if not quantity:
            line.delete()
            return line
        line.quantity = quantity
        line.save(update_fields=["quantity"])
        return line


def send_order(
    *, order: PurchaseOrder, by: StaffMember | None, at: dt.datetime
) -> PurchaseOrder:
    """Send a draft: from now on its pieces are expected.

    A line without a day is expected after its part's usual days. A repeat changes
    nothing. Raises NothingOrdered, NotWholePacks, OverTheLimit, OrderCannotMove.
    """
    with transaction.atomic():
        order = PurchaseOrder.objects.get(pk=order.pk)
        if order.state == OrderState.SENT:
            return order
        _draft(order)
        lines = list(order.lines.select_related("part"))
        if not lines:
            raise NothingOrdered
        today = timezone.localdate(at)
        for line in lines:
            refuse_odd_pieces(line.part, line.quantity)
            if line.expected_on is None:
                line.expected_on = today + timedelta(days=line.part.lead_days)
                line.save(update_fields=["expected_on"])
        PurchaseOrder.objects.filter(pk=order.pk).update(
            state=OrderState.SENT, placed_on=today
        )
        pieces = sum(line.quantity for line in lines)
        _note(order, "placed", by=by, at=at, pieces=pieces)
        return PurchaseOrder.objects.get(pk=order.pk)


def refuse_odd_pieces(part: Part, quantity: int) -> None:
    """Refuse what the supplier does not sell; NotWholePacks offers the next number.

    Raises NotPieces, NotWholePacks, OverTheLimit.
    """
    if quantity < 1:
        raise NotPieces(part, quantity)
    offered = orderable(quantity, pack=part.pack, minimum=part.minimum_order)
    if part.order_limit is not None and quantity > part.order_limit:
        raise OverTheLimit(part, quantity, part.order_limit)
    if offered != quantity:
        raise NotWholePacks(part, quantity, offered)


def _write(order: PurchaseOrder, line: OrderedLine) -> OrderLine:
    """Write a line under the number that is ordered today."""
    part = current_part(line.part)
    refuse_odd_pieces(part, line.quantity)
    if order.lines.filter(part=part).exists():
        raise AlreadyOnOrder(part)
    price = line.unit_cost_cents
    return OrderLine.objects.create(
        order=order,
        part=part,
        quantity=line.quantity,
        unit_cost_cents=part.unit_cost_cents if price is None else price,
        expected_on=line.expected_on,
    )


def _draft(order: PurchaseOrder) -> PurchaseOrder:
    """Hold a draft until the transaction ends; raises OrderCannotMove."""
    drafts = PurchaseOrder.objects.filter(pk=order.pk, state=OrderState.DRAFT)
    if not drafts.update(state=OrderState.DRAFT):
        raise OrderCannotMove(PurchaseOrder.objects.get(pk=order.pk))
    return PurchaseOrder.objects.select_related("supplier", "store").get(pk=order.pk)


def _note(
    order: PurchaseOrder,
    act: str,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    **figures: int,
) -> None:
    record(
        act=f"order.{act}",
        subject=order,
        by=by,
        at=at,
        store=order.store,
        after=dict(figures),
    )
