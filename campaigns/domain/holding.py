"""Unsold new vehicles: their facts, the claim for them, and what was paid."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.domain.lifecycle import refuse_days_ahead
from campaigns.models import HoldingClaim, HoldingClaimLine, UnsoldVehicle
from campaigns.queries.holding import facts_of, unsold_of, unsold_rows
from campaigns.queries.payers import agreement_of, terms_of
from campaigns.rules.holding import require_order
from dealership.domain.audit import record
from dealership.domain.series import next_number
from dealership.rules.refusals import Refusal
from inventory.domain.once import once


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from campaigns.models import Campaign, CampaignVehicle
    from campaigns.queries.holding import Held
    from campaigns.rules.holding import Terms
    from dealership.models import StaffMember, Store

FACTS = (
    "selling_price_cents",
    "price_paid_cents",
    "notice_on",
    "stop_sale_on",
    "bought_back_on",
)


class AlreadyClaimed(Refusal):
    """The vehicle is on a claim; its facts stand as they were claimed."""

    def __init__(self, line: HoldingClaimLine) -> None:
        super().__init__(
            _("This vehicle is on claim %(number)d, so its facts stay as claimed.")
            % {"number": line.claim.number}
        )
        self.line = line


class NothingToClaim(Refusal):
    """No vehicle has ended, has its price and is on no claim yet."""

    def __init__(self, campaign: Campaign) -> None:
        super().__init__(
            _(
                "No vehicle of %(code)s can be claimed now: each still waits for its"
                " repair, has no price yet, or is claimed already."
            )
            % {"code": campaign.code}
        )
        self.campaign = campaign


class AlreadySettled(Refusal):
    """What was paid on the claim is entered, with other figures."""

    def __init__(self, claim: HoldingClaim) -> None:
        super().__init__(
            _("Claim %(number)d was settled on %(day)s.")
            % {"number": claim.number, "day": claim.settled_on}
        )
        self.claim = claim


def keep_unsold(
    *,
    row: CampaignVehicle,
    facts: Mapping[str, Any],
    by: StaffMember | None,
    at: dt.datetime,
) -> UnsoldVehicle:
    """Keep the prices and days of a new vehicle that the campaign holds.

    Raises AlreadyClaimed, EndsBeforeItStarts.
    """
    with transaction.atomic():
        unsold = UnsoldVehicle.objects.filter(campaign_vehicle=row).first()
        unsold = unsold or UnsoldVehicle(campaign_vehicle=row)
        line = HoldingClaimLine.objects.filter(unsold=unsold.pk).first()
        if line:
            raise AlreadyClaimed(line)
        before = {name: _plain(getattr(unsold, name)) for name in FACTS}
        for name in FACTS:
            setattr(unsold, name, facts[name])
        unsold.save()
        _check_days(row)
        record(
            act="unsold.kept",
            subject=unsold,
            by=by,
            at=at,
            store=row.store,
            before=before if any(before.values()) else {},
            after={name: _plain(facts[name]) for name in FACTS},
        )
    return unsold


def draw_holding_claim(
    *,
    key: str,
    campaign: Campaign,
    store: Store,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> HoldingClaim:
    """Claim the share a month for every vehicle that has ended and has its price.

    The amounts stand as they were worked out; a vehicle is claimed once. The same
    ``key`` again gives the first claim. Raises NothingToClaim, DayAhead.
    """

    def act() -> HoldingClaim:
        terms, found = unsold_of(campaign=campaign, store=store, today=dated)
        chosen = [one for one in found if one.can_be_claimed]
        if not chosen:
            raise NothingToClaim(campaign)
        claim = HoldingClaim.objects.create(
            store=store,
            campaign=campaign,
            number=next_number(store=store, kind="holding_claim"),
            key=key,
            dated=dated,
            terms=written_terms(terms),
            made_by=by,
            made_at=at,
        )
        HoldingClaimLine.objects.bulk_create([_line(claim, one) for one in chosen])
        record(
            act="holding_claim.made",
            subject=claim,
            by=by,
            at=at,
            store=store,
            after={
                "vehicles": len(chosen),
                "cents": sum(one.amount.cents or 0 for one in chosen),
            },
        )
        return claim

    refuse_days_ahead(dated, at)
    return once(found=lambda: HoldingClaim.objects.filter(key=key).first(), act=act)


def settle_holding_claim(
    *,
    claim: HoldingClaim,
    paid_cents: int,
    dated: dt.date,
    advice: str,
    by: StaffMember | None,
    at: dt.datetime,
) -> HoldingClaim:
    """Note what was paid on a claim in the end; nothing, where it was refused.

    The same figures again change nothing. Raises AlreadySettled, DayAhead.
    """
    refuse_days_ahead(dated, at)
    with transaction.atomic():
        open_one = HoldingClaim.objects.filter(pk=claim.pk, settled_on__isnull=True)
        changed = open_one.update(
            settled_on=dated, paid_cents=paid_cents, advice=advice.strip()[:40]
        )
        claim = HoldingClaim.objects.get(pk=claim.pk)
        if not changed:
            if (claim.settled_on, claim.paid_cents) != (dated, paid_cents):
                raise AlreadySettled(claim)
            return claim
        record(
            act="holding_claim.settled",
            subject=claim,
            by=by,
            at=at,
            store=claim.store,
            after={"cents": paid_cents},
        )
    return claim


def written_terms(terms: Terms) -> dict[str, Any]:
    """Write terms so that a claim keeps those of its day."""
    return {
        "monthly_rate": str(terms.monthly_rate),
        "base": terms.base.value,
        "start": terms.start.value,
        "grace_days": terms.grace_days,
        "end": terms.end.value,
        "day_count": terms.day_count.value,
    }


def _check_days(row: CampaignVehicle) -> None:
    """Refuse days that contradict each other; what was written is taken back."""
    fresh = unsold_rows(row.store).select_related("campaign__supplier").get(pk=row.pk)
    terms = terms_of(agreement_of(row.store, fresh.campaign.supplier))
    require_order(facts_of(fresh, fresh.campaign), terms)


def _line(claim: HoldingClaim, one: Held) -> HoldingClaimLine:
    amount, unsold = one.amount, one.unsold
    assert unsold is not None  # a vehicle with a price has its row
    return HoldingClaimLine(
        claim=claim,
        unsold=unsold,
        start=amount.start,
        until=amount.until,
        months=f"{float(amount.months):.4f}",
        base_cents=amount.base_cents or 0,
        cents=amount.cents or 0,
    )


def _plain(value: object) -> object:
    return value if value is None or isinstance(value, int) else str(value)
