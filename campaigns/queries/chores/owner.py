"""What waits for the owner of the group."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import F
from django.utils.translation import gettext as _

from campaigns.models import Campaign, Claim
from campaigns.queries.account import CampaignAccount, campaign_accounts
from campaigns.queries.chores.row import MOST, Chore, Kind, Target, listed
from campaigns.rules.exposure import AgeBand
from campaigns.rules.lifecycle import CampaignState, ClaimState
from dealership.rules.money import plain_money


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import Store

CLAIM_DAYS = 30
"""A claim is called up so many days before its last date: common practice, no
source."""

_MONEY = Target(name="campaigns:money")


def claims(*, store: Store, today: dt.date) -> Kind:
    """Give the claims that are not settled and near the campaign's last day."""
    found = (
        Claim.objects.in_store(store)
        .filter(
            state__in=[ClaimState.READY, ClaimState.REJECTED, ClaimState.SHORT_PAID],
            campaign__claims_until__lte=today + timedelta(days=CLAIM_DAYS),
        )
        .select_related("campaign", "repair__vehicle")
        .order_by(F("campaign__claims_until").asc(nulls_last=True), "pk")
    )

    def write(one: Claim) -> Chore:
        return Chore(
            kind="claim",
            reason=_("Claim not settled, and its last day is near"),
            about=_("claim %(number)d, %(code)s")
            % {"number": one.number, "code": one.campaign.code},
            detail=one.repair.vehicle.vin,
            deadline=one.campaign.claims_until,
            act=_("See the claim"),
            target=Target(name="campaigns:claim", args=(one.pk,)),
            tone="bad",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="campaigns:claims"),
        full_words=_("All claims"),
    )


def accounts(*, store: Store, today: dt.date) -> Kind:
    """Give the accounts that do not agree, then the money tied up over 90 days."""
    campaigns = list(
        Campaign.objects.exclude(state=CampaignState.DRAFT).order_by("code")
    )
    found = campaign_accounts(campaigns, store_ids=[store.pk]) if campaigns else {}
    wrong = [one for one in found.values() if not one.account.balances]
    old = sorted(
        (
            (cents, one)
            for one in found.values()
            if one.account.balances and (cents := _old_cents(one, today)) > 0
        ),
        key=lambda pair: (-pair[0], pair[1].campaign.code),
    )

    def write(pair: tuple[int | None, CampaignAccount]) -> Chore:
        cents, one = pair
        campaign = one.campaign
        wrong = cents is None
        off = one.account.difference_cents
        return Chore(
            kind="account" if wrong else "tied_up",
            reason=(
                _("Both sides of the account differ by %(amount)s")
                % {"amount": plain_money(abs(off))}
                if cents is None
                else _("%(amount)s tied up for more than 90 days")
                % {"amount": plain_money(cents)}
            ),
            about=f"{campaign.code} {campaign.title}",
            detail=_("in %(currency)s") % {"currency": store.currency},
            deadline=None if wrong else campaign.returns_until,
            act=_("See both sides") if wrong else _("See where"),
            target=Target(name="campaigns:account", args=(campaign.code,)),
            tone="bad" if wrong else "act",
        )

    pairs: list[tuple[int | None, CampaignAccount]] = [
        *((None, one) for one in wrong),
        *old,
    ]
    return listed(pairs[: MOST + 1], write, full=_MONEY, full_words=_("All money"))


def _old_cents(one: CampaignAccount, today: dt.date) -> int:
    """Give the cents that have stood for more than 90 days, whatever their state."""
    return sum(bands[AgeBand.OVER_90] for bands in one.ages(today=today).values())
