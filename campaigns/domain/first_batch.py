"""The first batch of a campaign's parts: announced, billed, sent, counted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.models import Allocation
from campaigns.rules.lifecycle import CampaignState
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.ledger import NotPieces
from inventory.domain.once import once
from inventory.domain.ordering import OtherSupplier
from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
)


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import Campaign
    from dealership.models import StaffMember, Store
    from inventory.models import Part, Shipment


@dataclass(frozen=True, kw_only=True)
class BillPaper:
    """What the manufacturer's bill says: pieces and cents a piece."""

    number: str
    dated: dt.date
    quantity: int
    unit_cost_cents: int


@dataclass(frozen=True, kw_only=True)
class SlipPaper:
    """What the packing slip says; without an expected day nothing counts on it."""

    number: str
    quantity: int
    expected_on: dt.date | None


class AlreadyAnnounced(Refusal):
    """This store already has a first batch of this part with other figures."""

    def __init__(self, allocation: Allocation) -> None:
        super().__init__(
            _(
                "%(store)s already has a first batch of %(part)s: %(pieces)d pieces "
                "announced on %(day)s. Further pieces come by an order."
            )
            % {
                "store": allocation.store.name,
                "part": allocation.part.number,
                "pieces": allocation.quantity,
                "day": allocation.announced_on,
            }
        )
        self.allocation = allocation


class CampaignClosed(Refusal):
    """The campaign is closed; it gets no further batch."""

    def __init__(self, campaign: Campaign) -> None:
        super().__init__(
            _("Campaign %(code)s is closed. Open it again before parts come in for it.")
            % {"code": campaign.code}
        )
        self.campaign = campaign


class AlreadyBilled(Refusal):
    """The batch already has a bill."""

    def __init__(self, allocation: Allocation) -> None:
        super().__init__(
            _("This batch is billed by bill %(number)s. A batch has one bill.")
            % {"number": allocation.bill}
        )
        self.allocation = allocation


class AlreadySent(Refusal):
    """The batch already has a packing slip."""

    def __init__(self, allocation: Allocation) -> None:
        super().__init__(
            _("This batch was sent with packing slip %(number)s. A batch has one.")
            % {"number": allocation.shipment}
        )
        self.allocation = allocation


class NotSentYet(Refusal):
    """No packing slip of this batch is known, so there is nothing to count."""

    def __init__(self, allocation: Allocation) -> None:
        super().__init__(
            _("No packing slip is entered for %(part)s. Enter it, then count.")
            % {"part": allocation.part.number}
        )
        self.allocation = allocation


def announce(
    *,
    campaign: Campaign,
    store: Store,
    part: Part,
    quantity: int,
    unit_cost_cents: int,
    announced_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    bill: BillPaper | None = None,
    slip: SlipPaper | None = None,
) -> Allocation:
    """Enter the first batch of one part for one store, with bill and slip if at hand.

    A batch is known by campaign, store and part: the same figures again answer with
    the first one. Raises AlreadyAnnounced, CampaignClosed, OtherSupplier, NotPieces,
    and what ``enter_batch_bill`` and ``enter_slip`` raise.
    """
    if quantity < 1:
        raise NotPieces(part, quantity)
    if campaign.state == CampaignState.CLOSED:
        raise CampaignClosed(campaign)
    if part.supplier_id != campaign.supplier_id:
        raise OtherSupplier(part, campaign.supplier)

    def found() -> Allocation | None:
        first = Allocation.objects.filter(
            campaign=campaign, store=store, part=part
        ).first()
        said = (quantity, unit_cost_cents, announced_on)
        if first and said != (
            first.quantity,
            first.unit_cost_cents,
            first.announced_on,
        ):
            raise AlreadyAnnounced(first)
        return first

    def act() -> Allocation:
        allocation = Allocation.objects.create(
            campaign=campaign,
            store=store,
            part=part,
            quantity=quantity,
            unit_cost_cents=unit_cost_cents,
            announced_on=announced_on,
            made_by=by,
            made_at=at,
        )
        record(
            act="allocation.announced",
            subject=allocation,
            by=by,
            at=at,
            store=store,
            after={"part": part.pk, "pieces": quantity, "unit_cents": unit_cost_cents},
        )
        if bill:
            allocation = enter_batch_bill(
                allocation=allocation, paper=bill, by=by, at=at
            )
        if slip:
            enter_slip(
                allocation=allocation,
                paper=slip,
                announced_on=announced_on,
                by=by,
                at=at,
            )
        return Allocation.objects.get(pk=allocation.pk)

    return once(found=found, act=act)


