"""Forms of a campaign's first batch."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.batch_papers import Billed
from campaigns.domain.first_batch import BillPaper, SlipPaper
from dealership.forms.fields import MoneyField
from inventory.domain.shelving import CODE_LENGTH as BIN_CODE_LENGTH
from inventory.forms.fields import DayField, KeyField, PartNumberField, PiecesField


if TYPE_CHECKING:
    from collections.abc import Sequence

    from campaigns.models import Allocation


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


class RowsForm(forms.Form):
    """A paper with a row for each part of a first batch; 0 pieces: not on it."""

    columns: tuple[str, ...] = ()

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        batches: Sequence[Allocation],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.batches = batches
        for batch in batches:
            for name, field in self.row(batch).items():
                field.widget.attrs["aria-label"] = field.label
                self.fields[f"{name}_{batch.pk}"] = field

    def row(self, batch: Allocation) -> dict[str, forms.Field]:
        """Make the fields of one part, by the name of their column."""
        raise NotImplementedError

    def clean(self) -> dict[str, Any]:
        """Want a piece of one part at least."""
        data: dict[str, Any] = super().clean() or {}
        if not self.errors and not self.pieces():
            self.add_error(
                None, _("No part has a piece. Enter how many stand on the paper.")
            )
        return data

    def pieces(self) -> dict[int, int]:
        """Give the pieces of each part that is on the paper, by the batch's id."""
        told = {
            batch.pk: self.cleaned_data.get(f"pieces_{batch.pk}") or 0
            for batch in self.batches
        }
        return {pk: pieces for pk, pieces in told.items() if pieces}

    def plain(self) -> list[forms.BoundField]:
        """Give the fields that are about the whole paper."""
        return [self[name] for name in self.base_fields]

    def rows(self) -> list[tuple[Allocation, list[forms.BoundField]]]:
        """Give each part with its fields, for the table."""
        return [
            (batch, [self[f"{name}_{batch.pk}"] for name in self.columns])
            for batch in self.batches
        ]


class BillRowsForm(RowsForm):
    """One bill over several parts of a first batch."""

    number = forms.CharField(label=gettext_lazy("Bill number"), max_length=40)
    dated = DayField(label=gettext_lazy("Dated"))
    columns = ("pieces", "price")

    def row(self, batch: Allocation) -> dict[str, forms.Field]:
        """Ask for pieces and price of one part."""
        part = {"part": batch.part.number}
        return {
            "pieces": PiecesField(
                least=0,
                initial=batch.quantity,
                label=_("%(part)s: pieces billed") % part,
            ),
            "price": MoneyField(
                initial=batch.unit_cost_cents, label=_("%(part)s: price a piece") % part
            ),
        }

    def lines(self) -> dict[int, Billed]:
        """Give what the bill says of each part, by the batch's id."""
        return {
            pk: Billed(
                quantity=pieces, unit_cost_cents=self.cleaned_data[f"price_{pk}"]
            )
            for pk, pieces in self.pieces().items()
        }


class SlipRowsForm(RowsForm):
    """One packing slip over several parts of a first batch."""

    number = forms.CharField(label=gettext_lazy("Packing slip"), max_length=40)
    expected_on = DayField(
        label=gettext_lazy("Expected on"),
        required=False,
        help_text=gettext_lazy("Parts are promised from the working day after it."),
    )
    columns = ("pieces",)

    def row(self, batch: Allocation) -> dict[str, forms.Field]:
        """Ask for the pieces of one part."""
        label = _("%(part)s: pieces sent") % {"part": batch.part.number}
        return {"pieces": PiecesField(least=0, initial=batch.quantity, label=label)}


class ReceiveForm(forms.Form):
    """The count of one batch; what is neither in order nor damaged is short."""

    key = KeyField()
    good = PiecesField(least=0, label=gettext_lazy("Arrived in order"))
    damaged = PiecesField(least=0, initial=0, label=gettext_lazy("Arrived damaged"))
    bin_code = forms.CharField(
        label=gettext_lazy("Bin"), max_length=BIN_CODE_LENGTH, required=False
    )
