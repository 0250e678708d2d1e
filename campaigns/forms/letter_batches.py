"""Forms of a round's files: how it is set, and which sheets are printed again."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _


class SetForm(forms.Form):
    """How the letters of a round are set."""

    letters_per_file = forms.TypedChoiceField(
        label=_("Files"),
        coerce=int,
        empty_value=0,  # type: ignore[arg-type]  # what coerce gives
        required=False,
        choices=[
            (0, _("all letters in one PDF")),
            (250, _("250 letters in each PDF")),
            (500, _("500 letters in each PDF")),
            (1_000, _("1,000 letters in each PDF")),
            (2_500, _("2,500 letters in each PDF")),
        ],
    )
    whole = forms.BooleanField(
        label=_("Lay out each letter by itself"),
        required=False,
        help_text=_(
            "About ten letters a second. Only when a sample was found to differ."
        ),
    )


class ReprintForm(forms.Form):
    """Sheets that are printed again."""

    asked = forms.CharField(
        label=_("Letters"),
        max_length=300,
        help_text=_(
            "Letter codes or page numbers, as L0000100002, 12, 15-17. Pages of a later"
            " file: 2:15-17."
        ),
    )
    why = forms.CharField(
        label=_("Reason"), max_length=200, help_text=_("Such as: the printer jammed.")
    )
    key = forms.CharField(max_length=100, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.initial.setdefault("key", str(uuid.uuid4()))
