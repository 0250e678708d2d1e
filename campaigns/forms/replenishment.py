"""Forms of a proposal's decision."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.fields import KeyField, PiecesField


WHY_LENGTH = 200


class AcceptForm(forms.Form):
    """Do as proposed."""

    key = KeyField()


class ChangeForm(forms.Form):
    """Another number of pieces, and why."""

    key = KeyField()
    quantity = PiecesField(label=_("Pieces"))
    why = forms.CharField(
        label=_("Why another number"),
        max_length=WHY_LENGTH,
        help_text=_("A few words. They are kept beside the proposal."),
    )


class DeclineForm(forms.Form):
    """Nothing of it, and why."""

    key = KeyField()
    why = forms.CharField(
        label=_("Why not"),
        max_length=WHY_LENGTH,
        help_text=_("A few words. They are kept beside the proposal."),
    )
