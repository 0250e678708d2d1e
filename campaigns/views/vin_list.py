"""Pages: the manufacturer's list of VINs."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from campaigns.domain.vin_lists import (
    Choices,
    NoVinColumn,
    ask_list,
    preview_list,
    refused_file,
)
from campaigns.forms.vin_list import ListChoicesForm, ListFileForm
from campaigns.queries.population import last_list_job, listed_without_vehicle
from campaigns.views.places import (
    add_refusal,
    campaign_of,
    campaign_places,
    may_edit,
    posted,
)
from dealership.domain.uploads import keep_upload
from dealership.models import Upload
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import CSV, file_answer
from dealership.views.guards import guarded, staff_of, store_of
from dealership.views.jobs import job_card


if TYPE_CHECKING:
    import uuid

    from django.http import HttpRequest

    from campaigns.models import Campaign

PAGE = 50
KEEP = dt.timedelta(days=3_652)
"""Lists of a campaign are kept ten years (the manufacturer's duty under 49 CFR 576.5)."""


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def vin_list(request: HttpRequest, code: str) -> HttpResponse:
    """Upload a list, and see what came of the last one."""
    campaign, store = campaign_of(code), store_of(request)
    form = ListFileForm(posted(request), request.FILES or None)
    if request.method == "POST" and form.is_valid():
        file, now = form.cleaned_data["file"], timezone.now()
        try:
            upload = keep_upload(
                file=file,
                name=file.name,
                store=store,
                by=staff_of(request),
                at=now,
                keep_until=timezone.localdate(now) + KEEP,
            )
            preview_list(upload=upload)
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            return redirect("campaigns:vin_list_choices", code, upload.pk)
    job = last_list_job(campaign, store)
    context = _frame(request, campaign) | {
        "form": form,
        "listed": campaign.listed.count(),
        "mine": campaign.listed.filter(store=store).count(),
        "unknown": listed_without_vehicle(campaign).filter(store=store).count(),
        "job": job,
        "card": job_card(job, staff_of(request), timezone.now()) if job else None,
        "last_upload": job.arguments.get("upload_id") if job else "",
    }
    status = 200 if not form.errors else 400
    return render(request, "campaigns/vin_list.html", context, status=status)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def vin_list_choices(
    request: HttpRequest, code: str, upload_id: uuid.UUID
) -> HttpResponse:
    """Show how a list was read and let the column be corrected, then take it in."""
    campaign = campaign_of(code)
    upload = _upload_of(request, upload_id)
    wanted = request.POST.get("column", request.GET.get("column", ""))
    preview = preview_list(upload=upload, column=_column(wanted))
    form = ListChoicesForm(
        posted(request),
        preview=preview,
        initial={"listed_on": timezone.localdate()},
    )
    if request.method == "POST" and form.is_valid():
        try:
            ask_list(
                campaign=campaign,
                upload=upload,
                choices=form.chosen(),
                listed_on=form.cleaned_data["listed_on"],
                store=store_of(request),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The list is being read."))
            return redirect("campaigns:vin_list", code)
    context = _frame(request, campaign) | {
        "form": form,
        "upload": upload,
        "preview": preview,
    }
    status = 200 if not form.errors else 400
    return render(request, "campaigns/vin_list_choices.html", context, status=status)


@require_safe
@guarded(Capability.EDIT_CAMPAIGNS)
def vin_list_refused(
    request: HttpRequest, code: str, upload_id: uuid.UUID
) -> HttpResponse:
    """Give the refused rows of a list as a file."""
    campaign_of(code)
    upload = _upload_of(request, upload_id)
    column = _column(request.GET.get("column", ""))
    if column is None:
        raise BadRequest
    choices = Choices(column=column, sheet=request.GET.get("sheet", ""))
    try:
        content = refused_file(upload=upload, choices=choices)
    except NoVinColumn as refusal:
        raise Http404(refusal.sentence) from refusal
    return file_answer(content, f"refused-{code}.csv", kind=CSV)


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def unknown_vins(request: HttpRequest, code: str) -> HttpResponse:
    """List the VINs of the list that the vehicle file does not have."""
    campaign = campaign_of(code)
    found = listed_without_vehicle(campaign).filter(store=store_of(request))
    search = request.GET.get("q", "").strip().upper()
    if search:
        found = found.filter(vin__contains=search)
    page = Paginator(found.order_by("vin"), PAGE).get_page(request.GET.get("page"))
    context = _frame(request, campaign) | {"page_obj": page, "q": search}
    return render(request, "campaigns/vin_list_unknown.html", context)


def _column(text: str) -> int | None:
    """Read the number of a column; None for what is none."""
    short = len(text) <= len("150")
    return int(text) if short and text.isascii() and text.isdecimal() else None


def _upload_of(request: HttpRequest, upload_id: uuid.UUID) -> Upload:
    """Give a kept file of this person's stores, or answer 404."""
    kept = Upload.objects.for_staff(staff_of(request)).filter(erased_at__isnull=True)
    return get_object_or_404(kept, pk=upload_id)


def _frame(request: HttpRequest, campaign: Campaign) -> dict[str, Any]:
    """Give what every page of a campaign shows."""
    return {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "may_edit": may_edit(request),
    }


patterns: list[URLPattern] = [
    path("campaigns/<str:code>/population/list/", vin_list, name="vin_list"),
    path(
        "campaigns/<str:code>/population/list/unknown/",
        unknown_vins,
        name="unknown_vins",
    ),
    path(
        "campaigns/<str:code>/population/list/<uuid:upload_id>/",
        vin_list_choices,
        name="vin_list_choices",
    ),
    path(
        "campaigns/<str:code>/population/list/<uuid:upload_id>/refused/",
        vin_list_refused,
        name="vin_list_refused",
    ),
]
