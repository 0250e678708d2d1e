"""Forms of unsold new vehicles."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dealership.forms.fields import MoneyField
from inventory.forms.fields import DayField, KeyField


class UnsoldForm(forms.Form):
    """Prices and days of one vehicle; what is not known stays empty."""

    selling_price_cents = MoneyField(
        label=_("Manufacturer's selling price"),
        required=False,
        help_text=_("As on the manufacturer's invoice, such as 32,400.00."),
    )
    price_paid_cents = MoneyField(
        label=_("Price paid for it"),
        required=False,
        help_text=_("Needed where the manufacturer buys it back."),
    )
    notice_on = DayField(label=_("Notice received on"))
    stop_sale_on = DayField(label=_("Stop-sale since"), required=False)
    bought_back_on = DayField(label=_("Bought back on"), required=False)

    def __init__(self, *args: Any, currency: str, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        for name in ("selling_price_cents", "price_paid_cents"):
            self.fields[name].currency = currency  # type: ignore[attr-defined]


class DrawClaimForm(forms.Form):
    """The day of a claim for unsold vehicles."""

    key = KeyField()
    dated = DayField(label=_("Dated"))


class SettleClaimForm(forms.Form):
    """What was paid in the end."""

    paid_cents = MoneyField(
        label=_("Paid"), help_text=_("0 where the manufacturer refused it.")
    )
    dated = DayField(label=_("Settled on"))
    advice = forms.CharField(label=_("Payment advice"), max_length=40, required=False)
