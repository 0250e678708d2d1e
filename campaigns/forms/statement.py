"""The period of a statement."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.forms.fields import DayField


class PeriodForm(forms.Form):
    """From which day to which; both days belong to it, and both may be left out."""

    since = DayField(label=gettext_lazy("From"), required=False)
    until = DayField(label=gettext_lazy("To"), required=False)

    def clean(self) -> dict[str, Any]:
        """Refuse a period that ends before it begins."""
        data: dict[str, Any] = super().clean() or {}
        since, until = data.get("since"), data.get("until")
        if since and until and until < since:
            self.add_error("until", _("The period ends before it begins."))
        return data
