"""The few places of a campaign, the campaign of an address, and refusals in forms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.shortcuts import get_object_or_404
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _

from campaigns.models import Campaign
from dealership.rules.roles import Capability
from dealership.views.guards import staff_of, store_of


if TYPE_CHECKING:
    from django import forms
    from django.http import HttpRequest, QueryDict
    from django.utils.functional import _StrPromise

    from dealership.rules.refusals import Refusal


@dataclass(frozen=True)
class CampaignPlace:
    """One place of a campaign, as the row of places shows it."""

    label: str | _StrPromise
    url: str
    current: bool


_PLACES: tuple[tuple[_StrPromise, str, Capability], ...] = (
    (_("Overview"), "campaign", Capability.SEE_CAMPAIGNS),
    (_("Population"), "population", Capability.SEE_CAMPAIGNS),
    (_("Remedy"), "remedy", Capability.SEE_CAMPAIGNS),
    (_("Parts"), "campaign_parts", Capability.SEE_PARTS),
    (_("Letters"), "campaign_letters", Capability.SEE_LETTERS),
    (_("Visits"), "campaign_visits", Capability.SEE_CAMPAIGNS),
    (_("Money"), "account", Capability.SEE_MONEY),
    (_("Report"), "campaign_report", Capability.SEE_REPORTS),
)


def campaign_places(request: HttpRequest, campaign: Campaign) -> list[CampaignPlace]:
    """Give the places of a campaign that this person may use."""
    staff, store = staff_of(request), store_of(request)
    overview = reverse("campaigns:campaign", args=[campaign.code])
    found = []
    for label, name, capability in _PLACES:
        if not staff.may(capability, store.pk):
            continue
        try:
            url = reverse(f"campaigns:{name}", args=[campaign.code])
        except NoReverseMatch:
            continue
        here = request.path.startswith(url)
        if url == overview:
            here = request.path == url
        found.append(CampaignPlace(label=label, url=url, current=here))
    return found


def campaign_of(code: str) -> Campaign:
    """Give the campaign of an address, or answer 404; all stores share campaigns."""
    return get_object_or_404(
        Campaign.objects.select_related("earmark", "supplier"), code=code
    )


def add_refusal(form: forms.BaseForm, refusal: Refusal) -> None:
    """Show a refusal at the field that it speaks of, or on top of the form."""
    field = getattr(refusal, "field", None)
    known = isinstance(field, str) and field in form.fields
    form.add_error(field if known else None, refusal.sentence)


def may_edit(request: HttpRequest) -> bool:
    """Tell whether this person may change campaigns in the store chosen now."""
    return staff_of(request).may(Capability.EDIT_CAMPAIGNS, store_of(request).pk)


def posted(request: HttpRequest) -> QueryDict | None:
    """Give what a form is bound to: what was posted, nothing where it is only shown."""
    return request.POST if request.method == "POST" else None
