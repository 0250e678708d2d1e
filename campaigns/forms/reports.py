"""Forms of reports."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _


class AskReportForm(forms.Form):
    """The day that a report is to show."""

    as_of = forms.DateField(
        label=_("As of the end of"),
        help_text=_("Today or any day since the campaign was announced."),
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    key = forms.CharField(max_length=100, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.initial.setdefault("key", str(uuid.uuid4()))
