"""Deliveries: announced with their packing slip, then counted once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.rules.refusals import Refusal
from inventory.domain.disputes import billed_by, end_replaced
from inventory.domain.ledger import Line, NotPieces, keep_in_bin, post
from inventory.domain.once import once
from inventory.domain.ordering import advance_order
from inventory.domain.quarantine import put_aside
from inventory.domain.shelving import clean_code
from inventory.models import (
    BinLocation,
    CostLayer,
    Dispute,
    OrderLine,
    Shipment,
    ShipmentLine,
)
from inventory.rules.accounts import Account, DisputeKind, LotKind, MovementKind


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from dealership.models import StaffMember, Store
    from inventory.models import (
        Bill,
        BillLine,
        Earmark,
        Part,
        PurchaseOrder,
        Supplier,
    )

DISPUTE_DAYS = 10
"""Days to settle short or damaged pieces; common practice, no source. The supplier's
terms decide."""


@dataclass(frozen=True, kw_only=True)
class SentLine:
    """Pieces of a part on a packing slip."""

    part: Part
    quantity: int
    bill_line: BillLine | None = None
    order_line: OrderLine | None = None
    replaces: Dispute | None = None


@dataclass(frozen=True, kw_only=True)
class Counted:
    """What was found of one line; the rest of what was sent is short."""

    good: int
    damaged: int = 0
    bin_code: str = ""


class SlipNumberTaken(Refusal):
    """Another delivery of this supplier already has this packing slip."""

    def __init__(self, shipment: Shipment) -> None:
        super().__init__(
            _(
                "Packing slip %(number)s is already announced with other lines, or for "
                "another campaign or order. "
                "Check the number on the slip."
            )
            % {"number": shipment.number}
        )
        self.shipment = shipment


class AlreadyReceived(Refusal):
    """The delivery has been counted before."""

    def __init__(self, shipment: Shipment) -> None:
        super().__init__(
            _(
                "Delivery %(number)s was received on %(day)s by %(who)s. Its pieces "
                "are in the books; correct a wrong count by a further line."
            )
            % {
                "number": shipment.number,
                "day": timezone.localdate(shipment.received_at).isoformat(),
                "who": shipment.received_by or _("the house"),
            }
        )
        self.shipment = shipment


class CountDoesNotFit(Refusal):
    """The count of a line is below zero or more than was sent."""

    def __init__(self, line: ShipmentLine, counted: Counted) -> None:
        super().__init__(
            _(
                "%(part)s: %(sent)d were sent; %(good)d in order and %(damaged)d "
                "damaged do not fit. Count again; what came too much stands on a "
                "slip of its own."
            )
            % {
                "part": line.part.number,
                "sent": line.sent,
                "good": counted.good,
                "damaged": counted.damaged,
            }
        )
        self.line = line
        self.counted = counted


class LineNotCounted(Refusal):
    """A line of the delivery has no count."""

    def __init__(self, line: ShipmentLine) -> None:
        super().__init__(
            _("%(part)s is not counted yet. Count every line, with 0 for none.")
            % {"part": line.part.number}
        )
        self.line = line


def announce_shipment(
    *,
    store: Store,
    supplier: Supplier,
    number: str,
    lines: Sequence[SentLine],
    announced_on: dt.date,
    expected_on: dt.date | None,
    by: StaffMember | None,
    at: dt.datetime,
    bill: Bill | None = None,
    order: PurchaseOrder | None = None,
    earmark: Earmark | None = None,
) -> Shipment:
    """Write down a delivery that is on its way.

    Its pieces count in the promise line from ``expected_on``; without a day they do
    not. The packing slip's number is the key: the same slip again answers with the
    first delivery. Raises SlipNumberTaken, NotPieces.
    """
    for line in lines:
        if line.quantity < 1:
            raise NotPieces(line.part, line.quantity)
    wanted = sorted((line.part.pk, line.quantity) for line in lines)
    mine = (earmark.pk if earmark else None, order.pk if order else None)

    def found() -> Shipment | None:
        first = Shipment.objects.filter(
            store=store, supplier=supplier, number=number
        ).first()
        if first and _said(first) != (mine, wanted):
            raise SlipNumberTaken(first)
        return first

    def act() -> Shipment:
        shipment = Shipment.objects.create(
            store=store,
            supplier=supplier,
            number=number,
            bill=bill,
            order=order,
            earmark=earmark,
            announced_on=announced_on,
            expected_on=expected_on,
        )
        for line in lines:
            ShipmentLine.objects.create(
                shipment=shipment,
                part=line.part,
                sent=line.quantity,
                bill_line=line.bill_line,
                order_line=line.order_line,
                replaces=line.replaces,
            )
        record(
            act="shipment.announced",
            subject=shipment,
            by=by,
            at=at,
            store=store,
            after={"pieces": sum(line.quantity for line in lines)},
        )
        return shipment

    return once(found=found, act=act)


def _said(
    shipment: Shipment,
) -> tuple[tuple[int | None, int | None], list[tuple[int, int]]]:
    """Give what a delivery is for, and its lines."""
    lines = sorted(shipment.lines.values_list("part_id", "sent"))
    return (shipment.earmark_id, shipment.order_id), lines


def redate_shipment(
    *, shipment: Shipment, expected_on: dt.date, by: StaffMember | None, at: dt.datetime
) -> Shipment:
    """Give a delivery that is late a new day; the same day again changes nothing.

    Raises AlreadyReceived.
    """
    with transaction.atomic():
        now = Shipment.objects.select_related("store").get(pk=shipment.pk)
        if now.received_at is None and now.expected_on == expected_on:
            return now
        coming = Shipment.objects.filter(pk=now.pk, received_at__isnull=True)
        if not coming.update(expected_on=expected_on):
            raise AlreadyReceived(now)
        record(
            act="shipment.redated",
            subject=now,
            by=by,
            at=at,
            store=now.store,
            before={"expected_on": str(now.expected_on)},
            after={"expected_on": str(expected_on)},
        )
    now.expected_on = expected_on
    return now


def receive_shipment(
    *,
    key: str,
    shipment: Shipment,
    counts: Mapping[int, Counted],
    by: StaffMember | None,
    at: dt.datetime,
    dispute_days: int = DISPUTE_DAYS,
) -> Shipment:
    """Count a delivery into the books, all lines at once.

    Pieces in order are free in the pocket of the delivery's earmark, damaged ones
    stand in quarantine; what was billed and is short or damaged opens a dispute with
    its last date. A job then keeps promises and offers parts to those who wait. The
    same ``key`` again gives the first result. Raises AlreadyReceived,
    CountDoesNotFit, LineNotCounted, BadBinCode.
    """

    def found() -> Shipment | None:
        row = Shipment.objects.get(pk=shipment.pk)
        return row if row.received_at and row.received_key == key else None

    def act() -> Shipment:
        lines = list(
            shipment.lines.select_related(
                "part",
                "bill_line",
                "order_line",
                "replaces__store",
                "replaces__shipment_line__bill_line",
                "replaces__shipment_line__part",
                "replaces__shipment_line__shipment__earmark",
            )
        )
        for line in lines:
            _check_count(line, counts.get(line.pk))
        free_to_count = Shipment.objects.filter(
            pk=shipment.pk, received_at__isnull=True
        )
        if not free_to_count.update(received_at=at, received_by=by, received_key=key):
            raise AlreadyReceived(Shipment.objects.get(pk=shipment.pk))
        day = timezone.localdate(at)
        posted: list[Line] = []
        for line in lines:
            posted += _count_line(shipment, line, counts[line.pk], day, dispute_days)
        if posted:
            post(
                key=key,
                kind=MovementKind.RECEIVE,
                store=shipment.store,
                lines=posted,
                by=by,
                at=at,
                effective_on=day,
                subject=f"shipment:{shipment.pk}",
                why=_("delivery %(number)s") % {"number": shipment.number},
            )
        _keep_recalled_aside(shipment, lines, by=by, at=at)
        for line in lines:
            if line.replaces:
                end_replaced(dispute=line.replaces, by=by, at=at)
        if shipment.order_id:
            advance_order(order_id=shipment.order_id)
        _finish(shipment, lines, by=by, at=at)
        return Shipment.objects.get(pk=shipment.pk)

    return once(found=found, act=act)


def _keep_recalled_aside(
    shipment: Shipment,
    lines: Sequence[ShipmentLine],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Put aside at once what has come of a part that is itself under a recall."""
    for line in lines:
        if line.good and line.part.recalled:
            put_aside(
                key=f"shipment_line:{line.pk}/recalled",
                store=shipment.store,
                part=line.part,
                earmark=shipment.earmark,
                quantity=line.good,
                kind=LotKind.RECALLED,
                by=by,
                at=at,
                why=_("came in while it is recalled"),
            )


