"""Pages: matching a campaign, looking at the changes, applying them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from campaigns.domain.amending import version_in_work
from campaigns.domain.applying import ask_apply
from campaigns.domain.matching import ask_match, told_counts
from campaigns.forms.criteria import ApplyForm, ChangesFilter
from campaigns.models.words import CHANGE_WORDS
from campaigns.queries.amendment_effects import effects_of
from campaigns.queries.population import (
    changes_of,
    samples,
    sentences,
)
from campaigns.rules.lifecycle import Change, VersionState
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
from dealership.views.jobs import job_card


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from campaigns.models import CriteriaVersion

PAGE = 50


@require_http_methods(["GET", "POST"])
@guarded(Capability.SEE_CAMPAIGNS)
def match_page(request: HttpRequest, code: str) -> HttpResponse:
    """Show how far a match is, then what it would change; POST applies it."""
    campaign = campaign_of(code)
    version = version_in_work(campaign) or campaign.versions.first()
    if version is None:
        return redirect("campaigns:criteria", code)
    form = ApplyForm(posted(request))
    if request.method == "POST" and form.is_valid() and may_edit(request):
        try:
            ask_apply(
                version=version,
                why=form.cleaned_data["why"],
                store=store_of(request),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            return redirect("campaigns:match", code)
    stores = [store_of(request).pk]
    chosen = ChangesFilter(request.GET)
    chosen.is_valid()
    found = changes_of(
        version=version,
        store_ids=stores,
        change=chosen.cleaned_data.get("change", ""),
        search=chosen.cleaned_data.get("q", ""),
    )
    ready = version.state == VersionState.MATCHED
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    context = {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "may_edit": may_edit(request),
        "version": version,
        "told": told_counts(version),
        "groups": _groups(version, stores),
        "effects": effects_of(version) if ready else {},
        "form": form,
        "filter": chosen,
        "page_obj": page,
        "rows": [(row, sentences(row.reasons)) for row in page.object_list],
        "card": _card(request, version),
        "ready": ready,
    }
    status = 200 if not form.errors else 400
    return render(request, "campaigns/match.html", context, status=status)


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def start_match(request: HttpRequest, code: str) -> HttpResponse:
    """Match all vehicles in the background."""
    try:
        ask_match(
            campaign=campaign_of(code),
            store=store_of(request),
            by=staff_of(request),
            at=timezone.now(),
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
        return redirect("campaigns:criteria", code)
    return redirect("campaigns:match", code)


def _groups(
    version: CriteriaVersion, stores: list[int]
) -> list[tuple[str, str, int, list[str]]]:
    """Give each kind of change with its count in all stores and a sample of ours."""
    told = told_counts(version)
    shown = samples(version=version, store_ids=stores)
    return [
        (
            change.value,
            str(CHANGE_WORDS[change]),
            told[change.value],
            shown.get(change.value, []),
        )
        for change in Change
    ]


def _card(request: HttpRequest, version: CriteriaVersion) -> object:
    """Give the card of the job that is at work on a version, or failed."""
    working = version.state in {VersionState.MATCHING, VersionState.APPLYING}
    if version.job is None or not working:
        return None
    return job_card(version.job, staff_of(request), timezone.now())


patterns: list[URLPattern] = [
    path("campaigns/<str:code>/population/match/", match_page, name="match"),
    path(
        "campaigns/<str:code>/population/match/start/", start_match, name="start_match"
    ),
]
