"""Pages: bills beside the work of a repair, and what a campaign pays of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from campaigns.domain.repair_extras import add_extra, note_paper, set_limit
from campaigns.forms.extras import ExtraForm, ExtraLimitsForm, PaperForm
from campaigns.models import RepairExtra
from campaigns.queries.extras import extras_of, kinds_offered
from campaigns.queries.repairs import repairs_with_all
from campaigns.queries.wording import EVIDENCE_WORDS
from campaigns.rules.lifecycle import ClaimLineKind
from campaigns.views.places import (
    add_refusal,
    campaign_of,
    campaign_places,
    may_edit,
    posted,
)
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from campaigns.models import Repair


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.RECORD_REPAIRS)
def repair_extras(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the bills of a repair with what the campaign pays, and add one."""
    repair = _repair(request, pk)
    form = ExtraForm(posted(request))
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            add_extra(
                key=given["key"],
                repair=repair,
                kind=form.kind_given(),
                title=given["title"],
                cents=given["cents"],
                days=given["days"],
                evidence=given["evidence"],
                dated=given["dated"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The bill is written down."))
            return redirect("campaigns:repair_extras", pk)
    row = repair.campaign_vehicle
    context = {
        "repair": repair,
        "extras": extras_of(repair),
        "offered": kinds_offered(row.campaign) if row else [],
        "form": form if row else None,
    }
    status = 400 if form.errors else 200
    return render(request, "campaigns/repair_extras.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.RECORD_REPAIRS)
def extra_paper(request: HttpRequest, pk: int, extra: int) -> HttpResponse:
    """Write down number and date of the paper that proves a bill."""
    repair = _repair(request, pk)
    row = get_object_or_404(RepairExtra.objects.filter(repair=repair), pk=extra)
    form = PaperForm(
        posted(request), initial={"evidence": row.evidence, "dated": row.dated}
    )
    if request.method == "POST" and form.is_valid():
        try:
            note_paper(
                extra=row,
                evidence=form.cleaned_data["evidence"],
                dated=form.cleaned_data["dated"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The paper is noted."))
            return redirect("campaigns:repair_extras", pk)
    context = {
        "repair": repair,
        "extra": row,
        "wants": EVIDENCE_WORDS[ClaimLineKind(row.kind)],
        "form": form,
    }
    status = 400 if form.errors else 200
    return render(request, "campaigns/repair_extra.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def extra_limits(request: HttpRequest, code: str) -> HttpResponse:
    """Show and change what a campaign pays beside the work."""
    campaign = campaign_of(code)
    form = ExtraLimitsForm(posted(request), offered=kinds_offered(campaign))
    if request.method == "POST" and form.is_valid():
        for kind, limits in form.limits().items():
            set_limit(
                campaign=campaign,
                kind=kind,
                limits=limits,
                by=staff_of(request),
                at=timezone.now(),
            )
        messages.success(request, _("What the campaign pays is written down."))
        return redirect("campaigns:remedy", code)
    context = {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "may_edit": may_edit(request),
        "form": form,
    }
    status = 400 if form.errors else 200
    return render(request, "campaigns/extra_limits.html", context, status=status)


def _repair(request: HttpRequest, pk: int) -> Repair:
    """Give a repair to record on, or answer 404 or 403."""
    found: Repair = get_object_or_404(
        repairs_with_all().for_staff(staff_of(request)), pk=pk
    )
    if not staff_of(request).may(Capability.RECORD_REPAIRS, found.store_id):
        raise PermissionDenied
    return found


patterns = [
    path("repairs/<int:pk>/extras/", repair_extras, name="repair_extras"),
    path("repairs/<int:pk>/extras/<int:extra>/", extra_paper, name="extra_paper"),
    path("campaigns/<str:code>/remedy/extras/", extra_limits, name="extra_limits"),
]
