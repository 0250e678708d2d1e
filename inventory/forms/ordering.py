"""Forms of orders."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.forms.fields import DayField, KeyField, PartNumberField, PiecesField
from inventory.models import Earmark


if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import OrderLine

    EarmarkChoice = forms.ModelChoiceField[Earmark]
else:
    EarmarkChoice = forms.ModelChoiceField


class EarmarkField(EarmarkChoice):
    """For what stock is meant; empty means for anybody."""

    def __init__(self, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(
            queryset=Earmark.objects.all(),
            required=False,
            empty_label=gettext_lazy("Common stock, for any use"),
            **options,
        )

    def label_from_instance(self, obj: Any) -> str:  # noqa: ANN401 (Django's)
        """Say code and purpose."""
        return f"{obj.code}: {obj.words}"


class OrderForm(forms.Form):
    """One part to order."""

    key = KeyField()
    part = PartNumberField()
    quantity = PiecesField(label=gettext_lazy("Pieces"))
    earmark = EarmarkField(label=gettext_lazy("Set apart for"))
    expected_on = DayField(
        label=gettext_lazy("Expected on"),
        required=False,
        help_text=gettext_lazy("Empty: today and the part's usual days of delivery."),
    )


class ConfirmForm(forms.Form):
    """The days that the supplier confirms, line by line."""

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        lines: Sequence[OrderLine],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.lines = lines
        for line in lines:
            self.fields[f"day_{line.pk}"] = DayField(
                label=_("%(part)s: expected on") % {"part": line.part.number},
                initial=line.expected_on,
            )

    def dates(self) -> dict[int, Any]:
        """Give the day of each line."""
        return {line.pk: self.cleaned_data[f"day_{line.pk}"] for line in self.lines}


class SlipForm(forms.Form):
    """A delivery against an order: its packing slip, its pieces, its bill if at hand."""

    number = forms.CharField(label=gettext_lazy("Packing slip"), max_length=40)
    expected_on = DayField(label=gettext_lazy("Expected on"))
    bill_number = forms.CharField(
        label=gettext_lazy("Bill number"),
        max_length=40,
        required=False,
        help_text=gettext_lazy(
            "If the bill has come with it; the price is the one ordered."
        ),
    )
    bill_dated = DayField(label=gettext_lazy("Bill dated"), required=False)

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        lines: Sequence[OrderLine],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.lines = lines
        for line in lines:
            self.fields[f"sent_{line.pk}"] = PiecesField(
                least=0,
                label=_("%(part)s: pieces on the slip") % {"part": line.part.number},
                initial=max(line.quantity - line.received, 0),
            )

    def clean(self) -> dict[str, Any]:
        """Ask for a piece, and for the bill's date with its number."""
        data: dict[str, Any] = super().clean() or {}
        if not self.errors and not any(self.sent().values()):
            self.add_error(None, _("The slip has no piece. Say how many were sent."))
        if data.get("bill_number") and not data.get("bill_dated"):
            self.add_error("bill_dated", _("Give the date that stands on the bill."))
        return data

    def sent(self) -> dict[int, int]:
        """Give the pieces sent of each line."""
        return {line.pk: self.cleaned_data[f"sent_{line.pk}"] for line in self.lines}
