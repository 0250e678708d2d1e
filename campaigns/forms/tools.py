"""Forms: the special tools of a store."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy

from campaigns.models.words import TOOL_WORDS
from campaigns.rules.lifecycle import ToolStanding
from dealership.models.choices import choices_of
from inventory.forms.fields import DayField


class ToolForm(forms.Form):
    """A special tool and where the store has it."""

    number = forms.CharField(label=gettext_lazy("Tool number"), max_length=40)
    name = forms.CharField(
        label=gettext_lazy("Name, if the tool is new here"),
        max_length=120,
        required=False,
    )
    standing = forms.ChoiceField(
        label=gettext_lazy("Whose it is"),
        choices=choices_of(TOOL_WORDS),
        initial=ToolStanding.OWNED,
        widget=forms.RadioSelect,
    )
    place = forms.CharField(label=gettext_lazy("Where it is kept"), max_length=60)
    lender = forms.CharField(
        label=gettext_lazy("From whom, if borrowed"), max_length=80, required=False
    )
    back_by = DayField(label=gettext_lazy("Back by, if borrowed"), required=False)
