"""Orders of further parts: placed, confirmed with dates, received, closed, cancelled.

An order by hand begins as a draft (inventory.domain.drafting).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.domain.series import next_number
from dealership.rules.refusals import Refusal
from inventory.domain.ledger import NotPieces
from inventory.domain.once import once
from inventory.models import OrderLine, Part, PurchaseOrder, Shipment
from inventory.models.trade import ORDER_WORDS
from inventory.rules.accounts import ORDER_OVER, OrderState
from inventory.rules.supersession import current_of


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Mapping, Sequence

    from django.db.models import QuerySet

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Supplier


@dataclass(frozen=True, kw_only=True)
class OrderedLine:
    """Pieces of a part to order; the price is the part's own where none is given."""

    part: Part
    quantity: int
    unit_cost_cents: int | None = None
    expected_on: dt.date | None = None


class OtherSupplier(Refusal):
    """A part that this supplier does not ship."""

    def __init__(self, part: Part, supplier: Supplier) -> None:
        super().__init__(
            _("%(part)s does not come from %(supplier)s. Put it on another order.")
            % {"part": part.number, "supplier": supplier.name}
        )
        self.part = part
        self.supplier = supplier


class NothingOrdered(Refusal):
    """An order without a line."""

    def __init__(self) -> None:
        super().__init__(_("The order has no line. Say which part and how many."))


class OrderCannotMove(Refusal):
    """The order is in a state in which this cannot be done."""

    def __init__(self, order: PurchaseOrder) -> None:
        super().__init__(
            _("Order %(number)s is %(state)s, so this cannot be done any more.")
            % {
                "number": order.number,
                "state": ORDER_WORDS[OrderState(order.state)],
            }
        )
        self.order = order


class CloseReasonMissing(Refusal):
    """An order is closed without a reason."""

    def __init__(self) -> None:
        super().__init__(_("Say why the rest is not expected any more."))


def place_order(
    *,
    key: str,
    store: Store,
    supplier: Supplier,
    earmark: Earmark | None,
    lines: Sequence[OrderedLine],
    by: StaffMember | None,
    at: dt.datetime,
) -> PurchaseOrder:
    """Place an order; a part that has been replaced is ordered under its new number.

    The expected day is the one given, else today plus the part's lead time in days.
    The same ``key`` again gives the first order. Raises NothingOrdered, NotPieces,
    OtherSupplier.
    """
    if not lines:
        raise NothingOrdered
    for line in lines:
        if line.quantity < 1:
            raise NotPieces(line.part, line.quantity)
        if line.part.supplier_id != supplier.pk:
            raise OtherSupplier(line.part, supplier)

    def found() -> PurchaseOrder | None:
        return PurchaseOrder.objects.filter(key=key).first()

    def act() -> PurchaseOrder:
        day = timezone.localdate(at)
        order = PurchaseOrder.objects.create(
            store=store,
            supplier=supplier,
            number=next_number(store=store, kind="order"),
            key=key,
            earmark=earmark,
            state=OrderState.SENT,
            placed_on=day,
            made_by=by,
            made_at=at,
        )
        for line in lines:
            part = current_part(line.part)
            OrderLine.objects.create(
                order=order,
                part=part,
                quantity=line.quantity,
                unit_cost_cents=part.unit_cost_cents
                if line.unit_cost_cents is None
                else line.unit_cost_cents,
                expected_on=line.expected_on or day + timedelta(days=part.lead_days),
            )
        record(
            act="order.placed",
            subject=order,
            by=by,
            at=at,
            store=store,
            after={"pieces": sum(line.quantity for line in lines)},
        )
        return order

    return once(found=found, act=act)


def current_part(part: Part) -> Part:
    """Give the part that is ordered in its place today."""
    if part.superseded_by_id is None:
        return part
    replaced = Part.objects.filter(superseded_by__isnull=False)
    chain = dict(replaced.values_list("pk", "superseded_by_id"))
    return Part.objects.get(pk=current_of(part.pk, chain))


