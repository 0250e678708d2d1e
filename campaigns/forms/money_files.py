"""Forms of bill files and payment advices."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from campaigns.models.money_file import FILE_WORDS
from campaigns.rules.money_rows import FileKind
from dealership.models.choices import choices_of
from inventory.forms.fields import DayField, KeyField


class MoneyFileForm(forms.Form):
    """The file, and what it tells."""

    kind = forms.ChoiceField(label=_("What it is"), choices=choices_of(FILE_WORDS))
    file = forms.FileField(
        label=_("The file"),
        help_text=_(
            "CSV, or a spreadsheet, with headers. A payment advice needs claim and"
            " amount; a bill file needs bill, date, part, quantity and price."
        ),
        allow_empty_file=True,
    )

    def clean_kind(self) -> FileKind:
        """Give the kind itself."""
        return FileKind(self.cleaned_data["kind"])


class ApplyFileForm(forms.Form):
    """The day of rows that name none."""

    key = KeyField()
    dated = DayField(label=_("Day of rows that name none"))
