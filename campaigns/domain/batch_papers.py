"""One bill or one packing slip over several parts of a campaign's first batch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.domain.first_batch import AlreadyBilled, AlreadySent
from campaigns.models import Allocation
from dealership.rules.refusals import Refusal
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.receiving import SentLine, announce_shipment


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Mapping

    from campaigns.models import Campaign
    from dealership.models import StaffMember, Store
    from inventory.models import Bill, Shipment


@dataclass(frozen=True, slots=True, kw_only=True)
class Billed:
    """What the bill says of one part: pieces, and cents a piece."""

    quantity: int
    unit_cost_cents: int


class NothingOnIt(Refusal):
    """A bill or a packing slip without a line."""

    def __init__(self) -> None:
        super().__init__(
            _("No part has a piece. Enter how many of each part stand on the paper.")
        )


class NotOfThisBatch(Refusal):
    """A line for a part that the first batch of this store does not have."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "A part of this paper is not in this store's first batch. Reload the"
                " page, and enter the part's batch first."
            )
        )


def enter_bill_over_parts(
    *,
    campaign: Campaign,
    store: Store,
    number: str,
    dated: dt.date,
    lines: Mapping[int, Billed],
    by: StaffMember | None,
    at: dt.datetime,
) -> Bill:
    """Enter one bill over several parts of a first batch, as it is printed.

    ``lines`` by the id of the part's batch. All lines or none; the bill's number is
    the key, so the same bill again changes nothing. Raises NothingOnIt,
    NotOfThisBatch, AlreadyBilled where a part has another bill, and what
    ``enter_bill`` raises.
    """
    with transaction.atomic():
        batches = _batches(campaign, store, lines)
        bill = enter_bill(
            store=store,
            supplier=campaign.supplier,
            number=number,
            dated=dated,
            lines=[
                BilledLine(
                    part=batch.part,
                    quantity=lines[batch.pk].quantity,
                    unit_cost_cents=lines[batch.pk].unit_cost_cents,
                )
                for batch in batches
            ],
            earmark=campaign.earmark,
            by=by,
            at=at,
        )
        of_part = {line.part_id: line for line in bill.lines.all()}
        for batch in batches:
            if batch.bill_id not in {None, bill.pk}:
                raise AlreadyBilled(batch)
            batch.bill = bill
            batch.save(update_fields=["bill"])
            shipment = batch.shipment
            if shipment is not None and shipment.received_at is None:
                shipment.lines.filter(part=batch.part, bill_line=None).update(
                    bill_line=of_part[batch.part_id]
                )
        _note_bill(batches, bill)
        return bill


def _note_bill(batches: Collection[Allocation], bill: Bill) -> None:
    """Name the bill on deliveries to come that it covers and that name none."""
    for shipment in {batch.shipment for batch in batches if batch.shipment}:
        if shipment.received_at is None and shipment.bill_id is None:
            shipment.bill = bill
            shipment.save(update_fields=["bill"])


def enter_slip_over_parts(
    *,
    campaign: Campaign,
    store: Store,
    number: str,
    sent: Mapping[int, int],
    announced_on: dt.date,
    expected_on: dt.date | None,
    by: StaffMember | None,
    at: dt.datetime,
) -> Shipment:
    """Enter one packing slip over several parts of a first batch.

    ``sent``: pieces by the id of the part's batch. All lines or none; the slip's
    number is the key. Each line knows its part's line on the bill, also where the
    parts have several bills. Raises NothingOnIt, NotOfThisBatch, AlreadySent where a
    part has another slip, and what ``announce_shipment`` raises.
    """
    with transaction.atomic():
        batches = _batches(campaign, store, sent)
        bills = {batch.bill for batch in batches}
        shipment = announce_shipment(
            store=store,
            supplier=campaign.supplier,
            number=number,
            lines=[
                SentLine(
                    part=batch.part,
                    quantity=sent[batch.pk],
                    bill_line=batch.bill.lines.get(part=batch.part)
                    if batch.bill
                    else None,
                )
                for batch in batches
            ],
            announced_on=announced_on,
            expected_on=expected_on,
            bill=bills.pop() if len(bills) == 1 else None,
            earmark=campaign.earmark,
            by=by,
            at=at,
        )
        for batch in batches:
            if batch.shipment_id not in {None, shipment.pk}:
                raise AlreadySent(batch)
            batch.shipment = shipment
            batch.save(update_fields=["shipment"])
        return shipment


def _batches(
    campaign: Campaign, store: Store, wanted: Collection[int]
) -> list[Allocation]:
    """Read the batches that a paper is about, and hold them."""
    if not wanted:
        raise NothingOnIt
    rows = (
        Allocation.objects.select_for_update(of=("self",))
        .filter(campaign=campaign, store=store, pk__in=wanted)
        .select_related("part", "bill", "shipment")
        .order_by("pk")
    )
    found = list(rows)
    if len(found) != len(wanted):
        raise NotOfThisBatch
    return found