def confirm_order(
    *,
    order: PurchaseOrder,
    dates: Mapping[int, dt.date],
    by: StaffMember | None,
    at: dt.datetime,
    back_ordered: Collection[int] = (),
) -> PurchaseOrder:
    """Write down what the supplier says, by order line id: a day, or back-ordered.

    A line on back order has no day, and no promise counts on it until it has one. A
    repeat changes nothing. Raises OrderCannotMove when the order is a draft or over.
    """
    with transaction.atomic():
        order = PurchaseOrder.objects.get(pk=order.pk)
        if order.state == OrderState.DRAFT or order.state in ORDER_OVER:
            raise OrderCannotMove(order)
        before = {}
        for line in order.lines.all():
            behind = line.pk in back_ordered
            day = None if behind else dates.get(line.pk, line.expected_on)
            if (line.expected_on, line.back_ordered) != (day, behind):
                before[str(line.pk)] = str(line.expected_on)
                line.expected_on, line.back_ordered = day, behind
                line.save(update_fields=["expected_on", "back_ordered"])
        state = _state_now(order, else_=OrderState.CONFIRMED)
        moved = PurchaseOrder.objects.filter(pk=order.pk).exclude(state=state)
        if moved.update(state=state) or before:
            record(
                act="order.confirmed",
                subject=order,
                by=by,
                at=at,
                store=order.store,
                before=before,
                after={
                    "state": str(state),
                    **{str(pk): str(day) for pk, day in dates.items()},
                },
            )
        return PurchaseOrder.objects.get(pk=order.pk)


def cancel_order(
    *, order: PurchaseOrder, by: StaffMember | None, at: dt.datetime, why: str
) -> PurchaseOrder:
    """Cancel an order of which nothing has come. A repeat changes nothing.

    Raises OrderCannotMove when something has come or a delivery is on its way.
    """
    return _end(
        order,
        OrderState.CANCELLED,
        PurchaseOrder.objects.filter(
            state__in=[
                OrderState.DRAFT,
                OrderState.SENT,
                OrderState.CONFIRMED,
                OrderState.BACK_ORDERED,
            ],
            shipments__isnull=True,
        ),
        by=by,
        at=at,
        why=why,
    )


def close_order(
    *, order: PurchaseOrder, by: StaffMember | None, at: dt.datetime, why: str
) -> PurchaseOrder:
    """Close an order of which the rest is not expected any more.

    A repeat changes nothing. Raises CloseReasonMissing, and OrderCannotMove when it is
    a draft or over, or a delivery against it is on its way.
    """
    if not why.strip():
        raise CloseReasonMissing
    waiting = Shipment.objects.filter(order=OuterRef("pk"), received_at__isnull=True)
    return _end(
        order,
        OrderState.CLOSED,
        PurchaseOrder.objects.exclude(
            state__in=[OrderState.DRAFT, *ORDER_OVER]
        ).exclude(Exists(waiting)),
        by=by,
        at=at,
        why=why,
    )


def _end(
    order: PurchaseOrder,
    state: OrderState,
    may_end: QuerySet[PurchaseOrder],
    *,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
) -> PurchaseOrder:
    """End an order unless it has ended so; raises OrderCannotMove."""
    with transaction.atomic():
        order = PurchaseOrder.objects.get(pk=order.pk)
        if order.state == state:
            return order
        going = PurchaseOrder.objects.filter(pk__in=may_end.filter(pk=order.pk))
        if not going.update(state=state):
            raise OrderCannotMove(order)
        record(
            act=f"order.{state}",
            subject=order,
            by=by,
            at=at,
            store=order.store,
            before={"state": order.state},
            why=why,
        )
        return PurchaseOrder.objects.get(pk=order.pk)


def advance_order(*, order_id: int) -> None:
    """Move an order on after a delivery was counted, in the caller's transaction."""
    order = PurchaseOrder.objects.get(pk=order_id)
    if order.state not in ORDER_OVER:
        state = _state_now(order, else_=OrderState(order.state))
        PurchaseOrder.objects.filter(pk=order_id).update(state=state)


def _state_now(order: PurchaseOrder, *, else_: OrderState) -> OrderState:
    """Tell how an order stands by its lines; ``else_`` where nothing has come yet."""
    lines = list(order.lines.all())
    going = [line for line in lines if line.received < line.quantity]
    if not going:
        return OrderState.RECEIVED
    if any(line.back_ordered for line in going):
        return OrderState.BACK_ORDERED
    if any(line.received for line in lines):
        return OrderState.PART_RECEIVED
    return else_
