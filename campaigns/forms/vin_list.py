"""Forms: the manufacturer's list of VINs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.vin_lists import Choices
from campaigns.forms.campaigns import day_input


if TYPE_CHECKING:
    from campaigns.domain.vin_lists import Preview


class ListFileForm(forms.Form):
    """The file."""

    file = forms.FileField(
        label=gettext_lazy("The manufacturer's list"),
        help_text=gettext_lazy(
            "CSV, Excel or OpenDocument. Only the column with the VINs is read."
        ),
        allow_empty_file=True,
    )


class ListChoicesForm(forms.Form):
    """How a list is to be read."""

    column = forms.TypedChoiceField(
        label=gettext_lazy("Column with the VINs"), coerce=int
    )
    listed_on = forms.DateField(
        label=gettext_lazy("Date of the list"), widget=day_input()
    )
    replaces = forms.BooleanField(
        label=gettext_lazy("It replaces what this store's earlier lists said"),
        required=False,
    )
    take_unknown_makers = forms.BooleanField(
        label=gettext_lazy(
            "It is the right list even if no vehicle in the file has such a VIN"
        ),
        required=False,
    )

    def __init__(self, *args: Any, preview: Preview, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        names = preview.table.columns
        choices = [
            (str(number), name or _("column %(n)d") % {"n": number + 1})
            for number, name in enumerate(names)
        ]
        field = self.fields["column"]
        assert isinstance(field, forms.TypedChoiceField)
        field.choices = choices
        field.initial = None if preview.column is None else str(preview.column)
        self.sheet = preview.table.sheet

    def chosen(self) -> Choices:
        """Give the choices of a valid form."""
        given = self.cleaned_data
        return Choices(
            column=given["column"],
            sheet=self.sheet,
            replaces=given["replaces"],
            take_unknown_makers=given["take_unknown_makers"],
        )
