"""Pages: the list of campaigns, one campaign, entering, amending, closing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.domain.amending import version_in_work
from campaigns.domain.announcing import amend_facts, enter_campaign
from campaigns.domain.closing import close_campaign, reopen_campaign
from campaigns.forms.campaigns import AmendForm, CampaignForm, CloseForm, WhyForm
from campaigns.models import Campaign
from campaigns.models.words import CAMPAIGN_STATE_WORDS, CLASS_WORDS
from campaigns.queries.campaigns import campaign_rows, sentence_of, variants_of
from campaigns.queries.completion import counts
from campaigns.queries.leftovers import LeftKind, what_is_left
from campaigns.queries.overview import key_dates, next_acts, place_url
from campaigns.rules.lifecycle import CampaignClass, CampaignState
from campaigns.views.places import (
    add_refusal,
    campaign_of,
    campaign_places,
    may_edit,
    posted,
)
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

PAGE = 50


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def campaign_list(request: HttpRequest) -> HttpResponse:
    """List the campaigns with a bar and a sentence each."""
    state, words = request.GET.get("state", ""), request.GET.get("q", "").strip()
    # running, then drafts, then closed
    found = Campaign.objects.order_by("-state", "-announced_on", "code")
    if state in {one.value for one in CampaignState}:
        found = found.filter(state=state)
    if words:
        found = found.filter(
            Q(code__icontains=words)
            | Q(title__icontains=words)
            | Q(maker_number__icontains=words)
            | Q(regulator_number__icontains=words)
        )
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    rows = campaign_rows(
        campaigns=list(page.object_list),
        store_ids=[store_of(request).pk],
        today=timezone.localdate(),
    )
    context = {
        "page_obj": page,
        "rows": rows,
        "running": sum(r.campaign.state == CampaignState.RUNNING for r in rows),
        "open": sum(r.counts.still_open for r in rows),
        "may_edit": may_edit(request),
        "q": words,
        "state": state,
        "states": [(s.value, CAMPAIGN_STATE_WORDS[s]) for s in CampaignState],
    }
    return render(request, "campaigns/campaigns.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def new_campaign(request: HttpRequest) -> HttpResponse:
    """Enter a campaign."""
    form = CampaignForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            campaign = enter_campaign(
                code=form.cleaned_data["code"],
                facts=form.facts(),
                supplier=form.cleaned_data["supplier"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The campaign is entered. Now its criteria."))
            return redirect("campaigns:criteria", campaign.code)
    status = 200 if not form.errors else 400
    return render(request, "campaigns/campaign_new.html", {"form": form}, status=status)


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def campaign_page(request: HttpRequest, code: str) -> HttpResponse:
    """Show how one campaign stands in this store."""
    campaign, store = campaign_of(code), store_of(request)
    today = timezone.localdate()
    told = counts(campaign=campaign, store_ids=[store.pk])
    population = reverse("campaigns:population", args=[code])
    urls = {key: f"{population}?stretch={key}" for key, *_rest in told.stretches()}
    context = _frame(request, campaign) | {
        "counts": told,
        "sentence": sentence_of(campaign, told, today),
        "stretches": told.stretches(urls),
        "dates": key_dates(campaign, today),
        "entries": next_acts(campaign, store, told, today),
        "class_words": CLASS_WORDS[CampaignClass(campaign.campaign_class)],
        "state_words": CAMPAIGN_STATE_WORDS[CampaignState(campaign.state)],
        "variants": variants_of(campaign),
        "in_work": version_in_work(campaign),
        "population_url": population,
    }
    return render(request, "campaigns/campaign.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def edit_campaign(request: HttpRequest, code: str) -> HttpResponse:
    """Change the facts of a campaign; the earlier ones are kept."""
    campaign = campaign_of(code)
    # The form writes into its own copy; the domain compares with the row.
    form = AmendForm(posted(request), instance=campaign_of(code))
    if request.method == "POST" and form.is_valid():
        try:
            amend_facts(
                campaign=campaign,
                facts=form.facts(),
                why=form.cleaned_data["why"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The facts are changed."))
            return redirect("campaigns:campaign", code)
    context = _frame(request, campaign) | {"form": form}
    status = 200 if not form.errors else 400
    return render(request, "campaigns/campaign_edit.html", context, status=status)


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def amendments(request: HttpRequest, code: str) -> HttpResponse:
    """Show the versions of a campaign: why, when, by whom, what changed."""
    campaign = campaign_of(code)
    versions = campaign.versions.select_related(
        "made_by", "applied_by"
    ).prefetch_related("criteria")
    page = Paginator(versions, PAGE).get_page(request.GET.get("page"))
    context = _frame(request, campaign) | {"page_obj": page}
    return render(request, "campaigns/campaign_amendments.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def close(request: HttpRequest, code: str) -> HttpResponse:
    """Close a campaign, or show what is left to do before."""
    campaign = campaign_of(code)
    form = CloseForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            close_campaign(
                campaign=campaign,
                why=form.cleaned_data["why"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The campaign is closed."))
            return redirect("campaigns:campaign", code)
    left = [(one, _left_url(campaign, one.kind)) for one in what_is_left(campaign)]
    context = _frame(request, campaign) | {
        "form": form,
        "left": left,
        "counts": counts(campaign=campaign, store_ids=None),
    }
    status = 200 if not form.errors else 409
    return render(request, "campaigns/campaign_close.html", context, status=status)


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def reopen(request: HttpRequest, code: str) -> HttpResponse:
    """Let a closed campaign run again."""
    campaign, form = campaign_of(code), WhyForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Say why the campaign is opened again."))
        return redirect("campaigns:campaign", code)
    reopen_campaign(
        campaign=campaign,
        why=form.cleaned_data["why"],
        by=staff_of(request),
        at=timezone.now(),
    )
    messages.success(request, _("The campaign runs again."))
    return redirect("campaigns:campaign", code)


def _frame(request: HttpRequest, campaign: Campaign) -> dict[str, Any]:
    """Give what every page of a campaign shows."""
    return {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "may_edit": may_edit(request),
    }


def _left_url(campaign: Campaign, kind: LeftKind) -> str:
    """Give the page where what is left can be done."""
    population = reverse("campaigns:population", args=[campaign.code])
    if kind is LeftKind.OPEN_VEHICLES:
        return f"{population}?stretch=open"
    return next_place(campaign, kind)


def next_place(campaign: Campaign, kind: LeftKind) -> str:
    """Give the place of a campaign that a kind of work belongs to."""
    names = {
        LeftKind.VISITS: "campaign_visits",
        LeftKind.REPAIRS: "campaign_visits",
        LeftKind.CLAIMS: "account",
    }
    return place_url(names.get(kind, "campaign_parts"), campaign)


patterns: list[URLPattern] = [
    path("campaigns/", campaign_list, name="campaigns"),
    path("campaigns/new/", new_campaign, name="new_campaign"),
    path("campaigns/<str:code>/", campaign_page, name="campaign"),
    path("campaigns/<str:code>/edit/", edit_campaign, name="edit_campaign"),
    path("campaigns/<str:code>/amendments/", amendments, name="amendments"),
    path("campaigns/<str:code>/close/", close, name="close_campaign"),
    path("campaigns/<str:code>/reopen/", reopen, name="reopen_campaign"),
]
