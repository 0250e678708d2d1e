"""Forms: a visit that is moved or called off, and the planned day of own stock."""

from django import forms
from django.utils.translation import gettext_lazy as _

from campaigns.forms.campaigns import day_input


class MoveForm(forms.Form):
    """The new day of a visit."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    on = forms.DateField(label=_("New day"), widget=day_input())
    hour = forms.TimeField(
        label=_("Hour"),
        required=False,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
    )
    over_hours = forms.BooleanField(
        label=_("Move it although the hours are used up"), required=False
    )


class CancelForm(forms.Form):
    """Why a visit is called off."""

    why = forms.CharField(label=_("Reason"), max_length=200, required=False)


class DayForm(forms.Form):
    """The day whose list is shown."""

    day = forms.DateField(required=False, widget=day_input())


class PlanForm(forms.Form):
    """The day on which a vehicle of the store's own stock is to be remedied."""

    campaign_vehicle = forms.IntegerField(widget=forms.HiddenInput)
    planned_on = forms.DateField(
        label=_("Planned day"), required=False, widget=day_input()
    )
