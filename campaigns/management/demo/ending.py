"""The end of a campaign that is closed, and what is left lying for today."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from campaigns.domain.closing import close_campaign
from campaigns.domain.lifecycle import move, record_reach
from campaigns.management.demo.opening import moment
from campaigns.models import CampaignVehicle, Claim
from campaigns.rules.lifecycle import ClaimState, Reach, WorkState
from inventory.domain.disputes import settle_dispute
from inventory.domain.givingback import credit_return, prepare_return, ship_return
from inventory.models import Balance, Dispute
from inventory.rules.accounts import DisputeState


if TYPE_CHECKING:
    from campaigns.management.demo.history import Play
    from campaigns.models import Campaign

RETURNED_BEFORE = 75
CLOSED_BEFORE = 21


def close_for_good(play: Play, campaign: Campaign) -> None:
    """Explain every vehicle, send every piece back, and close."""
    day = play.today - dt.timedelta(days=RETURNED_BEFORE)
    _send_back(play, campaign, day)
    _explain(play, campaign, play.today - dt.timedelta(days=CLOSED_BEFORE + 7))
    closed_on = play.today - dt.timedelta(days=CLOSED_BEFORE)
    close_campaign(
        campaign=campaign,
        why="All vehicles explained, parts returned, claims paid.",
        by=play.cast.staff["service"],
        at=moment(closed_on),
    )


def _send_back(play: Play, campaign: Campaign, day: dt.date) -> None:
    by, at = play.cast.staff["parts"], moment(day)
    pockets = Balance.objects.filter(earmark=campaign.earmark, free__gt=0)
    for pocket in pockets.select_related("store", "part"):
        goods_return = prepare_return(
            key=play.key("return"),
            store=pocket.store,
            supplier=campaign.supplier,
            earmark=campaign.earmark,
            lines={pocket.part: pocket.free},
            last_date=campaign.returns_until,
            restocking_basis_points=campaign.restocking_basis_points,
            by=by,
            at=at,
        )
        ship_return(goods_return=goods_return, shipped_on=day, by=by, at=at)
        later = day + dt.timedelta(days=18)
        credit_return(
            goods_return=goods_return,
            number=f"G{goods_return.pk:04}",
            dated=later,
            by=by,
            at=moment(later),
        )


def _explain(play: Play, campaign: Campaign, day: dt.date) -> None:
    """Say of each vehicle that nobody brought why it cannot be reached."""
    at, by = moment(day), play.cast.staff["office"]
    rows = CampaignVehicle.objects.filter(campaign=campaign).still_open()
    for row in rows.select_related("store", "vehicle"):
        if row.work_state == WorkState.TO_VERIFY or row.vehicle.standing != "customer":
            _take_in_elsewhere(play, row, day)
            continue
        record_reach(
            campaign_vehicle=row,
            reach=play.random.choice(
                [Reach.NOT_NOTIFIED, Reach.SCRAPPED, Reach.EXPORTED]
            ),
            effective_on=day,
            source="letter came back twice",
            by=by,
            at=at,
        )


def _take_in_elsewhere(play: Play, row: CampaignVehicle, day: dt.date) -> None:
    move(
        campaign_vehicle=row,
        to=WorkState.REMEDIED_ELSEWHERE,
        effective_on=day,
        by=play.cast.staff["service"],
        at=moment(day),
        why="Manufacturer's status list",
        source="status list",
    )


def settle_old_disputes(play: Play) -> None:
    """Credit what was short or damaged, except in campaigns of the last weeks."""
    border = play.today - dt.timedelta(days=60)
    rows = Dispute.objects.filter(state=DisputeState.OPEN, opened_on__lt=border)
    for dispute in rows:
        day = dispute.opened_on + dt.timedelta(days=20)
        settle_dispute(
            dispute=dispute,
            how=DisputeState.CREDITED,
            dated=day,
            number=f"K{dispute.pk:04}",
            by=play.cast.staff["parts"],
            at=moment(day),
        )


def unpaid_claims(campaign: Campaign) -> int:
    """Count claims that are not paid in full."""
    return (
        Claim.objects.filter(campaign=campaign).exclude(state=ClaimState.PAID).count()
    )
