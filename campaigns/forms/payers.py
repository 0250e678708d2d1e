"""How a manufacturer pays, as it is set."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from campaigns.models.payer import (
    BASE_WORDS,
    DAY_COUNT_WORDS,
    END_WORDS,
    ROUNDED_ON_WORDS,
    ROUNDING_WORDS,
    START_WORDS,
)
from dealership.forms.fields import PercentField
from dealership.models.choices import choices_of


if TYPE_CHECKING:
    from campaigns.models import PayerTerms, StockAgreement


class PayerForm(forms.Form):
    """Rounding of the manufacturer, and this store's agreement on unsold vehicles."""

    rounding = forms.ChoiceField(
        label=_("Rounds"),
        choices=choices_of(ROUNDING_WORDS),
        help_text=_("What becomes of exactly half a cent on a claim."),
    )
    rounded_on = forms.ChoiceField(
        label=_("Rounds on"),
        choices=choices_of(ROUNDED_ON_WORDS),
        help_text=_("Where the total is rounded once, lines are fitted to add up."),
    )
    rate_basis_points = PercentField(
        label=_("Share a month on unsold new vehicles, per cent"),
        help_text=_("At least 1 per cent for safety recalls (49 USC 30116)."),
    )
    base = forms.ChoiceField(label=_("Of"), choices=choices_of(BASE_WORDS))
    start = forms.ChoiceField(label=_("From"), choices=choices_of(START_WORDS))
    grace_days = forms.IntegerField(
        label=_("First days that do not count"), min_value=0, max_value=366
    )
    end = forms.ChoiceField(label=_("Until"), choices=choices_of(END_WORDS))
    day_count = forms.ChoiceField(
        label=_("Months counted as"),
        choices=choices_of(DAY_COUNT_WORDS),
        help_text=_("The Act gives no day count; the agreement decides."),
    )

    @staticmethod
    def facts_of(terms: PayerTerms, agreement: StockAgreement) -> dict[str, Any]:
        """Give what stands, as the form shows it first."""
        return {
            "rounding": terms.rounding,
            "rounded_on": terms.rounded_on,
            "rate_basis_points": agreement.rate_basis_points,
            "base": agreement.base,
            "start": agreement.start,
            "grace_days": agreement.grace_days,
            "end": agreement.end,
            "day_count": agreement.day_count,
        }