def _check_count(line: ShipmentLine, counted: Counted | None) -> None:
    if counted is None:
        raise LineNotCounted(line)
    fits = counted.good >= 0 and counted.damaged >= 0
    if not fits or counted.good + counted.damaged > line.sent:
        raise CountDoesNotFit(line, counted)


def _count_line(
    shipment: Shipment,
    line: ShipmentLine,
    counted: Counted,
    day: dt.date,
    dispute_days: int,
) -> list[Line]:
    """Write one line's count, its cost layer and disputes; give what is to be posted."""
    line.good, line.damaged = counted.good, counted.damaged
    line.short = line.sent - counted.good - counted.damaged
    line.bin = _bin(shipment, line, counted.bin_code)
    line.save(update_fields=["good", "damaged", "short", "bin"])
    if line.order_line:
        OrderLine.objects.filter(pk=line.order_line.pk).update(
            received=F("received") + counted.good + counted.damaged
        )
    unit = _unit_cost(line)
    _dispute(shipment, line, unit, day, dispute_days)
    arrived = counted.good + counted.damaged
    if not arrived:
        return []
    layer = CostLayer.objects.create(
        store=shipment.store,
        part=line.part,
        earmark=shipment.earmark,
        bill_line=billed_by(line),
        source=f"shipment_line:{line.pk}",
        unit_cost_cents=unit,
        quantity=arrived,
        received_on=day,
    )
    return [
        Line(
            part=line.part,
            earmark=shipment.earmark,
            source=Account.SUPPLIER,
            target=target,
            quantity=pieces,
            layer=layer,
        )
        for target, pieces in (
            (Account.FREE, counted.good),
            (Account.QUARANTINE, counted.damaged),
        )
        if pieces
    ]


