"""What a campaign still has open, and what hinders its closing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from django.db.models import F, Sum
from django.utils.translation import ngettext

from campaigns.models import CampaignVehicle, Claim, Repair, VisitJob
from campaigns.rules.lifecycle import ClaimState, Reach, RepairState
from inventory.models import Balance, Dispute, GoodsReturn, PurchaseOrder, Shipment
from inventory.rules.accounts import ORDER_OVER, UNSETTLED, ReturnState


if TYPE_CHECKING:
    from campaigns.models import Campaign


class LeftKind(StrEnum):
    """What is left."""

    OPEN_VEHICLES = "open_vehicles"
    VISITS = "visits"
    REPAIRS = "repairs"
    PIECES = "pieces"
    ORDERS = "orders"
    SHIPMENTS = "shipments"
    DISPUTES = "disputes"
    RETURNS = "returns"
    CLAIMS = "claims"


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """So many of one kind are left, said in words."""

    kind: LeftKind
    number: int
    words: str


def what_is_left(campaign: Campaign) -> list[Left]:
    """List what hinders the closing of a campaign, in all stores; empty: nothing.

    Open vehicles count unless a reach fact explains them.
    """
    found = (
        (LeftKind.OPEN_VEHICLES, _unexplained(campaign)),
        (LeftKind.VISITS, _visits(campaign)),
        (LeftKind.REPAIRS, _repairs(campaign)),
        (LeftKind.PIECES, _pieces(campaign)),
        (LeftKind.ORDERS, _orders(campaign)),
        (LeftKind.SHIPMENTS, _shipments(campaign)),
        (LeftKind.DISPUTES, _disputes(campaign)),
        (LeftKind.RETURNS, _returns(campaign)),
        (LeftKind.CLAIMS, _claims(campaign)),
    )
    return [
        Left(kind=kind, number=number, words=_said(kind, number))
        for kind, number in found
        if number
    ]


def _said(kind: LeftKind, n: int) -> str:  # noqa: PLR0911 (one sentence a kind)
    """Say what is left and what to do about it."""
    told = {"n": n}
    match kind:
        case LeftKind.OPEN_VEHICLES:
            return ngettext(
                "%(n)d vehicle is open: remedy it, or say why it cannot be reached.",
                "%(n)d vehicles are open: remedy them, or say why they cannot be"
                " reached.",
                n,
            ) % told  # fmt: skip
        case LeftKind.VISITS:
            return ngettext(
                "%(n)d visit is booked: finish or cancel it.",
                "%(n)d visits are booked: finish or cancel them.",
                n,
            ) % told  # fmt: skip
        case LeftKind.REPAIRS:
            return ngettext(
                "%(n)d repair is in the workshop: complete it.",
                "%(n)d repairs are in the workshop: complete them.",
                n,
            ) % told  # fmt: skip
        case LeftKind.PIECES:
            return ngettext(
                "%(n)d piece is set apart for the campaign: return it, use it or"
                " release it.",
                "%(n)d pieces are set apart for the campaign: return them, use them or"
                " release them.",
                n,
            ) % told  # fmt: skip
        case LeftKind.ORDERS:
            return ngettext(
                "%(n)d order has not arrived in full: receive or cancel it.",
                "%(n)d orders have not arrived in full: receive or cancel them.",
                n,
            ) % told  # fmt: skip
        case LeftKind.SHIPMENTS:
            return ngettext(
                "%(n)d announced shipment has not been received.",
                "%(n)d announced shipments have not been received.",
                n,
            ) % told  # fmt: skip
        case LeftKind.DISPUTES:
            return ngettext(
                "%(n)d dispute about a delivery is open: settle it.",
                "%(n)d disputes about deliveries are open: settle them.",
                n,
            ) % told  # fmt: skip
        case LeftKind.RETURNS:
            return ngettext(
                "%(n)d return has not been credited.",
                "%(n)d returns have not been credited.",
                n,
            ) % told  # fmt: skip
        case LeftKind.CLAIMS:
            return ngettext(
                "%(n)d claim is not paid: collect it or write it off.",
                "%(n)d claims are not paid: collect them or write them off.",
                n,
            ) % told  # fmt: skip


def _unexplained(campaign: Campaign) -> int:
    return (
        CampaignVehicle.objects.filter(campaign=campaign, reach=Reach.REACHABLE)
        .still_open()
        .count()
    )


def _visits(campaign: Campaign) -> int:
    return VisitJob.objects.filter(
        campaign_vehicle__campaign=campaign, live=True
    ).count()


def _repairs(campaign: Campaign) -> int:
    return Repair.objects.filter(
        campaign_vehicle__campaign=campaign, state=RepairState.OPEN
    ).count()


def _pieces(campaign: Campaign) -> int:
    lying = Balance.objects.filter(earmark=campaign.earmark_id).aggregate(
        pieces=Sum(F("on_hand") + F("transit"))
    )
    return int(lying["pieces"] or 0)


def _orders(campaign: Campaign) -> int:
    return (
        PurchaseOrder.objects.filter(earmark=campaign.earmark_id)
        .exclude(state__in=ORDER_OVER)
        .count()
    )


def _shipments(campaign: Campaign) -> int:
    return Shipment.objects.filter(
        earmark=campaign.earmark_id, received_at__isnull=True
    ).count()


def _disputes(campaign: Campaign) -> int:
    return Dispute.objects.filter(
        shipment_line__shipment__earmark=campaign.earmark_id, state__in=UNSETTLED
    ).count()


def _returns(campaign: Campaign) -> int:
    return GoodsReturn.objects.filter(
        earmark=campaign.earmark_id,
        state__in=[ReturnState.PREPARED, ReturnState.SHIPPED],
    ).count()


def _claims(campaign: Campaign) -> int:
    return (
        Claim.objects.filter(campaign=campaign)
        .exclude(state__in=[ClaimState.PAID, ClaimState.WRITTEN_OFF])
        .count()
    )
