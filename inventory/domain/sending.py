"""A supplier's delivery against an order, with its bill if that came along."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.ordering import OrderCannotMove
from inventory.domain.receiving import SentLine, announce_shipment
from inventory.models import OrderLine
from inventory.rules.accounts import ORDER_OVER, OrderState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import StaffMember
    from inventory.models import Bill, PurchaseOrder, Shipment


def announce_for_order(
    *,
    order: PurchaseOrder,
    number: str,
    sent: Mapping[int, int],
    expected_on: dt.date,
    bill_number: str,
    bill_dated: dt.date | None,
    by: StaffMember | None,
    at: dt.datetime,
) -> Shipment:
    """Enter a packing slip against an order: pieces ``sent`` by order line id.

    A bill number enters the bill too, at the prices ordered. Lines with no piece are
    left out. The same slip again answers with the first delivery. Raises
    OrderCannotMove when the order is a draft or over, and what ``enter_bill``
    and ``announce_shipment`` raise.
    """
    if order.state == OrderState.DRAFT or order.state in ORDER_OVER:
        raise OrderCannotMove(order)
    lines = OrderLine.objects.filter(
        order=order, pk__in=[k for k, n in sent.items() if n]
    )
    wanted = [(line, sent[line.pk]) for line in lines.select_related("part")]
    with transaction.atomic():
        bill: Bill | None = None
        if bill_number and bill_dated:
            bill = enter_bill(
                store=order.store,
                supplier=order.supplier,
                number=bill_number,
                dated=bill_dated,
                lines=[
                    BilledLine(
                        part=line.part,
                        quantity=pieces,
                        unit_cost_cents=line.unit_cost_cents,
                    )
                    for line, pieces in wanted
                ],
                earmark=order.earmark,
                by=by,
                at=at,
            )
        billed = {one.part_id: one for one in bill.lines.all()} if bill else {}
        return announce_shipment(
            store=order.store,
            supplier=order.supplier,
            number=number,
            lines=[
                SentLine(
                    part=line.part,
                    quantity=pieces,
                    bill_line=billed.get(line.part_id),
                    order_line=line,
                )
                for line, pieces in wanted
            ],
            announced_on=timezone.localdate(at),
            expected_on=expected_on,
            bill=bill,
            order=order,
            earmark=order.earmark,
            by=by,
            at=at,
        )
