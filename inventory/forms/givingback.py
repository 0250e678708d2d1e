"""Forms of returns, and of pieces put aside."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy

from dealership.forms.fields import MoneyField, PercentField
from inventory.forms.fields import DayField, KeyField, PartNumberField, PiecesField
from inventory.forms.ordering import EarmarkField


class ReturnForm(forms.Form):
    """Pieces of one part to send back."""

    key = KeyField()
    part = PartNumberField()
    earmark = EarmarkField(label=gettext_lazy("From the stock set apart for"))
    quantity = PiecesField(label=gettext_lazy("Pieces"))
    last_date = DayField(label=gettext_lazy("Accepted until"), required=False)
    restocking_basis_points = PercentField(
        label=gettext_lazy("Restocking charge, per cent"), initial=1_500
    )


class ShipForm(forms.Form):
    """The day on which the carrier took a return."""

    shipped_on = DayField(label=gettext_lazy("Shipped on"))


class CreditForm(forms.Form):
    """The supplier's credit note."""

    number = forms.CharField(label=gettext_lazy("Credit note"), max_length=40)
    dated = DayField(label=gettext_lazy("Dated"))
    freight_cents = MoneyField(label=gettext_lazy("Freight taken off"), required=False)
