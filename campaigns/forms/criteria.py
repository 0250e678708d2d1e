"""Forms: one criterion, and the reason of an amendment."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.forms.campaigns import day_input
from campaigns.models import Criterion
from campaigns.models.words import CHANGE_WORDS
from dealership.models.choices import choices_of


_FIRST_YEAR, _LAST_YEAR = 1980, 2060
_RANGE = re.compile(r"^(\d{4})\s*(?:-|\N{EN DASH}|to)\s*(\d{4})$")
_YEAR = re.compile(r"^\d{4}$")


class YearsField(forms.CharField):
    """Model years as people write them: 2021-2023, 2025."""

    def prepare_value(self, value: Any) -> Any:  # noqa: ANN401 (Django's)
        """Show a list of years."""
        return ", ".join(map(str, value)) if isinstance(value, list) else value

    def clean(self, value: Any) -> Any:  # noqa: ANN401 (Django's)
        """Read the years, each once, in order."""
        text = super().clean(value)
        years: set[int] = set()
        for part in filter(None, (one.strip() for one in re.split(r"[,;\n]", text))):
            window = _RANGE.match(part)
            if window:
                years.update(range(int(window[1]), int(window[2]) + 1))
                read = int(window[1]) <= int(window[2])
            else:
                read = bool(_YEAR.match(part))
                years.update({int(part)} if read else set())
            if not read:
                raise ValidationError(
                    _("“%(part)s” is no model year. Write 2021-2023, 2025."),
                    params={"part": part[:40]},
                )
        if any(not _FIRST_YEAR <= year <= _LAST_YEAR for year in years):
            raise ValidationError(
                _("Model years lie between %(first)d and %(last)d."),
                params={"first": _FIRST_YEAR, "last": _LAST_YEAR},
            )
        return sorted(years)


class NamesField(forms.CharField):
    """Names with commas or line breaks between."""

    def prepare_value(self, value: Any) -> Any:  # noqa: ANN401 (Django's)
        """Show a list of names."""
        return ", ".join(value) if isinstance(value, list) else value

    def clean(self, value: Any) -> Any:  # noqa: ANN401 (Django's)
        """Read the names, each once."""
        text = super().clean(value)
        parts = (" ".join(one.split()) for one in re.split(r"[,;\n]", text))
        return list(dict.fromkeys(filter(None, parts)))


class CriterionForm(forms.ModelForm):  # type: ignore[type-arg]
    """The tests of one criterion; filled ones must all be met."""

    include = forms.TypedChoiceField(
        label=gettext_lazy("What it does"),
        choices=[
            ("yes", gettext_lazy("takes vehicles in")),
            ("no", gettext_lazy("leaves vehicles out")),
        ],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
        initial="yes",
    )
    model_years = YearsField(
        label=gettext_lazy("Model years"),
        required=False,
        max_length=400,
        help_text=gettext_lazy("Such as 2021-2023, 2025."),
    )
    lines = NamesField(
        label=gettext_lazy("Model lines"),
        required=False,
        max_length=400,
        help_text=gettext_lazy("Several with commas between; any of them will do."),
    )
    engines = NamesField(label=gettext_lazy("Engines"), required=False, max_length=400)
    plants = NamesField(label=gettext_lazy("Plants"), required=False, max_length=400)

    class Meta:
        model = Criterion
        fields = (
            "include",
            "model_years",
            "lines",
            "engines",
            "plants",
            "build_from",
            "build_to",
            "serial_from",
            "serial_to",
        )
        widgets = {"build_from": day_input(), "build_to": day_input()}
        help_texts = {
            "build_from": gettext_lazy("This day is inside."),
            "build_to": gettext_lazy("This day is inside."),
            "serial_from": gettext_lazy("This number is inside."),
            "serial_to": gettext_lazy("This number is inside."),
        }

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        if self.instance.pk:
            self.initial["include"] = "yes" if self.instance.include else "no"

    def clean(self) -> dict[str, Any]:
        """Refuse a window that ends before it begins."""
        given = super().clean() or self.cleaned_data
        first, last = given.get("build_from"), given.get("build_to")
        if first and last and first > last:
            self.add_error(
                "build_to", _("This day lies before “built from”. Exchange the two.")
            )
        return given


class ApplyForm(forms.Form):
    """The reason under which an amendment is kept."""

    why = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=200,
        help_text=gettext_lazy(
            "Kept with each vehicle that changes, such as “bulletin A, first match”."
        ),
    )


class ChangesFilter(forms.Form):
    """Which changes are listed."""

    change = forms.ChoiceField(
        label=gettext_lazy("Change"),
        required=False,
        choices=[("", gettext_lazy("all")), *choices_of(CHANGE_WORDS)],
    )
    q = forms.CharField(label=gettext_lazy("VIN"), required=False, max_length=40)
