"""Pages: new vehicles that a campaign holds, and the claim for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.documents.holding import holding_claim_pdf
from campaigns.domain.holding import (
    draw_holding_claim,
    keep_unsold,
    settle_holding_claim,
)
from campaigns.forms.holding import DrawClaimForm, SettleClaimForm, UnsoldForm
from campaigns.models import CampaignVehicle, HoldingClaim
from campaigns.models.payer import BASE_WORDS, DAY_COUNT_WORDS, END_WORDS, START_WORDS
from campaigns.queries.holding import unsold_of
from campaigns.rules.holding import Base, End, Start
from campaigns.rules.lifecycle import CampaignClass
from campaigns.views.places import add_refusal, campaign_of, campaign_places, posted
from dealership.rules.money import DayCount
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import file_answer
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of


if TYPE_CHECKING:
    from typing import Any

    from django.http import HttpRequest, HttpResponse

    from campaigns.rules.holding import Terms


@require_safe
@guarded(Capability.SEE_MONEY)
def unsold(request: HttpRequest, code: str) -> HttpResponse:
    """List the store's new vehicles that the campaign holds, with their amounts."""
    return _unsold_page(request, code, DrawClaimForm(initial=_day()))


@require_POST
@guarded(Capability.EDIT_MONEY)
def draw_claim(request: HttpRequest, code: str) -> HttpResponse:
    """Draw up one claim for all vehicles that have ended and have their price."""
    form = DrawClaimForm(request.POST)
    if form.is_valid():
        try:
            claim = draw_holding_claim(
                **form.cleaned_data,
                campaign=campaign_of(code),
                store=store_of(request),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(
                request, _("Claim %(number)d is drawn up.") % {"number": claim.number}
            )
            return redirect("campaigns:holding_claim", claim.pk)
    return _unsold_page(request, code, form)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_MONEY)
def edit_unsold(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Enter prices and days of one vehicle."""
    rows = CampaignVehicle.objects.for_staff(staff_of(request)).select_related(
        "campaign", "vehicle", "store", "unsold"
    )
    row: CampaignVehicle = get_object_or_404(
        rows.in_store(store_of(request)), pk=pk, campaign__code=code
    )
    stands = getattr(row, "unsold", None)
    first = {
        name: getattr(stands, name) for name in UnsoldForm.base_fields if stands
    } or {"notice_on": row.campaign.announced_on}
    form = UnsoldForm(posted(request), initial=first, currency=row.store.currency)
    if form.is_valid():
        try:
            keep_unsold(
                row=row,
                facts=form.cleaned_data,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The vehicle's prices and days are kept."))
            return redirect("campaigns:unsold", row.campaign.code)
    context = {
        "campaign": row.campaign,
        "campaign_places": campaign_places(request, row.campaign),
        "row": row,
        "form": form,
    }
    return render(request, "campaigns/unsold_vehicle.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.SEE_MONEY)
def claim_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a claim for unsold vehicles, and note what was paid on it."""
    claim = _claim(request, pk)
    may_edit = staff_of(request).may(Capability.EDIT_MONEY, claim.store_id)
    form = SettleClaimForm(posted(request), initial=_day())
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    if form.is_valid():
        try:
            settle_holding_claim(
                **form.cleaned_data,
                claim=claim,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("What was paid is noted."))
            return redirect("campaigns:holding_claim", claim.pk)
    context = _claim_facts(claim) | {
        "campaign_places": campaign_places(request, claim.campaign),
        "form": form if form.errors or (may_edit and not claim.settled_on) else None,
    }
    return render(request, "campaigns/holding_claim.html", context)


@require_safe
@guarded(Capability.SEE_MONEY)
def claim_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the claim as a letter to the manufacturer."""
    claim = _claim(request, pk)
    context = _claim_facts(claim) | {"printed_at": timezone.localtime()}
    name = f"unsold-{claim.campaign.code}-{claim.number}.pdf"
    return file_answer(holding_claim_pdf(context), name)


def _unsold_page(request: HttpRequest, code: str, form: DrawClaimForm) -> HttpResponse:
    campaign, store = campaign_of(code), store_of(request)
    terms, found = unsold_of(campaign=campaign, store=store, today=timezone.localdate())
    claims = HoldingClaim.objects.for_staff(staff_of(request)).in_store(store)
    ready = [one for one in found if one.can_be_claimed]
    context = {
        "campaign": campaign,
        "campaign_places": campaign_places(request, campaign),
        "rows": [
            (one, reverse("campaigns:edit_unsold", args=[campaign.code, one.row.pk]))
            for one in found
        ],
        "so_far_cents": sum(one.amount.cents or 0 for one in found if not one.line),
        "ready": len(ready),
        "ready_cents": sum(one.amount.cents or 0 for one in ready),
        "without_price": sum(one.wants_price for one in found),
        "claims": claims.filter(campaign=campaign),
        "terms": said_terms(terms),
        "is_safety": campaign.campaign_class == CampaignClass.SAFETY,
        "may_edit": staff_of(request).may(Capability.EDIT_MONEY, store.pk),
        "form": form,
    }
    return render(request, "campaigns/unsold.html", context)


def _claim(request: HttpRequest, pk: int) -> HoldingClaim:
    rows = HoldingClaim.objects.for_staff(staff_of(request)).select_related(
        "store", "campaign__supplier"
    )
    found: HoldingClaim = get_object_or_404(rows, pk=pk)
    hold_to_store(request, found.store_id)
    return found


def _claim_facts(claim: HoldingClaim) -> dict[str, Any]:
    lines = list(claim.lines.select_related("unsold__campaign_vehicle__vehicle"))
    return {
        "claim": claim,
        "campaign": claim.campaign,
        "store": claim.store,
        "lines": lines,
        "cents": sum(one.cents for one in lines),
        "terms": _said(claim.terms),
        "is_safety": claim.campaign.campaign_class == CampaignClass.SAFETY,
    }


def said_terms(terms: Terms) -> dict[str, object]:
    """Say terms in words."""
    return {
        "rate": float(terms.monthly_rate),
        "base": BASE_WORDS[terms.base],
        "start": START_WORDS[terms.start],
        "grace_days": terms.grace_days,
        "end": END_WORDS[terms.end],
        "day_count": DAY_COUNT_WORDS[terms.day_count],
    }


def _said(written: dict[str, Any]) -> dict[str, object]:
    """Say the terms that a claim keeps."""
    return {
        "rate": float(written["monthly_rate"]),
        "base": BASE_WORDS[Base(written["base"])],
        "start": START_WORDS[Start(written["start"])],
        "grace_days": written["grace_days"],
        "end": END_WORDS[End(written["end"])],
        "day_count": DAY_COUNT_WORDS[DayCount(written["day_count"])],
    }


def _day() -> dict[str, Any]:
    return {"dated": timezone.localdate()}


patterns: list[URLPattern] = [
    path("campaigns/<str:code>/money/unsold/", unsold, name="unsold"),
    path("campaigns/<str:code>/money/unsold/claim/", draw_claim, name="draw_claim"),
    path(
        "campaigns/<str:code>/money/unsold/<int:pk>/", edit_unsold, name="edit_unsold"
    ),
    path("money/unsold/<int:pk>/", claim_page, name="holding_claim"),
    path("money/unsold/<int:pk>.pdf", claim_paper, name="holding_claim_pdf"),
]
