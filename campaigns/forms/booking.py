"""Form: a visit to be booked."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.forms.campaigns import day_input


if TYPE_CHECKING:
    from collections.abc import Sequence

OTHER_DAY = "other"


class BookForm(forms.Form):
    """Which jobs, on which day, and who comes.

    ``jobs`` and ``days`` are (value, words) pairs that the page offers; the day itself
    is checked against the promise line when the visit is booked.
    """

    key = forms.UUIDField(widget=forms.HiddenInput)
    jobs = forms.MultipleChoiceField(
        label=gettext_lazy("Work"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": gettext_lazy("Choose at least one job.")},
    )
    day = forms.ChoiceField(label=gettext_lazy("Day"), widget=forms.RadioSelect)
    other_day = forms.DateField(
        label=gettext_lazy("Another day"),
        required=False,
        widget=day_input(),
        help_text=gettext_lazy("Only where you chose “another day” above."),
    )
    hour = forms.TimeField(
        label=gettext_lazy("Hour"),
        required=False,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
    )
    who = forms.CharField(
        label=gettext_lazy("Who comes"), max_length=120, required=False
    )
    contact = forms.CharField(
        label=gettext_lazy("Telephone or e-mail"), max_length=120, required=False
    )
    note = forms.CharField(label=gettext_lazy("Note"), max_length=300, required=False)
    loan_car = forms.BooleanField(
        label=gettext_lazy("A loan car is wanted"), required=False
    )
    loan_until = forms.DateField(
        label=gettext_lazy("Loan car back on"),
        required=False,
        widget=day_input(),
        help_text=gettext_lazy("Empty: on the day of the visit."),
    )
    over_hours = forms.BooleanField(
        label=gettext_lazy("Book it although the hours are used up"), required=False
    )

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        jobs: Sequence[tuple[str, str]],
        days: Sequence[tuple[str, str]],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.fields["jobs"].choices = jobs  # type: ignore[attr-defined]
        self.fields["day"].choices = [  # type: ignore[attr-defined]
            *days,
            (OTHER_DAY, _("another day")),
        ]
        if not days:
            self.fields["day"].initial = OTHER_DAY

    def clean(self) -> dict[str, Any]:
        """Read the day that is meant."""
        given = super().clean() or self.cleaned_data
        other = given.get("day") == OTHER_DAY and not given.get("other_day")
        if other and "other_day" not in self.errors:
            self.add_error("other_day", ValidationError(_("Enter the day.")))
        return given

    def chosen_day(self) -> dt.date:
        """Give the day of a valid form."""
        if self.cleaned_data["day"] == OTHER_DAY:
            day: dt.date = self.cleaned_data["other_day"]
            return day
        return dt.date.fromisoformat(self.cleaned_data["day"])

    def chosen_loan_until(self) -> dt.date | None:
        """Give the day a loan car comes back, or None where none is wanted."""
        if not self.cleaned_data["loan_car"]:
            return None
        until: dt.date | None = self.cleaned_data["loan_until"]
        return until or self.chosen_day()
