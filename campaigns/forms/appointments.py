"""Form: the appointments of a day, pasted or as a file."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.forms.campaigns import day_input
from campaigns.rules.appointments import (
    LONGEST_LIST,
    Appointment,
    TooManyAppointments,
    hour_in,
    read_lines,
    read_rows,
)
from dealership.documents.tabular import open_table
from dealership.rules.refusals import Refusal
from vehicles.rules.columns import guess_columns, mapping_of


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Sequence

    from django.core.files.uploadedfile import UploadedFile

    from dealership.documents.headers import Row

LARGEST_FILE = 2_000_000
"""Bytes; a day's list is a few kilobytes."""


class AppointmentsForm(forms.Form):
    """The day, and its vehicles: one a line, or a file with a column of VINs."""

    day = forms.DateField(label=gettext_lazy("Day"), widget=day_input())
    lines = forms.CharField(
        label=gettext_lazy("Vehicles, one a line"),
        required=False,
        max_length=60_000,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text=gettext_lazy(
            "VIN, its last eight, or the plate; the hour may stand beside it."
        ),
    )
    file = forms.FileField(
        label=gettext_lazy("Or a file"),
        required=False,
        allow_empty_file=True,
        help_text=gettext_lazy("CSV, Excel or OpenDocument with a column of VINs."),
    )

    def __init__(self, *args: Any, today: dt.date, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.today = today

    def clean_day(self) -> dt.date:
        """Refuse a day that has passed: nothing can be held for it."""
        day: dt.date = self.cleaned_data["day"]
        if day < self.today:
            raise ValidationError(
                _("%(day)s has passed. Choose today or a later day."),
                params={"day": day.isoformat()},
            )
        return day

    def clean(self) -> dict[str, Any]:
        """Read the list; ``appointments`` are its lines."""
        given = super().clean() or self.cleaned_data
        file, lines = given.get("file"), given.get("lines", "")
        field = "file" if file else "lines"
        if field in self.errors:
            return given
        try:
            given["appointments"] = _of_file(file) if file else read_lines(lines)
        except Refusal as refusal:
            self.add_error(field, ValidationError(refusal.sentence))
        return given


def _of_file(file: UploadedFile[bytes]) -> list[Appointment]:
    """Read the appointments of a file by the columns that its contents show."""
    if (file.size or 0) > LARGEST_FILE:
        raise TooManyAppointments((file.size or 0) // 20)
    table = open_table(file.read(), file.name or _("the file"))
    rows = list(islice(table.rows(), LONGEST_LIST * 2))
    cells = [row.cells for row in rows]
    mapping = mapping_of(guess_columns(table.columns, cells))
    columns = [mapping[name] for name in ("vin", "plate") if name in mapping]
    return read_rows(_named(rows, columns))


def _named(
    rows: Sequence[Row], columns: Sequence[int]
) -> Iterator[tuple[int, str, str]]:
    """Give of each row what names the vehicle, and the first cell that is an hour."""
    for row in rows:
        cells = [cell.strip() for cell in row.cells]
        named = next((cells[n] for n in columns if n < len(cells) and cells[n]), "")
        hour = next((cell for cell in cells if hour_in(cell)), "")
        yield row.number, named, hour
