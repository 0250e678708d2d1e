"""Forms of deliveries and disputes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dealership.forms.fields import MoneyField
from inventory.domain.receiving import Counted
from inventory.domain.shelving import CODE_LENGTH
from inventory.forms.fields import DayField, KeyField, PiecesField
from inventory.rules.accounts import DisputeState


if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import ShipmentLine


class CountForm(forms.Form):
    """The count of every line of a delivery; what is neither good nor damaged is short."""

    key = KeyField()

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        lines: Sequence[ShipmentLine],
        bins: dict[int, str],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.lines = lines
        for line in lines:
            number = line.part.number
            self.fields[f"good_{line.pk}"] = PiecesField(
                least=0,
                initial=line.sent,
                label=_("%(part)s: arrived in order") % {"part": number},
            )
            self.fields[f"damaged_{line.pk}"] = PiecesField(
                least=0,
                initial=0,
                label=_("%(part)s: arrived damaged") % {"part": number},
            )
            self.fields[f"bin_{line.pk}"] = forms.CharField(
                required=False,
                max_length=CODE_LENGTH,
                initial=bins.get(line.pk, ""),
                label=_("%(part)s: bin") % {"part": number},
            )
        for name, field in self.fields.items():
            if name != "key":
                field.widget.attrs["aria-label"] = field.label

    def rows(self) -> list[tuple[ShipmentLine, list[forms.BoundField]]]:
        """Give each line with its three fields, for the table."""
        return [
            (line, [self[f"{name}_{line.pk}"] for name in ("good", "damaged", "bin")])
            for line in self.lines
        ]

    def clean(self) -> dict[str, Any]:
        """See that no line has more pieces than were sent."""
        data: dict[str, Any] = super().clean() or {}
        for line in self.lines:
            good, damaged = data.get(f"good_{line.pk}"), data.get(f"damaged_{line.pk}")
            if good is None or damaged is None or good + damaged <= line.sent:
                continue
            self.add_error(
                f"good_{line.pk}",
                _(
                    "%(sent)d were sent; %(found)d in order and damaged together are "
                    "too many. Count again."
                )
                % {"sent": line.sent, "found": good + damaged},
            )
        return data

    def counts(self) -> dict[int, Counted]:
        """Give the count of each line."""
        data = self.cleaned_data
        return {
            line.pk: Counted(
                good=data[f"good_{line.pk}"],
                damaged=data[f"damaged_{line.pk}"],
                bin_code=data[f"bin_{line.pk}"],
            )
            for line in self.lines
        }


class RedateForm(forms.Form):
    """A new day for a delivery that is late."""

    expected_on = DayField(
        label=gettext_lazy("Expected on"),
        help_text=gettext_lazy("Parts are promised from the working day after it."),
    )


class DisputeForm(forms.Form):
    """How a dispute ends."""

    how = forms.ChoiceField(
        label=gettext_lazy("How it ends"),
        choices=[
            (DisputeState.CREDITED, gettext_lazy("credited: the supplier pays")),
            (DisputeState.REPLACED, gettext_lazy("replaced: the pieces are here")),
            (DisputeState.WRITTEN_OFF, gettext_lazy("written off: we give it up")),
        ],
        widget=forms.RadioSelect,
    )
    dated = DayField(label=gettext_lazy("Dated"))
    number = forms.CharField(
        label=gettext_lazy("Credit note"), max_length=40, required=False
    )
    amount_cents = MoneyField(
        label=gettext_lazy("Amount credited"),
        required=False,
        help_text=gettext_lazy("Empty: the whole cost of the pieces."),
    )
    why = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=200,
        required=False,
        help_text=gettext_lazy("Needed when money is given up."),
    )


class ReplacementForm(forms.Form):
    """A delivery at no cost that makes a dispute good."""

    number = forms.CharField(label=gettext_lazy("Its packing slip"), max_length=40)
    expected_on = DayField(label=gettext_lazy("Expected on"), required=False)


class LastDateForm(forms.Form):
    """Another day until which a dispute is to be settled."""

    last_date = DayField(label=gettext_lazy("To be settled by"))
