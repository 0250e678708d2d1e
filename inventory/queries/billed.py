"""What of an order is billed, and by which bills."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q, Sum

from inventory.models import Bill, BillLine


if TYPE_CHECKING:
    from django.db.models import QuerySet

    from inventory.models import PurchaseOrder


def bills_of(order: PurchaseOrder) -> QuerySet[Bill]:
    """Give the bills of an order: entered against it, or named by its deliveries."""
    rows = Bill.objects.filter(Q(order=order) | Q(shipments__order=order))
    return rows.distinct().order_by("dated", "pk")


def unbilled_pieces(order: PurchaseOrder) -> dict[int, int]:
    """Give how many ordered pieces of each part no bill is for yet, by part id."""
    ordered = order.lines.order_by().values_list("part_id").annotate(Sum("quantity"))
    billed = dict(
        BillLine.objects.filter(bill__in=bills_of(order).order_by().values("pk"))
        .order_by()
        .values_list("part_id")
        .annotate(Sum("quantity"))
    )
    return {part: max(0, pieces - billed.get(part, 0)) for part, pieces in ordered}
