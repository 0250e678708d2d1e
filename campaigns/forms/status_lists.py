"""Forms: the manufacturer's status lists and the differences they leave."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from campaigns.forms.campaigns import day_input
from campaigns.models import Campaign
from campaigns.models.status_list import ORDER_WORDS
from campaigns.rules.lifecycle import CampaignState
from dealership.models.choices import choices_of


class StatusListForm(forms.Form):
    """The file, its own date, and what the file does not say itself."""

    file = forms.FileField(
        label=_("The manufacturer's list"),
        help_text=_(
            "CSV, Excel or OpenDocument, with columns headed VIN and status; campaign"
            " and date where it has them."
        ),
        allow_empty_file=True,
    )
    listed_on = forms.DateField(
        label=_("Date of the list"),
        widget=day_input(),
        help_text=_("Up to this day the list knows what was done elsewhere."),
    )
    campaign = forms.ModelChoiceField(
        label=_("Campaign"),
        queryset=Campaign.objects.none(),
        required=False,
        help_text=_("Only where no column of the file names it."),
    )
    date_order = forms.ChoiceField(
        label=_("In dates such as 03/04/2026"),
        required=False,
        choices=[("", _("told by the file itself")), *choices_of(ORDER_WORDS)],
    )

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        field = self.fields["campaign"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Campaign.objects.exclude(state=CampaignState.DRAFT)


class DifferenceForm(forms.Form):
    """What a person decides about one difference."""

    ours_stands = forms.TypedChoiceField(
        choices=[("yes", ""), ("no", "")], coerce=lambda value: value == "yes"
    )
    why = forms.CharField(label=_("Reason"), max_length=200)
