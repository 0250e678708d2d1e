"""A shipper replaces short or damaged pieces at no cost: a delivery that settles it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from dealership.domain.audit import record
from inventory.domain.disputes import DisputeSettled
from inventory.domain.receiving import SentLine, announce_shipment
from inventory.models import Dispute, Shipment
from inventory.rules.accounts import DisputeState


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember


def expect_replacement(
    *,
    dispute: Dispute,
    number: str,
    expected_on: dt.date | None,
    by: StaffMember | None,
    at: dt.datetime,
) -> Shipment:
    """Announce the delivery by which a shipper makes a dispute good, at no cost.

    The cents stay in dispute until it is counted; what is short or damaged of it is a
    new dispute. The same packing slip again gives the first delivery. Raises
    DisputeSettled, SlipNumberTaken.
    """
    with transaction.atomic():
        dispute = Dispute.objects.select_related(
            "store", "shipment_line__part", "shipment_line__shipment"
        ).get(pk=dispute.pk)
        line = dispute.shipment_line
        said = Shipment.objects.filter(lines__replaces=dispute, number=number).first()
        if said is not None:
            return said
        opened = Dispute.objects.filter(pk=dispute.pk, state=DisputeState.OPEN)
        if not opened.update(state=DisputeState.AWAITED):
            raise DisputeSettled(dispute)
        shipment = announce_shipment(
            store=dispute.store,
            supplier=line.shipment.supplier,
            number=number,
            lines=[
                SentLine(part=line.part, quantity=dispute.quantity, replaces=dispute)
            ],
            announced_on=timezone.localdate(at),
            expected_on=expected_on,
            earmark=line.shipment.earmark,
            by=by,
            at=at,
        )
        record(
            act="dispute.replacement_expected",
            subject=dispute,
            by=by,
            at=at,
            store=dispute.store,
            after={"shipment": shipment.pk, "pieces": dispute.quantity},
        )
        return shipment
