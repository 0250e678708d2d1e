"""The unsold new vehicles of a campaign in one store, with what they come to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import OuterRef, Q, Subquery

from campaigns.models import CampaignVehicle, HoldingClaimLine, StateChange
from campaigns.queries.payers import agreement_of, terms_of
from campaigns.rules.holding import Amount, Facts, amount_of
from campaigns.rules.lifecycle import WorkState
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import Campaign, UnsoldVehicle
    from campaigns.models.population import CampaignVehicleQuerySet
    from campaigns.rules.holding import Terms
    from dealership.models import Store

DONE = (
    WorkState.REMEDIED_HERE,
    WorkState.REMEDIED_ELSEWHERE,
    WorkState.INSPECTED_CLEAR,
)
"""States in which nothing holds the vehicle any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One vehicle: what is known, what it comes to, and whether it is claimed.

    ``planned`` is the amount at the planned day of the repair, None without one.
    """

    row: CampaignVehicle
    unsold: UnsoldVehicle | None
    amount: Amount
    planned: Amount | None
    line: HoldingClaimLine | None

    @property
    def can_be_claimed(self) -> bool:
        """Tell whether it has ended, has its price, and is on no claim yet."""
        ended = self.amount.ended_on is not None
        return ended and self.line is None and bool(self.amount.cents)

    @property
    def wants_price(self) -> bool:
        """Tell whether the price is missing."""
        return self.amount.cents is None


def unsold_of(
    *, campaign: Campaign, store: Store, today: dt.date
) -> tuple[Terms, list[Held]]:
    """Give the terms, and each new vehicle of the store that the campaign holds.

    Also those that were sold since and whose facts were entered before. Those that
    still run come first.
    """
    terms = terms_of(agreement_of(store, campaign.supplier))
    found = [
        _held(row, campaign, terms, today)
        for row in unsold_rows(store).filter(campaign=campaign)
    ]
    return terms, sorted(
        found,
        key=lambda one: (
            one.line is not None,
            one.amount.ended_on is not None,
            one.row.vehicle.vin,
        ),
    )


def unsold_rows(store: Store) -> CampaignVehicleQuerySet:
    """Read the rows of new vehicles with the day on which each was done."""
    done = (
        StateChange.objects.filter(
            campaign_vehicle=OuterRef("pk"), after=OuterRef("work_state")
        )
        .order_by("-effective_on", "-id")
        .values("effective_on")[:1]
    )
    rows: CampaignVehicleQuerySet = (
        CampaignVehicle.objects.in_store(store)
        .filter(Q(vehicle__standing=Standing.NEW) | Q(unsold__isnull=False))
        .exclude(work_state=WorkState.REMOVED, unsold__isnull=True)
        .select_related("vehicle", "unsold__claim_line__claim")
        .annotate(done_on=Subquery(done))
        .order_by("vehicle__vin")
    )
    return rows


def facts_of(row: CampaignVehicle, campaign: Campaign) -> Facts:
    """Collect what the rule needs of one row of ``unsold_rows``.

    Until somebody enters when the notice came, it is the day of the announcement.
    """
    unsold: UnsoldVehicle | None = getattr(row, "unsold", None)
    done = row.work_state in DONE
    return Facts(
        vin=row.vehicle.vin,
        selling_price_cents=unsold.selling_price_cents if unsold else None,
        price_paid_cents=unsold.price_paid_cents if unsold else None,
        notice_on=unsold.notice_on if unsold else campaign.announced_on,
        stop_sale_on=unsold.stop_sale_on if unsold else None,
        corrected_on=vars(row)["done_on"] if done else None,
        remedy_available_on=campaign.parts_available_on,
        bought_back_on=unsold.bought_back_on if unsold else None,
    )


def _held(
    row: CampaignVehicle, campaign: Campaign, terms: Terms, today: dt.date
) -> Held:
    facts = facts_of(row, campaign)
    unsold: UnsoldVehicle | None = getattr(row, "unsold", None)
    amount = amount_of(facts, terms, today=today)
    planned = row.planned_on
    if planned is not None and (amount.ended_on is not None or planned <= today):
        planned = None
    return Held(
        row=row,
        unsold=unsold,
        amount=amount,
        planned=amount_of(facts, terms, today=planned) if planned else None,
        line=getattr(unsold, "claim_line", None) if unsold else None,
    )