def _bin(shipment: Shipment, line: ShipmentLine, code: str) -> BinLocation | None:
    """Find or make the bin and note it for the pocket."""
    if not code.strip():
        return None
    place, _made = BinLocation.objects.get_or_create(
        store=shipment.store, code=clean_code(code)
    )
    keep_in_bin(
        store=shipment.store, part=line.part, earmark=shipment.earmark, place=place
    )
    return place


def _unit_cost(line: ShipmentLine) -> int:
    """Give the price billed, else the one ordered, else the part's own, in cents.

    Pieces that replace others at no cost are worth what those had cost.
    """
    if line.replaces:
        return line.replaces.unit_cost_cents
    if line.bill_line:
        return line.bill_line.unit_cost_cents
    if line.order_line:
        return line.order_line.unit_cost_cents
    return line.part.unit_cost_cents


def _dispute(
    shipment: Shipment, line: ShipmentLine, unit: int, day: dt.date, days: int
) -> None:
    """Open a dispute for damaged pieces, and for short ones that were paid for.

    What was ordered, not billed and did not come simply stays on order.
    """
    wrong = {DisputeKind.DAMAGED: line.damaged or 0}
    if line.bill_line or line.replaces:
        wrong[DisputeKind.SHORT] = line.short or 0
    for kind, pieces in wrong.items():
        if pieces:
            Dispute.objects.create(
                store=shipment.store,
                shipment_line=line,
                kind=kind,
                quantity=pieces,
                unit_cost_cents=unit,
                opened_on=day,
                last_date=day + timedelta(days=days),
            )


def _finish(
    shipment: Shipment,
    lines: Sequence[ShipmentLine],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Write the trail and leave the job that keeps promises and offers parts."""
    record(
        act="shipment.received",
        subject=shipment,
        by=by,
        at=at,
        store=shipment.store,
        after={
            "good": sum(line.good or 0 for line in lines),
            "damaged": sum(line.damaged or 0 for line in lines),
            "short": sum(line.short or 0 for line in lines),
        },
    )
    enqueue(
        kind="inventory.received",
        arguments={"shipment_id": shipment.pk},
        by=by,
        store=shipment.store,
        now=at,
        unique_key=f"shipment {shipment.pk}",
    )
