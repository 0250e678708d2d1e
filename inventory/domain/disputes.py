"""Short and damaged pieces: credited, replaced, or written off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.ledger import Line, post
from inventory.models import CostLayer, Credit, Dispute, WriteOff
from inventory.models.trade import DISPUTE_WORDS
from inventory.rules.accounts import (
    UNSETTLED,
    Account,
    DisputeKind,
    DisputeState,
    MovementKind,
)


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember
    from inventory.models import BillLine, ShipmentLine


class DisputeSettled(Refusal):
    """The dispute has already ended in another way."""

    def __init__(self, dispute: Dispute) -> None:
        super().__init__(
            _("This dispute was %(state)s on %(day)s. Nothing is left to settle.")
            % {
                "state": DISPUTE_WORDS[DisputeState(dispute.state)],
                "day": dispute.closed_on,
            }
        )
        self.dispute = dispute


class CreditTooLarge(Refusal):
    """More cents than the disputed pieces cost."""

    def __init__(self, dispute: Dispute, cents: int, most: int) -> None:
        super().__init__(
            _("The credit is more than the pieces cost. Check the credit note.")
        )
        self.dispute = dispute
        self.cents = cents
        self.most = most


class ReasonMissing(Refusal):
    """Money is given up without a reason."""

    def __init__(self) -> None:
        super().__init__(_("Say why the money is given up; the owner will ask."))


def settle_dispute(
    *,
    dispute: Dispute,
    how: DisputeState,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    number: str = "",
    amount_cents: int | None = None,
    why: str = "",
) -> Dispute:
    """End a dispute: ``how`` is credited, replaced or written off.

    Credited: a credit note over ``amount_cents`` (the pieces' cost where None);
    damaged pieces go back. Replaced: pieces in order come in at the same price,
    damaged ones go back. Written off: the money is given up, damaged pieces are
    scrapped. The same end again changes nothing. Raises DisputeSettled for another
    end, CreditTooLarge, ReasonMissing; ValueError where ``how`` is no end.
    """
    if how in UNSETTLED:
        raise ValueError("a dispute does not end open")
    cost = dispute.quantity * dispute.unit_cost_cents
    amount = cost if amount_cents is None else amount_cents
    if how is DisputeState.CREDITED and not 0 <= amount <= cost:
        raise CreditTooLarge(dispute, amount, cost)
    if how is DisputeState.WRITTEN_OFF and not why.strip():
        raise ReasonMissing
    with transaction.atomic():
        open_one = Dispute.objects.filter(pk=dispute.pk, state=DisputeState.OPEN)
        if not open_one.update(state=how, closed_on=dated):
            dispute = Dispute.objects.get(pk=dispute.pk)
            if dispute.state == how:
                return dispute
            raise DisputeSettled(dispute)
        _move_pieces(dispute, how, by=by, at=at, why=why)
        if how is DisputeState.CREDITED:
            _credit(dispute, number, dated, cost, amount, by=by, at=at)
        elif how is DisputeState.WRITTEN_OFF:
            _write_off(dispute, dated, cost, why, by=by, at=at)
        record(
            act=f"dispute.{how}",
            subject=dispute,
            by=by,
            at=at,
            store=dispute.store,
            after={"pieces": dispute.quantity, "cents": amount},
            why=why,
        )
        return Dispute.objects.get(pk=dispute.pk)


def move_last_date(
    *, dispute: Dispute, last_date: dt.date, by: StaffMember | None, at: dt.datetime
) -> Dispute:
    """Give an open dispute another last date, as agreed with the shipper.

    The same day again changes nothing. Raises DisputeSettled.
    """
    with transaction.atomic():
        dispute = Dispute.objects.get(pk=dispute.pk)
        if dispute.last_date == last_date:
            return dispute
        opened = Dispute.objects.filter(pk=dispute.pk, state__in=UNSETTLED)
        if not opened.update(last_date=last_date):
            raise DisputeSettled(dispute)
        record(
            act="dispute.last_date_moved",
            subject=dispute,
            by=by,
            at=at,
            store=dispute.store,
            before={"last_date": str(dispute.last_date)},
            after={"last_date": str(last_date)},
        )
        return Dispute.objects.get(pk=dispute.pk)


def end_replaced(*, dispute: Dispute, by: StaffMember | None, at: dt.datetime) -> None:
    """End a dispute whose replacement was counted, in the caller's transaction.

    Damaged pieces go back to the shipper.
    """
    day = timezone.localdate(at)
    awaited = Dispute.objects.filter(pk=dispute.pk, state=DisputeState.AWAITED)
    if not awaited.update(state=DisputeState.REPLACED, closed_on=day):
        return
    if dispute.kind == DisputeKind.DAMAGED:
        post(
            key=f"dispute:{dispute.pk}",
            kind=MovementKind.REPLACE,
            store=dispute.store,
            lines=[_line(dispute, Account.QUARANTINE, Account.SUPPLIER)],
            by=by,
            at=at,
            effective_on=day,
            subject=f"dispute:{dispute.pk}",
        )
    record(
        act="dispute.replaced",
        subject=dispute,
        by=by,
        at=at,
        store=dispute.store,
        after={"pieces": dispute.quantity},
    )


def billed_by(line: ShipmentLine) -> BillLine | None:
    """Give the bill line that a delivered line was paid by.

    A replacement at no cost belongs to the bill of what it replaces.
    """
    while line.bill_line is None and line.replaces is not None:
        line = line.replaces.shipment_line
    return line.bill_line


def _move_pieces(
    dispute: Dispute,
    how: DisputeState,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
) -> None:
    """Move damaged pieces out of quarantine and replacements in."""
    damaged = dispute.kind == DisputeKind.DAMAGED
    kind, lines = MovementKind.REPLACE, []
    if how is DisputeState.REPLACED:
        if damaged:
            lines.append(_line(dispute, Account.QUARANTINE, Account.SUPPLIER))
        layer = _new_layer(dispute, timezone.localdate(at))
        lines.append(_line(dispute, Account.SUPPLIER, Account.FREE, layer))
    elif damaged and how is DisputeState.CREDITED:
        kind = MovementKind.RETURN
        lines.append(_line(dispute, Account.QUARANTINE, Account.RETURNED))
    elif damaged:
        kind = MovementKind.SCRAP
        lines.append(_line(dispute, Account.QUARANTINE, Account.SCRAPPED))
    if lines:
        post(
            key=f"dispute:{dispute.pk}",
            kind=kind,
            store=dispute.store,
            lines=lines,
            by=by,
            at=at,
            effective_on=timezone.localdate(at),
            subject=f"dispute:{dispute.pk}",
            why=why,
        )


def _line(
    dispute: Dispute,
    source: Account,
    target: Account,
    layer: CostLayer | None = None,
) -> Line:
    """Write one line; damaged pieces name the layer that they came in with."""
    line = dispute.shipment_line
    return Line(
        part=line.part,
        earmark=line.shipment.earmark,
        source=source,
        target=target,
        quantity=dispute.quantity,
        layer=layer or _layer_of(dispute),
    )


def _layer_of(dispute: Dispute) -> CostLayer:
    line = dispute.shipment_line
    return CostLayer.objects.get(
        store=dispute.store,
        source=f"shipment_line:{line.pk}",
    )


def _new_layer(dispute: Dispute, day: dt.date) -> CostLayer:
    line = dispute.shipment_line
    return CostLayer.objects.create(
        store=dispute.store,
        part=line.part,
        earmark=line.shipment.earmark,
        bill_line=billed_by(line),
        source=f"dispute:{dispute.pk}",
        unit_cost_cents=dispute.unit_cost_cents,
        quantity=dispute.quantity,
        received_on=day,
    )


def _credit(
    dispute: Dispute,
    number: str,
    dated: dt.date,
    cost: int,
    amount: int,
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    Credit.objects.create(
        store=dispute.store,
        earmark=dispute.shipment_line.shipment.earmark,
        dispute=dispute,
        number=number,
        dated=dated,
        at_cost_cents=cost,
        amount_cents=amount,
        by=by,
        recorded_at=at,
    )


def _write_off(
    dispute: Dispute,
    dated: dt.date,
    cents: int,
    why: str,
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    WriteOff.objects.create(
        store=dispute.store,
        earmark=dispute.shipment_line.shipment.earmark,
        key=f"dispute:{dispute.pk}",
        of=f"inventory.dispute:{dispute.pk}",
        cents=cents,
        why=why[:200],
        dated=dated,
        by=by,
        recorded_at=at,
    )
