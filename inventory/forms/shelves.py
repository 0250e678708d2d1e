"""Forms of transfers, counts, quarantine, sales and bins."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dealership.forms.fields import PercentField
from dealership.models import Store
from inventory.domain.shelving import CODE_LENGTH
from inventory.domain.transferring import Arrived
from inventory.forms.fields import DayField, KeyField, PartNumberField, PiecesField
from inventory.forms.ordering import EarmarkField
from inventory.models import BinLocation
from inventory.rules.accounts import LotKind


if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from dealership.rules.refusals import Refusal
    from inventory.models import Part, Reservation, StockCountLine, TransferLine
    from inventory.queries.subjects import Said

    StoreChoice = forms.ModelChoiceField[Store]
    BinChoice = forms.ModelChoiceField[BinLocation]
else:
    StoreChoice = BinChoice = forms.ModelChoiceField


def why_field(**options: Any) -> forms.CharField:  # noqa: ANN401 (Django's)
    """Make the field of a reason."""
    options.setdefault("label", gettext_lazy("Reason"))
    return forms.CharField(max_length=200, **options)


ROWS_AT_FIRST = 4
MOST_ROWS = 40


class TransferForm(forms.Form):
    """Pieces of one part or several for another store; empty rows count for nothing."""

    key = KeyField()
    earmark = EarmarkField(label=gettext_lazy("From the stock set apart for"))
    to_store = StoreChoice(
        label=gettext_lazy("To store"), queryset=Store.objects.none()
    )
    expected_on = DayField(label=gettext_lazy("Expected there on"))
    why = why_field(required=False)

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        store: Store,
        rows: int = ROWS_AT_FIRST,
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        others = Store.objects.exclude(pk=store.pk).order_by("code")
        self.fields["to_store"].queryset = others  # type: ignore[attr-defined]
        self.numbers = range(1, min(max(rows, 1), MOST_ROWS) + 1)
        for number in self.numbers:
            part, quantity = _row_names(number)
            told = {"number": number}
            self.fields[part] = PartNumberField(
                required=False, label=_("Row %(number)d: part number") % told
            )
            self.fields[quantity] = PiecesField(
                required=False, label=_("Row %(number)d: pieces") % told
            )
            for name in (part, quantity):
                self.fields[name].widget.attrs["aria-label"] = self.fields[name].label

    def plain(self) -> list[forms.BoundField]:
        """Give the fields that are about the whole transfer."""
        return [self[name] for name in self.base_fields if name != "key"]

    def rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Give part and pieces of each row, for the table."""
        return [
            (self[part], self[quantity])
            for part, quantity in map(_row_names, self.numbers)
        ]

    def clean(self) -> dict[str, Any]:
        """Want each row whole, each part once, and one row at least."""
        data: dict[str, Any] = super().clean() or {}
        seen = set()
        for part, quantity in map(_row_names, self.numbers):
            given, pieces = data.get(part), data.get(quantity)
            if given and not pieces and quantity not in self.errors:
                self.add_error(quantity, _("Say how many pieces."))
            if pieces and not given and part not in self.errors:
                self.add_error(part, _("Say which part."))
            if given in seen:
                self.add_error(
                    part, _("This part stands in a row above; add it there.")
                )
            if given:
                seen.add(given)
        if not seen and not self.errors:
            self.add_error(_row_names(1)[0], _("Say which part is sent."))
        return data

    def lines(self) -> dict[Part, int]:
        """Give the pieces of each part."""
        data = self.cleaned_data
        return {
            data[part]: data[quantity]
            for part, quantity in map(_row_names, self.numbers)
            if data[part]
        }

    def refuse(self, refusal: Refusal) -> None:
        """Put what was refused beside the row of its part, or on top."""
        about = getattr(refusal, "part", None)
        for part, quantity in map(_row_names, self.numbers):
            if about is not None and self.cleaned_data.get(part) == about:
                self.add_error(quantity, refusal.sentence)
                return
        self.add_error(None, refusal.sentence)


