"""Pages: the criteria of a campaign."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.domain.amending import (
    abandon_amendment,
    drop_criterion,
    is_busy,
    open_amendment,
    save_criterion,
    version_in_work,
)
from campaigns.domain.announcing import ruling_version
from campaigns.forms.criteria import CriterionForm
from campaigns.models import Criterion
from campaigns.queries.criteria import known_words, sentence_of
from campaigns.queries.criteria_look import look_at
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
from vehicles.rules.criteria import CriterionAsksNothing


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from campaigns.models import Campaign


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def add_criterion(request: HttpRequest, code: str) -> HttpResponse:
    """Write a further criterion."""
    return _edit(request, campaign_of(code), Criterion())


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def criteria_page(request: HttpRequest, code: str) -> HttpResponse:
    """Show the criteria that rule and those in work, each in a sentence."""
    campaign = campaign_of(code)
    version = version_in_work(campaign)
    ruling = ruling_version(campaign)
    shown = version or ruling
    rows = list(shown.criteria.all()) if shown else []
    context = {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "may_edit": may_edit(request) and not (version and is_busy(version)),
        "version": version,
        "busy": version is not None and is_busy(version),
        "ruling": ruling,
        "criteria": [(row, sentence_of(row)) for row in rows],
        "includes": any(row.include for row in rows),
        "listed": campaign.listed.count(),
    }
    return render(request, "campaigns/criteria.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def edit_criterion(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Change a criterion; one that rules already is changed in a new version."""
    campaign = campaign_of(code)
    criterion = get_object_or_404(Criterion, pk=pk, version__campaign=campaign)
    return _edit(request, campaign, criterion)


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def drop(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a criterion out."""
    campaign = campaign_of(code)
    now, staff = timezone.now(), staff_of(request)
    try:
        drop_criterion(
            campaign=campaign,
            criterion_id=_in_work(campaign, pk, request),
            by=staff,
            at=now,
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, _("The criterion is taken out. Match again."))
    return redirect("campaigns:criteria", code)


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def abandon(request: HttpRequest, code: str) -> HttpResponse:
    """Leave the version in work aside."""
    try:
        abandon_amendment(
            campaign=campaign_of(code), by=staff_of(request), at=timezone.now()
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, _("The amendment is left aside; nothing changed."))
    return redirect("campaigns:criteria", code)


def _in_work(campaign: Campaign, pk: int, request: HttpRequest) -> int:
    """Give the id of a criterion in the version in work.

    A criterion of the version that rules has its copy there, at the same place.
    """
    criterion = get_object_or_404(Criterion, pk=pk, version__campaign=campaign)
    version = open_amendment(campaign=campaign, by=staff_of(request), at=timezone.now())
    if criterion.version_id == version.pk:
        return pk
    place = criterion.version.criteria.filter(pk__lt=pk).order_by("pk").count()
    copies = list(version.criteria.order_by("pk").values_list("pk", flat=True))
    return copies[place] if place < len(copies) else pk


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def look(request: HttpRequest, code: str, pk: int = 0) -> HttpResponse:
    """Say what the criterion would do as it is typed; nothing is kept."""
    campaign = campaign_of(code)
    criterion = (
        get_object_or_404(Criterion, pk=pk, version__campaign=campaign)
        if pk
        else Criterion()
    )
    form = CriterionForm(request.POST, instance=criterion)
    context = _look(request, campaign, form)
    return render(request, "campaigns/criteria_look.html", context)


def _look(
    request: HttpRequest, campaign: Campaign, form: CriterionForm
) -> dict[str, object]:
    """Give what a criterion would do, or why that cannot be said yet."""
    if form.is_bound and not form.is_valid():
        return {"wait": _("Mend what is marked in the form to see what it would do.")}
    criterion = form.instance
    version = version_in_work(campaign) or ruling_version(campaign)
    others = list(version.criteria.order_by("pk")) if version else []
    if criterion.pk:
        place = criterion.version.criteria.filter(pk__lt=criterion.pk).count()
        del others[place : place + 1]
    try:
        found = look_at(criterion, others=others, store_ids=[store_of(request).pk])
    except CriterionAsksNothing:
        return {"wait": _("Fill in a field to see which vehicles it would meet.")}
    except Refusal as refusal:
        return {"wait": refusal.sentence}
    return {"look": found, "takes_in": criterion.include}


def _edit(
    request: HttpRequest, campaign: Campaign, criterion: Criterion
) -> HttpResponse:
    form = CriterionForm(posted(request), instance=criterion)
    only_look = "look" in request.POST
    if request.method == "POST" and form.is_valid() and not only_look:
        written = form.save(commit=False)
        try:
            if written.pk:
                written.pk = _in_work(campaign, written.pk, request)
            save_criterion(
                campaign=campaign,
                criterion=written,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The criterion is written down."))
            return redirect("campaigns:criteria", campaign.code)
    context = {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "form": form,
        "criterion": criterion,
        "known": known_words(),
        **_look(request, campaign, form),
    }
    status = 200 if not form.errors else 400
    return render(request, "campaigns/criteria_edit.html", context, status=status)


patterns: list[URLPattern] = [
    path("campaigns/<str:code>/population/criteria/", criteria_page, name="criteria"),
    path(
        "campaigns/<str:code>/population/criteria/new/",
        add_criterion,
        name="new_criterion",
    ),
    path(
        "campaigns/<str:code>/population/criteria/new/look/",
        look,
        name="look_at_new_criterion",
    ),
    path(
        "campaigns/<str:code>/population/criteria/<int:pk>/look/",
        look,
        name="look_at_criterion",
    ),
    path(
        "campaigns/<str:code>/population/criteria/abandon/",
        abandon,
        name="abandon_amendment",
    ),
    path(
        "campaigns/<str:code>/population/criteria/<int:pk>/",
        edit_criterion,
        name="edit_criterion",
    ),
    path(
        "campaigns/<str:code>/population/criteria/<int:pk>/drop/",
        drop,
        name="drop_criterion",
    ),
]
