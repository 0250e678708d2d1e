"""Bills of suppliers, entered as they are printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.ledger import NotPieces
from inventory.domain.once import once
from inventory.models import Bill, BillLine, Part


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Supplier


@dataclass(frozen=True, kw_only=True)
class BilledLine:
    """Pieces of a part on a bill, at the price a piece in cents."""

    part: Part
    quantity: int
    unit_cost_cents: int


class BillNumberTaken(Refusal):
    """Another bill of this supplier already has this number."""

    def __init__(self, bill: Bill) -> None:
        super().__init__(
            _(
                "Bill %(number)s of %(supplier)s was entered on %(day)s with other "
                "lines, or for another campaign. Check the number; a bill is entered once."
            )
            % {
                "number": bill.number,
                "supplier": bill.supplier.name,
                "day": timezone.localdate(bill.entered_at).isoformat(),
            }
        )
        self.bill = bill


class PriceBelowZero(Refusal):
    """A price that is less than nothing."""

    def __init__(self, part: Part, cents: int) -> None:
        super().__init__(
            _("%(part)s: the price is below zero. Enter what the bill says.")
            % {"part": part.number}
        )
        self.part = part
        self.cents = cents


def enter_bill(
    *,
    store: Store,
    supplier: Supplier,
    number: str,
    dated: dt.date,
    lines: Sequence[BilledLine],
    by: StaffMember | None,
    at: dt.datetime,
    earmark: Earmark | None = None,
) -> Bill:
    """Enter a bill with its lines.

    The supplier's number is the key: the same bill again answers with the first one.
    Raises BillNumberTaken when it has other lines or another earmark, NotPieces,
    PriceBelowZero.
    """
    for line in lines:
        if line.quantity < 1:
            raise NotPieces(line.part, line.quantity)
        if line.unit_cost_cents < 0:
            raise PriceBelowZero(line.part, line.unit_cost_cents)

    def found() -> Bill | None:
        first = Bill.objects.filter(
            store=store, supplier=supplier, number=number
        ).first()
        mine = earmark.pk if earmark else None
        if first and (first.earmark_id, _said(first)) != (mine, _wanted(lines)):
            raise BillNumberTaken(first)
        return first

    def act() -> Bill:
        bill = Bill.objects.create(
            store=store,
            supplier=supplier,
            number=number,
            dated=dated,
            earmark=earmark,
            entered_by=by,
            entered_at=at,
        )
        for line in lines:
            BillLine.objects.create(
                bill=bill,
                part=line.part,
                quantity=line.quantity,
                unit_cost_cents=line.unit_cost_cents,
            )
        cents = sum(line.quantity * line.unit_cost_cents for line in lines)
        record(
            act="bill.entered",
            subject=bill,
            by=by,
            at=at,
            store=store,
            after={"lines": len(lines), "cents": cents},
        )
        return bill

    return once(found=found, act=act)


def _said(bill: Bill) -> list[tuple[int, int, int]]:
    return sorted(bill.lines.values_list("part_id", "quantity", "unit_cost_cents"))


def _wanted(lines: Sequence[BilledLine]) -> list[tuple[int, int, int]]:
    return sorted((one.part.pk, one.quantity, one.unit_cost_cents) for one in lines)
