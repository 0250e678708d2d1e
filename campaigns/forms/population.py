"""Forms: finding vehicles of a population, and what is said of one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from campaigns.forms.campaigns import day_input
from campaigns.models.words import REACH_WORDS
from campaigns.queries.population import STRETCH_WORDS, Stretch
from campaigns.rules.lifecycle import Reach
from dealership.models.choices import choices_of
from vehicles.models import Vehicle


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection


class PopulationFilter(forms.Form):
    """Which vehicles are listed."""

    stretch = forms.ChoiceField(
        label=_("State"),
        required=False,
        choices=[("", _("all")), *choices_of(STRETCH_WORDS)],
    )
    q = forms.CharField(label=_("VIN or plate"), required=False, max_length=40)
    sort = forms.CharField(required=False, max_length=20)

    def chosen(self) -> tuple[Stretch | None, str, str]:
        """Give part, search and order; what cannot be read is left out."""
        self.is_valid()
        given = self.cleaned_data
        stretch = given.get("stretch")
        return (
            Stretch(stretch) if stretch else None,
            given.get("q", ""),
            given.get("sort", ""),
        )


class ReachForm(forms.Form):
    """Whether the vehicle can be reached, since when, from whom it is known."""

    reach = forms.TypedChoiceField(
        label=_("The vehicle is"), choices=choices_of(REACH_WORDS), coerce=Reach
    )
    effective_on = forms.DateField(label=_("Since"), widget=day_input())
    source = forms.CharField(
        label=_("Known from"),
        max_length=120,
        help_text=_("The owner, the post, the police, a register."),
    )
    say_which = forms.CharField(
        label=_("Which other reason"), max_length=120, required=False
    )


class ElsewhereForm(forms.Form):
    """That another store has done the work."""

    done_on = forms.DateField(label=_("Done on"), widget=day_input())
    source = forms.CharField(
        label=_("Known from"),
        max_length=80,
        help_text=_("Such as the other store's invoice, or the manufacturer's list."),
    )


class PlanForm(forms.Form):
    """The day on which a vehicle of the own stock is to be remedied."""

    planned_on = forms.DateField(
        label=_("To be remedied on"),
        required=False,
        widget=day_input(),
        help_text=_("Left empty, no day is planned."),
    )


class DecisionForm(forms.Form):
    """The reason of a decision."""

    why = forms.CharField(
        label=_("Reason"),
        max_length=200,
        help_text=_("What was found out, and where: the vehicle, its papers, a call."),
    )


class FoundOutForm(forms.ModelForm):  # type: ignore[type-arg]
    """The facts that a vehicle's verdict waits for, and where they were found out."""

    source = forms.CharField(
        label=_("Found out from"),
        max_length=200,
        help_text=_("The plate of the vehicle, its papers, a call to its owner."),
    )

    class Meta:
        model = Vehicle
        fields = ("model_year", "line", "engine", "plant", "serial", "build_date")
        widgets = {"build_date": day_input()}

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        wanted: Collection[str],
        today: dt.date,
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.today = today
        for name in list(self.fields):
            if name != "source" and name not in wanted:
                del self.fields[name]
            elif name != "source":
                self.fields[name].required = False

    def clean_build_date(self) -> dt.date | None:
        """Refuse a day that has not come."""
        day: dt.date | None = self.cleaned_data["build_date"]
        if day and day > self.today:
            raise forms.ValidationError(gettext("This day is in the future."))
        return day

    def facts(self) -> dict[str, Any]:
        """Give what was found out, without where."""
        return {n: v for n, v in self.cleaned_data.items() if n != "source"}


class DecideManyForm(forms.Form):
    """Which vehicles of a list belong, or do not, and why."""

    row = forms.TypedMultipleChoiceField(
        coerce=int, required=False, widget=forms.MultipleHiddenInput
    )
    belongs = forms.TypedChoiceField(
        choices=[("yes", ""), ("no", "")], coerce=lambda value: value == "yes"
    )
    why = forms.CharField(
        label=_("Reason"),
        max_length=200,
        help_text=_("What was found out, and where: the manufacturer, the papers."),
    )

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        chosen = self.data.getlist("row") if isinstance(self.data, QueryDict) else []
        choices = [(one, one) for one in chosen if one.isdecimal()]
        cast("forms.TypedMultipleChoiceField", self.fields["row"]).choices = choices
