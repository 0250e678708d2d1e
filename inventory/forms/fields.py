"""Fields that the papers of the trade in parts share."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.models import Part


MOST_PIECES = 1_000_000
"""More than any store will ever take of one part; a slip of the finger stops here."""

DAY_FORMATS = ("%Y-%m-%d", "%m/%d/%Y", "%d.%m.%Y")


def new_key() -> str:
    """Make the hidden key of a form, once when it is opened."""
    return str(uuid.uuid4())


class KeyField(forms.CharField):
    """The hidden key that makes a second press harmless."""

    def __init__(self) -> None:
        super().__init__(max_length=60, widget=forms.HiddenInput, initial=new_key)


class DayField(forms.DateField):
    """A day, typed or chosen."""

    def __init__(self, **options: Any) -> None:  # noqa: ANN401 (Django's)
        widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
        super().__init__(input_formats=DAY_FORMATS, widget=widget, **options)


class PiecesField(forms.IntegerField):
    """A number of whole pieces, at least ``least``."""

    def __init__(self, *, least: int = 1, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(min_value=least, max_value=MOST_PIECES, **options)
        self.widget.attrs.setdefault("inputmode", "numeric")


class PartNumberField(forms.CharField):
    """A part by its number, as typed or scanned."""

    def __init__(self, **options: Any) -> None:  # noqa: ANN401 (Django's)
        options.setdefault("label", gettext_lazy("Part number"))
        super().__init__(max_length=40, **options)
        self.widget.attrs.setdefault("autocomplete", "off")

    def clean(self, value: Any) -> Part | None:  # noqa: ANN401 (Django's)
        """Find the part; spaces and small letters do not matter."""
        text = "".join(super().clean(value).split())
        if not text:
            return None
        part = Part.objects.filter(number__iexact=text).first()
        if part is None:
            raise ValidationError(
                _("No part has the number %(number)s. Check it on the bulletin."),
                code="unknown_part",
                params={"number": text[:40]},
            )
        return part
