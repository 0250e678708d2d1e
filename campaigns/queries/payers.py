"""How a manufacturer pays, and what a store has agreed with it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from campaigns.models import PayerTerms, StockAgreement
from campaigns.rules.holding import Base, End, Start, Terms
from dealership.rules.money import (
    STANDARD_PROFILE,
    DayCount,
    RoundedOn,
    Rounding,
    RoundingProfile,
    share_of_basis_points,
)


if TYPE_CHECKING:
    from dealership.models import Store
    from inventory.models import Supplier


def profile_of(supplier_id: int) -> RoundingProfile:
    """Give how a manufacturer rounds; the standard where nothing is set."""
    terms = PayerTerms.objects.filter(supplier_id=supplier_id).first()
    if terms is None:
        return STANDARD_PROFILE
    return RoundingProfile(
        rounding=Rounding(terms.rounding), rounded_on=RoundedOn(terms.rounded_on)
    )


def agreement_of(store: Store, supplier: Supplier) -> StockAgreement:
    """Give the agreement on unsold vehicles; what the Act says where none is kept."""
    found = StockAgreement.objects.filter(store=store, supplier=supplier).first()
    return found or StockAgreement(store=store, supplier=supplier)


def terms_of(agreement: StockAgreement) -> Terms:
    """Turn an agreement into what the rule works with."""
    return Terms(
        monthly_rate=share_of_basis_points(agreement.rate_basis_points),
        base=Base(agreement.base),
        start=Start(agreement.start),
        grace_days=agreement.grace_days,
        end=End(agreement.end),
        day_count=DayCount(agreement.day_count),
    )
