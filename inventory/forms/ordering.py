"""Forms of orders."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dealership.forms.fields import MoneyField
from inventory.domain.order_bills import Priced
from inventory.forms.fields import DayField, KeyField, PartNumberField, PiecesField
from inventory.models import Earmark


if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

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


class LineForm(forms.Form):
    """One part on an order."""

    part = PartNumberField()
    quantity = PiecesField(
        label=gettext_lazy("Pieces"),
        help_text=gettext_lazy("Whole packs; we offer the next number that fits."),
    )
    expected_on = DayField(
        label=gettext_lazy("Expected on"),
        required=False,
        help_text=gettext_lazy("Empty: today and the part's usual days of delivery."),
    )


class OrderForm(LineForm):
    """The first part of an order, and for what it is."""

    key = KeyField()
    earmark = EarmarkField(label=gettext_lazy("Set apart for"))


class PiecesForm(forms.Form):
    """Another number of pieces of a line; 0 takes it off."""

    quantity = PiecesField(least=0, label=gettext_lazy("Pieces"))


class CloseForm(forms.Form):
    """Why the rest of an order is not expected any more."""

    why = forms.CharField(label=gettext_lazy("Reason"), max_length=200)


class ConfirmForm(forms.Form):
    """What the supplier says of each line that is still to come."""

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
                required=False,
            )
            self.fields[f"behind_{line.pk}"] = forms.BooleanField(
                label=_("%(part)s: back-ordered, no day known")
                % {"part": line.part.number},
                initial=line.back_ordered,
                required=False,
            )

    def clean(self) -> dict[str, Any]:
        """Want a day or a back order of each line, and not both."""
        data: dict[str, Any] = super().clean() or {}
        for line in self.lines:
            name = f"day_{line.pk}"
            behind = data.get(f"behind_{line.pk}")
            if name in data and bool(data[name]) == bool(behind):
                self.add_error(name, _("Give the day, or say that it is back-ordered."))
        return data

    def dates(self) -> dict[int, Any]:
        """Give the day of each line that has one."""
        days = {line.pk: self.cleaned_data[f"day_{line.pk}"] for line in self.lines}
        return {pk: day for pk, day in days.items() if day}

    def back_ordered(self) -> list[int]:
        """Give the lines of which the supplier has none."""
        return [
            line.pk for line in self.lines if self.cleaned_data[f"behind_{line.pk}"]
        ]


class OrderBillForm(forms.Form):
    """The bill of an order as it is printed: pieces and price of each line."""

    number = forms.CharField(label=gettext_lazy("Bill number"), max_length=40)
    dated = DayField(label=gettext_lazy("Bill dated"))

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        lines: Sequence[OrderLine],
        unbilled: Mapping[int, int],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.lines = lines
        for line in lines:
            part = {"part": line.part.number}
            left = min(line.quantity, unbilled.get(line.part_id, 0))
            self.fields[f"pieces_{line.pk}"] = PiecesField(
                least=0, initial=left, label=_("%(part)s: pieces on the bill") % part
            )
            self.fields[f"price_{line.pk}"] = MoneyField(
                initial=line.unit_cost_cents, label=_("%(part)s: price a piece") % part
            )
        for name, field in self.fields.items():
            if name not in self.base_fields:
                field.widget.attrs["aria-label"] = field.label

    def plain(self) -> list[forms.BoundField]:
        """Give the fields that are about the whole bill."""
        return [self[name] for name in self.base_fields]

    def rows(self) -> list[tuple[OrderLine, forms.BoundField, forms.BoundField]]:
        """Give each line with its fields, for the table."""
        return [
            (line, self[f"pieces_{line.pk}"], self[f"price_{line.pk}"])
            for line in self.lines
        ]

    def priced(self) -> dict[int, Priced]:
        """Give what the bill says of each line that is on it."""
        data = self.cleaned_data
        return {
            line.pk: Priced(
                quantity=data[f"pieces_{line.pk}"],
                unit_cost_cents=data[f"price_{line.pk}"],
            )
            for line in self.lines
            if data[f"pieces_{line.pk}"]
        }


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
