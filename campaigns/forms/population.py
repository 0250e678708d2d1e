"""Forms: finding vehicles of a population, and what is said of one."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from campaigns.forms.campaigns import day_input
from campaigns.models.words import REACH_WORDS
from campaigns.queries.population import STRETCH_WORDS, Stretch
from campaigns.rules.lifecycle import Reach
from dealership.models.choices import choices_of


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
