"""Forms: a request for the remedy, and its withdrawal."""

from django import forms
from django.utils.translation import gettext_lazy as _


class RequestForm(forms.Form):
    """Who asks, and how to reach them when the part is here."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    campaign_vehicle = forms.IntegerField(widget=forms.HiddenInput)
    who = forms.CharField(label=_("Who asks"), max_length=120, required=False)
    contact = forms.CharField(
        label=_("Telephone or e-mail"), max_length=120, required=False
    )


class WithdrawForm(forms.Form):
    """Why a vehicle leaves the waiting list."""

    why = forms.CharField(label=_("Reason"), max_length=200)
