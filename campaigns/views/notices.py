"""Papers and entries at the counter: what was told, what was put right."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from campaigns.documents.notices import notice_pdf, proof_pdf
from campaigns.domain.notices import give_notice
from campaigns.models import NoticeGiven
from campaigns.queries.notices import can_be_proven, told_in
from campaigns.queries.repairs import repairs_with_all
from campaigns.rules.lifecycle import ToldHow
from campaigns.views.counter import vehicle_of
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import file_answer
from dealership.views.guards import guarded, hold_to_store, staff_of
from dealership.views.presses import key_of


if TYPE_CHECKING:
    from django.http import HttpRequest


@require_POST
@guarded(Capability.USE_COUNTER)
def customer_told(request: HttpRequest, vin: str) -> HttpResponse:
    """Keep that the customer was told of every open campaign; print it if asked."""
    vehicle = vehicle_of(request, vin)
    hold_to_store(request, vehicle.store_id)
    printed = request.POST.get("how") == ToldHow.PRINTED
    try:
        notice = give_notice(
            key=key_of(request),
            vehicle=vehicle,
            how=ToldHow.PRINTED if printed else ToldHow.SPOKEN,
            by=staff_of(request),
            at=timezone.now(),
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
        return redirect("campaigns:counter", vehicle.vin)
    if printed:
        return redirect("campaigns:notice_paper", notice.pk)
    messages.success(
        request,
        _("It is kept that the customer was told of %(codes)s.")
        % {"codes": ", ".join(notice.campaigns)},
    )
    return redirect("campaigns:counter", vehicle.vin)


@require_safe
@guarded(Capability.USE_COUNTER)
def notice_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a notice as a paper, as it was told."""
    notice = get_object_or_404(
        NoticeGiven.objects.for_staff(staff_of(request)).select_related(
            "vehicle", "store", "by"
        ),
        pk=pk,
    )
    told = told_in(notice, today=timezone.localdate(notice.at))
    pdf = notice_pdf(notice, told, store=notice.store)
    name = f"open-campaigns-{notice.vehicle.vin}.pdf"
    return file_answer(pdf, name, shown=True)


@require_safe
@guarded(Capability.USE_COUNTER)
def proof_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the owner's proof that a campaign's work is done."""
    repair = get_object_or_404(repairs_with_all().for_staff(staff_of(request)), pk=pk)
    if not can_be_proven(repair):
        raise Http404
    pdf = proof_pdf(repair, store=repair.store)
    name = f"proof-of-correction-{repair.repair_order}.pdf"
    return file_answer(pdf, name, shown=True)


patterns = [
    path("counter/<str:vin>/told/", customer_told, name="customer_told"),
    path("notices/<int:pk>/notice.pdf", notice_paper, name="notice_paper"),
    path("repairs/<int:pk>/proof.pdf", proof_paper, name="proof_paper"),
]
