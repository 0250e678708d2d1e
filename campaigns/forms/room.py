"""Forms: the hours of a usual week, and of a day that differs."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.forms.campaigns import day_input
from campaigns.models.words import SKILL_WORDS
from campaigns.rules.room import SUNDAY, Skill


if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from django.forms.boundfield import BoundField
    from django.utils.functional import _StrPromise

DAYS = range(1, SUNDAY + 1)
_HUNDRED = 100
_MOST = Decimal(999)


def _hours(label: str | _StrPromise, *, required: bool) -> forms.DecimalField:
    field = forms.DecimalField(
        label=label,
        min_value=0,
        max_value=_MOST,
        decimal_places=2,
        required=required,
    )
    field.widget.attrs["inputmode"] = "decimal"
    return field


class WeekForm(forms.Form):
    """Hours by skill and day of the week, and the number of loan cars."""

    loan_cars = forms.IntegerField(
        label=gettext_lazy("Loan cars"),
        min_value=0,
        max_value=999,
        required=False,
        help_text=gettext_lazy("Empty: as many as are registered as loan cars."),
    )

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        week: Mapping[tuple[Skill, int], int],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        for skill in Skill:
            for day in DAYS:
                name = f"{skill}_{day}"
                label = _("%(skill)s, %(day)s, hours") % {
                    "skill": SKILL_WORDS[skill],
                    "day": WEEKDAYS[day - 1],
                }
                self.fields[name] = _hours(label, required=False)
                self.fields[name].widget.attrs["aria-label"] = label
                hundredths = week.get((skill, day), 0)
                if hundredths:
                    self.fields[name].initial = Decimal(hundredths) / _HUNDRED

    def rows(self) -> Iterator[tuple[str, list[tuple[str, BoundField]]]]:
        """Give a row of boxes for each skill, each box with its day in words."""
        for skill in Skill:
            boxes = [(str(WEEKDAYS[day - 1]), self[f"{skill}_{day}"]) for day in DAYS]
            yield str(SKILL_WORDS[skill]), boxes

    def week(self) -> dict[tuple[Skill, int], int]:
        """Give the hundredths of a valid form; an empty box is no hour."""
        return {
            (skill, day): int((self.cleaned_data[f"{skill}_{day}"] or 0) * _HUNDRED)
            for skill in Skill
            for day in DAYS
        }


class DayHoursForm(forms.Form):
    """A day whose hours differ from its week."""

    day = forms.DateField(label=gettext_lazy("Day"), widget=day_input())
    skill = forms.ChoiceField(
        label=gettext_lazy("Skill"),
        choices=[(one.value, words) for one, words in SKILL_WORDS.items()],
    )
    hours = _hours(gettext_lazy("Hours"), required=True)
    why = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=120,
        required=False,
        help_text=gettext_lazy("Such as: training, leave, extra shift."),
    )
