"""Forms of a campaign's first batch."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.first_batch import BillPaper, SlipPaper
from dealership.forms.fields import MoneyField
from inventory.domain.shelving import CODE_LENGTH as BIN_CODE_LENGTH
from inventory.forms.fields import DayField, KeyField, PartNumberField, PiecesField


class BatchForm(forms.Form):
    """What the manufacturer announces, with bill and packing slip if at hand."""

    part = PartNumberField()
    quantity = PiecesField(label=gettext_lazy("Pieces announced"))
    unit_cost_cents = MoneyField(label=gettext_lazy("Price a piece"))
    announced_on = DayField(label=gettext_lazy("Announced on"))
    bill_number = forms.CharField(
        label=gettext_lazy("Bill number"), max_length=40, required=False
    )
    bill_dated = DayField(label=gettext_lazy("Bill dated"), required=False)
    slip_number = forms.CharField(
        label=gettext_lazy("Packing slip"), max_length=40, required=False
    )
    expected_on = DayField(
        label=gettext_lazy("Expected on"),
        required=False,
        help_text=gettext_lazy("Parts are promised from the working day after it."),
    )

    def clean(self) -> dict[str, Any]:
        """Ask for the bill's date with its number."""
        data: dict[str, Any] = super().clean() or {}
        if data.get("bill_number") and not data.get("bill_dated"):
            self.add_error("bill_dated", _("Give the date that stands on the bill."))
        return data

    def bill(self) -> BillPaper | None:
        """Give the bill, as announced, where its number is given."""
        data = self.cleaned_data
        if not data["bill_number"]:
            return None
        return BillPaper(
            number=data["bill_number"],
            dated=data["bill_dated"],
            quantity=data["quantity"],
            unit_cost_cents=data["unit_cost_cents"],
        )

    def slip(self) -> SlipPaper | None:
        """Give the packing slip where its number is given."""
        data = self.cleaned_data
        if not data["slip_number"]:
            return None
        return SlipPaper(
            number=data["slip_number"],
            quantity=data["quantity"],
            expected_on=data["expected_on"],
        )


class BillForm(forms.Form):
    """The manufacturer's bill of one batch."""

    number = forms.CharField(label=gettext_lazy("Bill number"), max_length=40)
    dated = DayField(label=gettext_lazy("Dated"))
    quantity = PiecesField(label=gettext_lazy("Pieces billed"))
    unit_cost_cents = MoneyField(label=gettext_lazy("Price a piece"))

    def paper(self) -> BillPaper:
        """Give the bill."""
        return BillPaper(**self.cleaned_data)


class SlipForm(forms.Form):
    """The packing slip of one batch."""

    number = forms.CharField(label=gettext_lazy("Packing slip"), max_length=40)
    quantity = PiecesField(label=gettext_lazy("Pieces sent"))
    expected_on = DayField(
        label=gettext_lazy("Expected on"),
        required=False,
        help_text=gettext_lazy("Parts are promised from the working day after it."),
    )

    def paper(self) -> SlipPaper:
        """Give the packing slip."""
        return SlipPaper(**self.cleaned_data)


class ReceiveForm(forms.Form):
    """The count of one batch; what is neither in order nor damaged is short."""

    key = KeyField()
    good = PiecesField(least=0, label=gettext_lazy("Arrived in order"))
    damaged = PiecesField(least=0, initial=0, label=gettext_lazy("Arrived damaged"))
    bin_code = forms.CharField(
        label=gettext_lazy("Bin"), max_length=BIN_CODE_LENGTH, required=False
    )
