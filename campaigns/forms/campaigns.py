"""Forms: the facts of a campaign, and its end."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from campaigns.domain.announcing import FACT_FIELDS, CampaignFacts
from campaigns.models import Campaign
from dealership.forms.fields import PercentField
from inventory.models import Supplier


_CODE = re.compile(r"^[A-Za-z0-9][A-Za-z0-9.-]*$")


def day_input() -> forms.DateInput:
    """Give the box for a day."""
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


class CampaignForm(forms.ModelForm):  # type: ignore[type-arg]
    """What the bulletin says, apart from criteria and remedy."""

    supplier = forms.ModelChoiceField(
        Supplier.objects.all(),
        required=False,
        label=_("Parts come from"),
        help_text=_("Left empty, the manufacturer becomes a supplier."),
    )
    restocking_basis_points = PercentField(
        label=_("Restocking charge, per cent"),
        required=False,
        initial=1_500,
        help_text=_("What the manufacturer keeps of the price of returned parts."),
    )

    class Meta:
        model = Campaign
        fields = (
            "code",
            "maker",
            "maker_number",
            "regulator_number",
            "title",
            "campaign_class",
            "announced_on",
            "parts_available_on",
            "letters_on",
            "reminder_on",
            "claims_until",
            "returns_until",
            "restocking_basis_points",
            "stop_sale",
            "eligible_until",
            "odometer_limit",
            "years_since_first_use",
            "supplier",
            "risk",
            "bulletin",
            "title_es",
            "risk_es",
            "bulletin_es",
        )
        help_texts = {
            "campaign_class": _("It decides limits, letters and the report."),
            "reminder_on": _(
                "Proposals count on the customers that a planned reminder brings."
            ),
            "eligible_until": _(
                "Only for customer satisfaction campaigns and service actions."
            ),
            "odometer_limit": _(
                "Only for customer satisfaction campaigns and service actions."
            ),
            "years_since_first_use": _(
                "Left empty, a safety recall's free remedy is owed for 15 years; an"
                " emissions recall has no limit."
            ),
        }
        widgets = {
            name: day_input()
            for name in (
                "announced_on",
                "parts_available_on",
                "letters_on",
                "reminder_on",
                "claims_until",
                "returns_until",
                "eligible_until",
            )
        }

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.fields["parts_available_on"].required = False

    def clean_code(self) -> str:
        """Refuse a number that could not stand in an address."""
        code = str(self.cleaned_data["code"]).strip()
        if not _CODE.match(code) or code.lower() == "new":
            raise ValidationError(
                _("Use letters, figures, points and hyphens, such as C-101."),
            )
        return code

    def clean_restocking_basis_points(self) -> int:
        """Read an empty charge as none."""
        return int(self.cleaned_data["restocking_basis_points"] or 0)

    def facts(self) -> CampaignFacts:
        """Give the facts of a valid form."""
        given = self.cleaned_data
        return CampaignFacts(**{name: given[name] for name in FACT_FIELDS})

    def validate_unique(self) -> None:
        """Leave that to the domain, which names the campaign that is in the way."""

    def _get_validation_exclusions(self) -> set[str]:
        """Leave the database's constraints to the domain, which says the reason."""
        theirs = super()._get_validation_exclusions()  # type: ignore[misc]
        return set(theirs) | {
            "maker_number",
            "campaign_class",
        }


class AmendForm(CampaignForm):
    """The same facts of a campaign that is there, with the reason of the change."""

    why = forms.CharField(
        label=_("Reason of the change"),
        max_length=300,
        required=False,
        help_text=_("Kept with the amendment, such as “bulletin B of 4 March”."),
    )

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        del self.fields["code"]
        del self.fields["supplier"]


class WhyForm(forms.Form):
    """One reason."""

    why = forms.CharField(label=_("Reason"), max_length=200)


class CloseForm(forms.Form):
    """A remark on the end of a campaign."""

    why = forms.CharField(label=_("Remark"), max_length=200, required=False)
