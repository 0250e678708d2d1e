"""Forms for a list on its way in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from vehicles.forms.words import DATE_WORDS, FIELD_WORDS
from vehicles.models.party import SOURCE_WORDS
from vehicles.models.vehicle import KIND_WORDS
from vehicles.models.vehicle_list import ROW_STATE_WORDS
from vehicles.rules.columns import MappingFault, check_mapping
from vehicles.rules.dates import DateOrder, OrderState
from vehicles.rules.standing import AddressSource, VehicleKind


if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.forms import BoundField

    from vehicles.models import VehicleList

_KINDS = [
    (kind.value, words)
    for kind, words in KIND_WORDS.items()
    if kind is not VehicleKind.UNKNOWN
]


class UploadListForm(forms.Form):
    """A list to hand in, with what no list says of itself."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    file = forms.FileField(
        label=gettext_lazy("The list"),
        help_text=gettext_lazy(
            "CSV, TSV or a spreadsheet (XLSX, ODS), as it comes out of your system."
            " Choose the file or drag it here. Nothing is taken in before you have"
            " looked at it."
        ),
        max_length=255,
        allow_empty_file=True,
    )
    source = forms.ChoiceField(
        label=gettext_lazy("Where the addresses come from"),
        help_text=gettext_lazy(
            "The law ties the use of an address to its source. Addresses from state"
            " records may be used for their recall only (18 USC 2721)."
        ),
        choices=[(source.value, words) for source, words in SOURCE_WORDS.items()],
        initial=AddressSource.OWN_CUSTOMER.value,
    )
    only_for = forms.CharField(
        label=gettext_lazy("Campaign code of the state records"),
        help_text=gettext_lazy("Only for addresses from state records."),
        max_length=40,
        required=False,
    )
    kind = forms.ChoiceField(
        label=gettext_lazy("Vehicles whose kind the list does not say are"),
        help_text=gettext_lazy(
            "Of cars and light trucks the VIN tells the model year. Of other kinds it"
            " allows two years 30 years apart, and you are asked."
        ),
        choices=_KINDS,
        initial=VehicleKind.LIGHT.value,
    )

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        options.setdefault("initial", {"key": uuid4()})
        super().__init__(*args, **options)

    def clean(self) -> dict[str, Any]:
        """Ask for the campaign where the law asks for it."""
        told = super().clean() or {}
        limited = told.get("source") == AddressSource.STATE_RECORDS
        if limited and not told.get("only_for"):
            self.add_error(
                "only_for",
                _("Write the code of the campaign that these records came for."),
            )
        if not limited:
            told["only_for"] = ""
        return told

    def choices(self) -> dict[str, str]:
        """Give what holds for the whole list."""
        return {
            name: self.cleaned_data[name] for name in ("kind", "source", "only_for")
        }


