"""Pages: claims, sent and paid."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from campaigns.domain.claims import (
    record_payment,
    reject,
    submit,
    submit_many,
    write_off,
)
from campaigns.forms.claims import (
    PaymentForm,
    RejectClaimForm,
    SendClaimForm,
    SendClaimsForm,
    WriteOffClaimForm,
)
from campaigns.models import Claim
from campaigns.models.words import CLAIM_WORDS
from campaigns.queries.claim_gaps import gap_words, gaps_by_claim, lacks_facts
from campaigns.queries.claims import (
    STILL_OPEN,
    claim_counts,
    claims_for,
    evidence_of,
)
from campaigns.rules.lifecycle import CLAIM_MOVES, ClaimState
from campaigns.views.money_places import money_places
from campaigns.views.places import add_refusal
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of


if TYPE_CHECKING:
    from collections.abc import Callable

    from django import forms
    from django.http import HttpRequest, HttpResponse

A_PAGE = 100


@require_safe
@guarded(Capability.SEE_MONEY)
def claims(request: HttpRequest) -> HttpResponse:
    """List the store's claims: those that want doing first."""
    return _claims_page(request)


@require_POST
@guarded(Capability.EDIT_MONEY)
def submit_claims(request: HttpRequest) -> HttpResponse:
    """Note that the ticked claims were sent together."""
    ready = claims_for(staff_of(request), store_of(request)).filter(
        state__in=[ClaimState.READY, ClaimState.REJECTED, ClaimState.SUBMITTED]
    )
    form = SendClaimsForm(request.POST, ready=list(ready.values_list("pk", flat=True)))
    if form.is_valid():
        data = form.cleaned_data
        chosen = list(ready.filter(pk__in=data["claims"]).order_by("number"))
        try:
            sent = submit_many(
                key=data["key"],
                claims=chosen,
                dated=data["dated"],
                reference=data["reference"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            words = ngettext(
                "%(count)d claim is noted as sent.",
                "%(count)d claims are noted as sent.",
                len(sent),
            )
            messages.success(request, words % {"count": len(sent)})
            return redirect("campaigns:claims")
    return _claims_page(request, form)


@require_safe
@guarded(Capability.SEE_MONEY)
def claim_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one claim: its lines, its steps, and what may be done next."""
    return _claim_page(request, _claim(request, pk))


@require_POST
@guarded(Capability.EDIT_MONEY)
def submit_claim(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that the claim was sent."""
    claim = _claim_to_edit(request, pk)
    form = SendClaimForm(request.POST, auto_id="id_send_%s")

    def act() -> Claim:
        data = form.cleaned_data
        return submit(
            key=data["key"],
            claim=claim,
            dated=data["dated"],
            reference=data["reference"],
            by=staff_of(request),
            at=timezone.now(),
        )

    return _do(request, claim, "send", form, act)


@require_POST
@guarded(Capability.EDIT_MONEY)
def pay_claim(request: HttpRequest, pk: int) -> HttpResponse:
    """Record what was paid, line by line."""
    claim = _claim_to_edit(request, pk)
    form = PaymentForm(request.POST, claim=claim, auto_id="id_pay_%s")

    def act() -> Claim:
        data = form.cleaned_data
        return record_payment(
            key=data["key"],
            claim=claim,
            paid=form.paid(),
            dated=data["dated"],
            advice=data["advice"],
            by=staff_of(request),
            at=timezone.now(),
        )

    return _do(request, claim, "pay", form, act)


@require_POST
@guarded(Capability.EDIT_MONEY)
def reject_claim(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that the manufacturer refused the claim."""
    claim = _claim_to_edit(request, pk)
    form = RejectClaimForm(request.POST, auto_id="id_reject_%s")

    def act() -> Claim:
        data = form.cleaned_data
        return reject(
            key=data["key"],
            claim=claim,
            why=data["why"],
            dated=data["dated"],
            reference=data["reference"],
            by=staff_of(request),
            at=timezone.now(),
        )

    return _do(request, claim, "reject", form, act)


@require_POST
@guarded(Capability.EDIT_MONEY)
def write_off_claim(request: HttpRequest, pk: int) -> HttpResponse:
    """Give up what is still open on the claim."""
    claim = _claim_to_edit(request, pk)
    form = WriteOffClaimForm(request.POST, auto_id="id_write_off_%s")

    def act() -> Claim:
        data = form.cleaned_data
        return write_off(
            key=data["key"],
            claim=claim,
            why=data["why"],
            dated=data["dated"],
            by=staff_of(request),
            at=timezone.now(),
        )

    return _do(request, claim, "write_off", form, act)


def _claim(request: HttpRequest, pk: int) -> Claim:
    """Give a claim of this person's stores, or answer 404."""
    rows = Claim.objects.for_staff(staff_of(request)).select_related(
        "store", "campaign__earmark", "repair__vehicle"
    )
    found: Claim = get_object_or_404(rows, pk=pk)
    hold_to_store(request, found.store_id)
    return found


def _claim_to_edit(request: HttpRequest, pk: int) -> Claim:
    """Give a claim, or answer 403 to who may not change money in its store."""
    claim = _claim(request, pk)
    if not staff_of(request).may(Capability.EDIT_MONEY, claim.store_id):
        raise PermissionDenied
    return claim


def _do(
    request: HttpRequest,
    claim: Claim,
    step: str,
    form: forms.Form,
    act: Callable[[], Claim],
) -> HttpResponse:
    """Take one step of a claim, or show its form again with what is wrong."""
    if form.is_valid():
        try:
            done = act()
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            words = _("Claim %(number)d is now “%(state)s”.")
            state = CLAIM_WORDS[ClaimState(done.state)]
            messages.success(request, words % {"number": done.number, "state": state})
            return redirect("campaigns:claim", done.pk)
    claim.refresh_from_db(fields=["state"])
    return _claim_page(request, claim, **{step: form})


def _claims_page(
    request: HttpRequest, form: SendClaimsForm | None = None
) -> HttpResponse:
    staff, store = staff_of(request), store_of(request)
    rows = claims_for(staff, store)
    state = request.GET.get("state", "")
    shown = rows.filter(state=state) if state in CLAIM_WORDS else rows
    if state == "":
        shown = rows.filter(state__in=STILL_OPEN)
    page = Paginator(shown, A_PAGE).get_page(request.GET.get("page"))
    today = timezone.localdate()
    gaps = gaps_by_claim(list(page), today=today)
    lines = [
        (one, gap_words(gaps.get(one.pk, [])), not lacks_facts(gaps.get(one.pk, [])))
        for one in page
    ]
    context = {
        "page_obj": page,
        "rows": lines,
        "gaps": sum(not whole for _claim, _words, whole in lines),
        "state": state,
        "states": [(one.value, CLAIM_WORDS[one]) for one in ClaimState],
        "counts": claim_counts(staff, store),
        "form": form or SendClaimsForm(ready=[], initial={"dated": today}),
        "may_edit": staff.may(Capability.EDIT_MONEY, store.pk),
        "money_places": money_places(request),
    }
    return render(request, "campaigns/claims.html", context)


def _claim_page(request: HttpRequest, claim: Claim, **bad: forms.Form) -> HttpResponse:
    staff, today = staff_of(request), timezone.localdate()
    lines = list(claim.lines.select_related("part_fitted__part", "extra"))
    gaps = gaps_by_claim([claim], today=today).get(claim.pk, [])
    may = CLAIM_MOVES[ClaimState(claim.state)]
    day = {"dated": today}
    forms_now: dict[str, forms.Form] = {}
    if staff.may(Capability.EDIT_MONEY, claim.store_id):
        if ClaimState.SUBMITTED in may:
            forms_now["send"] = SendClaimForm(initial=day, auto_id="id_send_%s")
        if ClaimState.PAID in may:
            forms_now["pay"] = PaymentForm(
                claim=claim, initial=day, auto_id="id_pay_%s"
            )
        if ClaimState.REJECTED in may:
            forms_now["reject"] = RejectClaimForm(initial=day, auto_id="id_reject_%s")
        if ClaimState.WRITTEN_OFF in may:
            forms_now["write_off"] = WriteOffClaimForm(
                initial=day, auto_id="id_write_off_%s"
            )
    context = {
        "claim": claim,
        "lines": lines,
        "claimed_cents": sum(line.claimed_cents for line in lines),
        "paid_cents": sum(line.paid_cents for line in lines),
        "given_up_cents": sum(line.written_off_cents for line in lines),
        "acts": claim.acts.select_related("by"),
        "forms": {**forms_now, **bad},
        "bad": next(iter(bad), ""),
        "gaps": gap_words(gaps),
        "lacks_facts": lacks_facts(gaps),
        "evidence": evidence_of(claim),
    }
    context["open_cents"] = (
        context["claimed_cents"] - context["paid_cents"] - context["given_up_cents"]  # type: ignore[operator]
    )
    return render(request, "campaigns/claim.html", context)


patterns = [
    path("claims/", claims, name="claims"),
    path("claims/send/", submit_claims, name="submit_claims"),
    path("claims/<int:pk>/", claim_page, name="claim"),
    path("claims/<int:pk>/send/", submit_claim, name="submit_claim"),
    path("claims/<int:pk>/pay/", pay_claim, name="pay_claim"),
    path("claims/<int:pk>/reject/", reject_claim, name="reject_claim"),
    path("claims/<int:pk>/write-off/", write_off_claim, name="write_off_claim"),
]