def enter_batch_bill(
    *,
    allocation: Allocation,
    paper: BillPaper,
    by: StaffMember | None,
    at: dt.datetime,
) -> Allocation:
    """Enter the manufacturer's bill of a batch, as it is printed.

    The same bill again changes nothing. Raises AlreadyBilled for another one, and
    what ``enter_bill`` raises.
    """
    with transaction.atomic():
        campaign = allocation.campaign
        bill = enter_bill(
            store=allocation.store,
            supplier=campaign.supplier,
            number=paper.number,
            dated=paper.dated,
            lines=[
                BilledLine(
                    part=allocation.part,
                    quantity=paper.quantity,
                    unit_cost_cents=paper.unit_cost_cents,
                )
            ],
            earmark=campaign.earmark,
            by=by,
            at=at,
        )
        unbilled = Allocation.objects.filter(pk=allocation.pk, bill__isnull=True)
        unbilled.update(bill=bill)
        allocation = Allocation.objects.get(pk=allocation.pk)
        if allocation.bill_id != bill.pk:
            raise AlreadyBilled(allocation)
        shipment = allocation.shipment
        if shipment and shipment.received_at is None and shipment.bill_id is None:
            shipment.bill = bill
            shipment.save(update_fields=["bill"])
            lines = shipment.lines.filter(part=allocation.part)
            lines.update(bill_line=bill.lines.get(part=allocation.part))
        return allocation


def enter_slip(
    *,
    allocation: Allocation,
    paper: SlipPaper,
    announced_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> Allocation:
    """Enter the packing slip of a batch; its pieces are set apart for the campaign.

    The same slip again changes nothing. Raises AlreadySent for another one, and what
    ``announce_shipment`` raises.
    """
    with transaction.atomic():
        campaign, bill = allocation.campaign, allocation.bill
        shipment = announce_shipment(
            store=allocation.store,
            supplier=campaign.supplier,
            number=paper.number,
            lines=[
                SentLine(
                    part=allocation.part,
                    quantity=paper.quantity,
                    bill_line=bill.lines.get(part=allocation.part) if bill else None,
                )
            ],
            announced_on=announced_on,
            expected_on=paper.expected_on,
            bill=bill,
            earmark=campaign.earmark,
            by=by,
            at=at,
        )
        unsent = Allocation.objects.filter(pk=allocation.pk, shipment__isnull=True)
        unsent.update(shipment=shipment)
        allocation = Allocation.objects.get(pk=allocation.pk)
        if allocation.shipment_id != shipment.pk:
            raise AlreadySent(allocation)
        return allocation


def receive(
    *,
    key: str,
    allocation: Allocation,
    good: int,
    damaged: int,
    bin_code: str,
    by: StaffMember | None,
    at: dt.datetime,
) -> Shipment:
    """Count a batch onto its bin. The same ``key`` again gives the first result.

    Where its packing slip has further parts, all lines are counted at once with
    ``receive_shipment``. Raises NotSentYet, and what ``receive_shipment`` raises.
    """
    shipment = allocation.shipment
    if shipment is None:
        raise NotSentYet(allocation)
    line = shipment.lines.get(part=allocation.part)
    counted = Counted(good=good, damaged=damaged, bin_code=bin_code)
    return receive_shipment(
        key=key, shipment=shipment, counts={line.pk: counted}, by=by, at=at
    )