def _row_names(number: int) -> tuple[str, str]:
    """Name the two fields of a row; those of the first are what a link fills in."""
    ending = f"_{number}" if number > 1 else ""
    return f"part{ending}", f"quantity{ending}"


class ArrivalForm(forms.Form):
    """The count of every line of a transfer; the rest is lost."""

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        lines: Sequence[TransferLine],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.lines = lines
        for line in lines:
            number = line.part.number
            self.fields[f"good_{line.pk}"] = PiecesField(
                least=0,
                initial=line.quantity,
                label=_("%(part)s: arrived in order") % {"part": number},
            )
            self.fields[f"damaged_{line.pk}"] = PiecesField(
                least=0,
                initial=0,
                label=_("%(part)s: arrived damaged") % {"part": number},
            )

    def counts(self) -> dict[int, Arrived]:
        """Give the count of each line."""
        data = self.cleaned_data
        return {
            line.pk: Arrived(
                good=data[f"good_{line.pk}"], damaged=data[f"damaged_{line.pk}"]
            )
            for line in self.lines
        }


class WhyForm(forms.Form):
    """The reason of an act that cannot be taken back."""

    why = why_field()


class NewCountForm(forms.Form):
    """What is to be counted: a bin, a part, or all shelves."""

    key = KeyField()
    place = BinChoice(
        label=gettext_lazy("Bin"),
        queryset=BinLocation.objects.none(),
        required=False,
        empty_label=gettext_lazy("all bins"),
    )
    part = PartNumberField(
        required=False, help_text=gettext_lazy("Empty: every part that lies there.")
    )
    what = forms.ChoiceField(
        label=gettext_lazy("What to count"),
        choices=[
            ("shelves", gettext_lazy("the shelves")),
            ("both", gettext_lazy("the shelves, and quarantine lot by lot")),
            ("quarantine", gettext_lazy("quarantine only, lot by lot")),
        ],
        initial="shelves",
        required=False,
    )

    def __init__(self, *args: Any, store: Store, **options: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **options)
        bins = BinLocation.objects.in_store(store)
        self.fields["place"].queryset = bins  # type: ignore[attr-defined]

    def about(self) -> str:
        """Say what is counted, in a few words."""
        place, part = self.cleaned_data["place"], self.cleaned_data["part"]
        where = _("bin %(code)s") % {"code": place.code} if place else _("all bins")
        if not self.counts_shelves():
            where = _("quarantine")
        elif self.counts_quarantine():
            where = _("%(where)s and quarantine") % {"where": where}
        return f"{where}, {part.number}" if part else where

    def counts_shelves(self) -> bool:
        """Tell whether the shelves are counted."""
        return bool(self.cleaned_data["what"] != "quarantine")

    def counts_quarantine(self) -> bool:
        """Tell whether quarantine is counted."""
        return self.cleaned_data["what"] in {"both", "quarantine"}


class FoundForm(forms.Form):
    """What was found, line by line; empty until it is counted."""

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        lines: Sequence[StockCountLine],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.lines = lines
        for line in lines:
            field = PiecesField(
                least=0, label=_("%(part)s: found") % {"part": line.part.number}
            )
            field.widget.attrs["aria-label"] = field.label
            self.fields[f"found_{line.pk}"] = field

    def rows(self) -> list[tuple[StockCountLine, forms.BoundField]]:
        """Give each line with its field, for the table."""
        return [(line, self[f"found_{line.pk}"]) for line in self.lines]

    def found(self) -> dict[int, int]:
        """Give what was found of each line."""
        return {line.pk: self.cleaned_data[f"found_{line.pk}"] for line in self.lines}