class ColumnsForm(forms.Form):
    """What each column holds, and which of day and month stands first."""

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        vehicle_list: VehicleList,
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.vehicle_list = vehicle_list
        by_column = {c: name for name, c in vehicle_list.mapping.items()}
        choices = [("", _("not used")), *FIELD_WORDS.items()]
        for column, header in enumerate(vehicle_list.headers):
            self.fields[f"column_{column}"] = forms.ChoiceField(
                label=header,
                choices=choices,
                required=False,
                initial=by_column.get(column, ""),
                widget=forms.Select(
                    attrs={"aria-label": _("What “%s” holds") % header[:60]}
                ),
            )
        for name, told in self._open_dates().items():
            self.fields[f"order_{name}"] = forms.ChoiceField(
                label=_("In “%s” first stands") % vehicle_list.headers[told["column"]],
                help_text=told["hint"],
                choices=[
                    ("", _("not said")),
                    (DateOrder.DAY_FIRST.value, _("the day, as in 31/12/2026")),
                    (DateOrder.MONTH_FIRST.value, _("the month, as in 12/31/2026")),
                ],
                required=False,
                initial=vehicle_list.date_orders.get(name, ""),
            )

    def _open_dates(self) -> dict[str, dict[str, Any]]:
        """Give the date columns that do not show their order by themselves."""
        found = {}
        for name, told in self.vehicle_list.reading.get("dates", {}).items():
            column = self.vehicle_list.mapping.get(name)
            if column is None or told["state"] not in {
                OrderState.AMBIGUOUS,
                OrderState.CONTRADICTION,
            }:
                continue
            found[name] = {"column": column, "hint": _date_hint(told)}
        return found

    def columns(self) -> Iterator[tuple[dict[str, Any], BoundField]]:
        """Give each column's guess with its field."""
        for guess in self.vehicle_list.guesses:
            yield guess, self[f"column_{guess['column']}"]

    def orders(self) -> list[BoundField]:
        """Give the questions about dates."""
        return [self[name] for name in self.fields if name.startswith("order_")]

    def clean(self) -> dict[str, Any]:
        """Refuse a mapping that cannot be meant."""
        told = super().clean() or {}
        mapping: dict[str, int] = {}
        for column, _header in enumerate(self.vehicle_list.headers):
            name = told.get(f"column_{column}")
            if not name:
                continue
            if name in mapping:
                self.add_error(
                    f"column_{column}",
                    _("“%(first)s” holds the %(field)s already. Leave one unused.")
                    % {
                        "first": self.vehicle_list.headers[mapping[name]],
                        "field": FIELD_WORDS[name],
                    },
                )
            mapping.setdefault(name, column)
        try:
            check_mapping(mapping, columns=len(self.vehicle_list.headers))
        except MappingFault as fault:
            self.add_error(None, fault.sentence)
        orders = {name: told.get(f"order_{name}") or "" for name in DATE_WORDS}
        return {"mapping": mapping, "date_orders": orders}


def _date_hint(told: dict[str, Any]) -> str:
    """Show the cells that leave the order open, or that contradict each other."""
    if told["state"] == OrderState.CONTRADICTION:
        return _(
            "Row %(day_row)s has %(day)s, row %(month_row)s has %(month)s: the column"
            " is written in both ways."
        ) % {
            "day_row": told["day"][0],
            "day": told["day"][1],
            "month_row": told["month"][0],
            "month": told["month"][1],
        }
    return _(
        "Row %(row)s has %(text)s, and no cell of the column shows which is meant"
        " (%(cells)d cells)."
    ) % {"row": told["open"][0], "text": told["open"][1], "cells": told["open_cells"]}


class SheetForm(forms.Form):
    """Another sheet of the workbook, or another row of headers."""

    sheet = forms.ChoiceField(label=gettext_lazy("Sheet"), required=False)
    header_row = forms.IntegerField(
        label=gettext_lazy("Row with the headers"),
        help_text=gettext_lazy("0 where the list has none."),
        min_value=0,
        max_value=100,
    )

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        vehicle_list: VehicleList,
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        reading = vehicle_list.reading
        options.setdefault(
            "initial",
            {
                "sheet": reading.get("sheet", ""),
                "header_row": vehicle_list.header_row,
            },
        )
        super().__init__(*args, **options)
        sheets = reading.get("sheets") or []
        self.fields["sheet"].choices = [(name, name) for name in sheets]  # type: ignore[attr-defined]
        if len(sheets) < len(("one", "other")):
            del self.fields["sheet"]


class DecideForm(forms.Form):
    """The model year of one row."""

    row = forms.IntegerField(min_value=1)
    year = forms.IntegerField(min_value=1900, max_value=2100)


class DecideAllForm(forms.Form):
    """What holds for all rows whose VIN allows two model years."""

    pick = forms.ChoiceField(
        choices=[("early", ""), ("late", ""), ("light", "")],
    )


class RowsFilterForm(forms.Form):
    """Which rows of a list are shown."""

    state = forms.ChoiceField(
        label=gettext_lazy("State"),
        required=False,
        choices=[
            ("", gettext_lazy("all")),
            *((state.value, words) for state, words in ROW_STATE_WORDS.items()),
        ],
    )
    q = forms.CharField(label=gettext_lazy("VIN"), required=False, max_length=40)