class ApproveForm(forms.Form):
    """A reason for each difference, and whose promise goes where one has to."""

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        different: Sequence[StockCountLine],
        promises: Sequence[Reservation],
        words: Mapping[str, Said],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.different = different
        for line in different:
            label = _("%(part)s, %(pieces)s: reason") % {
                "part": line.part.number,
                "pieces": f"{line.difference:+d}".replace("-", "\u2212"),
            }
            self.fields[f"why_{line.pk}"] = why_field(label=label)
        if promises:
            self.fields["taken_back"] = forms.TypedMultipleChoiceField(
                label=_("Promises to take back where held pieces are missing"),
                required=False,
                coerce=int,
                widget=forms.CheckboxSelectMultiple,
                choices=[
                    (
                        row.pk,
                        _("%(part)s, %(pieces)d for %(whom)s, needed on %(day)s")
                        % {
                            "part": row.part.number,
                            "pieces": row.quantity,
                            "whom": words[row.subject].words,
                            "day": row.needed_on.isoformat(),
                        },
                    )
                    for row in promises
                ],
            )

    def reasons(self) -> dict[int, str]:
        """Give the reason of each difference."""
        return {line.pk: self.cleaned_data[f"why_{line.pk}"] for line in self.different}

    def taken_back(self) -> list[int]:
        """Give the promises that lose their pieces."""
        return list(self.cleaned_data.get("taken_back", []))


class AsideForm(forms.Form):
    """Free pieces that go into quarantine."""

    key = KeyField()
    kind = forms.ChoiceField(
        label=gettext_lazy("Why"),
        choices=[
            (LotKind.DOUBTFUL, gettext_lazy("to be looked at")),
            (LotKind.DAMAGED, gettext_lazy("damaged")),
            (LotKind.RECALLED, gettext_lazy("recalled stock: never freed again")),
        ],
    )
    earmark = EarmarkField(label=gettext_lazy("Stock"))
    quantity = PiecesField(label=gettext_lazy("Pieces"))
    why = why_field()


class RemovedForm(forms.Form):
    """Parts that came out of a vehicle."""

    key = KeyField()
    part = PartNumberField(help_text=gettext_lazy("The number that stands on it."))
    quantity = PiecesField(label=gettext_lazy("Pieces"), initial=1)
    why = why_field(label=gettext_lazy("Repair order or vehicle it came out of"))


class LeaveForm(forms.Form):
    """Pieces that leave a lot."""

    key = KeyField()
    quantity = PiecesField(label=gettext_lazy("Pieces"))
    why = why_field()


class LotReturnForm(forms.Form):
    """Pieces of a lot that go back to the supplier."""

    key = KeyField()
    quantity = PiecesField(label=gettext_lazy("Pieces"))
    last_date = DayField(label=gettext_lazy("Accepted until"), required=False)
    restocking_basis_points = PercentField(
        label=gettext_lazy("Restocking charge, per cent"), initial=0
    )


class SellForm(forms.Form):
    """A sale over the counter."""

    key = KeyField()
    quantity = PiecesField(label=gettext_lazy("Pieces"))
    ticket = forms.CharField(
        label=gettext_lazy("Sales ticket or invoice"), max_length=40
    )
    earmark = EarmarkField(label=gettext_lazy("From the stock"))
    why_set_apart = why_field(
        label=gettext_lazy("Why stock that is set apart is sold"), required=False
    )

    def __init__(self, *args: Any, may_set_apart: bool, **options: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **options)
        if not may_set_apart:
            del self.fields["earmark"], self.fields["why_set_apart"]


class BinForm(forms.Form):
    """The code of a bin."""

    code = forms.CharField(
        label=gettext_lazy("Code of the bin"), max_length=CODE_LENGTH
    )


class FillForm(forms.Form):
    """A pocket whose pieces lie in this bin."""

    part = PartNumberField()
    earmark = EarmarkField(label=gettext_lazy("Stock"))


class DayForm(forms.Form):
    """The day of a pick list."""

    day = DayField(label=gettext_lazy("Day"))


class ChainForm(forms.Form):
    """Which number replaces a part."""

    new = PartNumberField(label=gettext_lazy("Replaced by part number"))
    since = DayField(label=gettext_lazy("Since"))
    old_stock_serves = forms.BooleanField(
        label=gettext_lazy("What is left of the old number may still be fitted"),
        required=False,
        initial=True,
        help_text=gettext_lazy("As the bulletin says; a remedy may say no for itself."),
    )
