"""Pages: the workshop's repairs and the job card."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.documents.job_card import job_card_pdf
from campaigns.domain.repairs import (
    abandon_repair,
    complete_repair,
    open_repair,
    record_reading,
)
from campaigns.forms.repairs import (
    AbandonRepairForm,
    CompleteRepairForm,
    OpenRepairForm,
    ReadingForm,
)
from campaigns.models import CampaignVehicle, Repair, ScheduledItem, VisitJob
from campaigns.models.words import READING_WORDS
from campaigns.queries.claim_gaps import gap_words, gaps_by_claim
from campaigns.queries.labour import repair_labour
from campaigns.queries.notices import can_be_proven
from campaigns.queries.remedies import plan_for
from campaigns.queries.repairs import (
    CheckNow,
    JobCard,
    checks_now,
    job_card,
    lines_of,
    repairs_with_all,
)
from campaigns.queries.wording import COVER_WORDS, REASON_WORDS
from campaigns.rules.lifecycle import ReadingResult, RepairState
from campaigns.views.places import add_refusal
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import file_answer
from dealership.views.guards import guarded, staff_of, store_of
from vehicles.models import Vehicle


if TYPE_CHECKING:
    from django.http import HttpRequest

    from campaigns.models import Claim, Variant
    from dealership.models import Store

A_PAGE = 50


@dataclass(frozen=True)
class Job:
    """What is about to be opened."""

    store: Store
    vehicle: Vehicle
    variant: Variant
    title: str
    visit_job: VisitJob | None = None
    campaign_vehicle: CampaignVehicle | None = None
    scheduled_item: ScheduledItem | None = None


@require_safe
@guarded(Capability.SEE_VEHICLES)
def repairs(request: HttpRequest) -> HttpResponse:
    """List the repairs of the store: those in the workshop first."""
    rows = repairs_with_all().for_staff(staff_of(request)).in_store(store_of(request))
    done = request.GET.get("state") == "done"
    in_work = rows.filter(state=RepairState.OPEN)
    if done:
        shown = rows.exclude(state=RepairState.OPEN).order_by("-completed_at", "-pk")
    else:
        shown = in_work.order_by("opened_at", "pk")
    page = Paginator(shown, A_PAGE).get_page(request.GET.get("page"))
    context = {"page_obj": page, "done": done, "in_work": in_work.count()}
    return render(request, "campaigns/repairs.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.RECORD_REPAIRS)
def open_repair_page(request: HttpRequest) -> HttpResponse:
    """Show which job is begun, and begin it."""
    given = request.POST if request.method == "POST" else request.GET
    job = _job(request, given.get)
    _may_record(request, job.store.pk)
    initial = {name: given.get(name, "") for name in _JOB_NAMES}
    initial["technician"] = str(staff_of(request).pk)
    form = OpenRepairForm(request.POST or None, store=job.store, initial=initial)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            repair = open_repair(
                key=data["key"],
                store=job.store,
                visit_job=job.visit_job,
                campaign_vehicle=job.campaign_vehicle,
                scheduled_item=job.scheduled_item,
                vehicle=job.vehicle,
                variant=job.variant,
                technician=data["technician"],
                repair_order=data["repair_order"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            return redirect("campaigns:repair", repair.pk)
    return render(request, "campaigns/repair_open.html", {"form": form, "job": job})


@require_safe
@guarded(Capability.SEE_VEHICLES)
def repair_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the job card while work goes on, and what was done once it is over."""
    repair = _repair(request, pk)
    if repair.state != RepairState.OPEN:
        return _done_page(request, repair)
    card = job_card(repair, today=timezone.localdate())
    return _card_page(request, card, step=request.GET.get("step", ""))


@require_POST
@guarded(Capability.RECORD_REPAIRS)
def record_check(request: HttpRequest, pk: int, check_pk: int) -> HttpResponse:
    """Record one attempt at a check and say what it means."""
    repair = _repair_to_record(request, pk)
    card = job_card(repair, today=timezone.localdate())
    now = next((one for one in card.checks if one.check.pk == check_pk), None)
    if now is None:
        raise Http404
    stopped = now.result is ReadingResult.STOP
    form = ReadingForm(request.POST, unit=now.check.unit, stopped=stopped)
    if form.is_valid():
        data = form.cleaned_data
        try:
            reading = record_reading(
                repair=repair,
                check=now.check,
                value=data["value"],
                unit=data["unit"],
                attempt=data["attempt"],
                asked=data.get("asked", ""),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            return _after_reading(request, repair, now, reading.result)
    return _card_page(request, card, step=f"check-{check_pk}", reading_form=form)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.RECORD_REPAIRS)
def complete_repair_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign the repair off."""
    repair = _repair_to_record(request, pk)
    if request.method != "POST":
        return redirect(_step_url(repair, "finish"))
    card = job_card(repair, today=timezone.localdate())
    form = CompleteRepairForm(request.POST, card=card)
    if form.is_valid():
        data = form.cleaned_data
        try:
            done = complete_repair(
                key=data["key"],
                repair=repair,
                outcome=form.outcome_given(),
                used=form.used(),
                odometer=data["odometer"],
                odometer_why=data.get("odometer_why", ""),
                operations=form.operations_done() if card.operations else None,
                done_on=form.day(),
                technician=data["technician"],
                note=data["note"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _signed_off_words(done))
            return redirect("campaigns:repair", done.pk)
    return _card_page(request, card, step="finish", complete_form=form)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.RECORD_REPAIRS)
def abandon_repair_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Give up a repair that was opened by mistake."""
    repair = _repair_to_record(request, pk)
    form = AbandonRepairForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        abandon_repair(
            repair=repair,
            why=form.cleaned_data["why"],
            by=staff_of(request),
            at=timezone.now(),
        )
        messages.success(request, _("The repair is given up; nothing of it counts."))
        return redirect("campaigns:repair", repair.pk)
    context = {"form": form, "repair": repair}
    return render(request, "campaigns/repair_abandon.html", context)


@require_safe
@guarded(Capability.SEE_VEHICLES)
def job_card_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the job card as a paper."""
    repair = _repair(request, pk)
    card = job_card(repair, today=timezone.localdate())
    lines = lines_of(repair, checks=card.checks, labour=card.labour)
    pdf = job_card_pdf(card, lines=lines)
    return file_answer(pdf, f"job-card-{repair.repair_order}.pdf", shown=True)


_JOB_NAMES = ("visit_job", "campaign_vehicle", "scheduled_item", "vehicle")


def _repair(request: HttpRequest, pk: int) -> Repair:
    """Give a repair of this person's stores, or answer 404."""
    return get_object_or_404(repairs_with_all().for_staff(staff_of(request)), pk=pk)


def _repair_to_record(request: HttpRequest, pk: int) -> Repair:
    """Give a repair, or answer 403 to who records none in its store."""
    repair = _repair(request, pk)
    _may_record(request, repair.store_id)
    return repair


def _may_record(request: HttpRequest, store_id: int) -> None:
    if not staff_of(request).may(Capability.RECORD_REPAIRS, store_id):
        raise PermissionDenied


def _job(request: HttpRequest, given: object) -> Job:
    """Find the job that an address or form names, within this person's stores."""
    staff, today = staff_of(request), timezone.localdate()
    number = {name: _number(given(name, "")) for name in _JOB_NAMES}  # type: ignore[operator]
    if number["visit_job"]:
        job = get_object_or_404(
            VisitJob.objects.select_related(
                "visit__store",
                "visit__vehicle",
                "campaign_vehicle__campaign__earmark",
                "campaign_vehicle__vehicle",
                "scheduled_item",
                "variant",
            ).filter(visit__store__in=request.stores),  # type: ignore[attr-defined]
            pk=number["visit_job"],
        )
        row = job.campaign_vehicle
        title = row.campaign.title if row else job.variant.title
        return Job(
            store=job.visit.store,
            vehicle=job.visit.vehicle,
            variant=job.variant,
            title=title,
            visit_job=job,
        )
    if number["campaign_vehicle"]:
        row = get_object_or_404(
            CampaignVehicle.objects.for_staff(staff).select_related(
                "campaign__earmark", "vehicle", "store"
            ),
            pk=number["campaign_vehicle"],
        )
        return Job(
            store=row.store,
            vehicle=row.vehicle,
            variant=plan_for(row, today=today).variant,
            title=row.campaign.title,
            campaign_vehicle=row,
        )
    item = get_object_or_404(ScheduledItem, pk=number["scheduled_item"])
    vehicle = get_object_or_404(
        Vehicle.objects.for_staff(staff).select_related("store"), pk=number["vehicle"]
    )
    return Job(
        store=vehicle.store,
        vehicle=vehicle,
        variant=plan_for(item, vehicle=vehicle, today=today).variant,
        title=item.title,
        scheduled_item=item,
    )


def _number(text: str) -> int:
    """Read an id from an address; anything else finds nothing."""
    return int(text) if text.isdecimal() and len(text) < 18 else 0  # noqa: PLR2004 (fits a big integer)


def _step_url(repair: Repair, step: str) -> str:
    return f"{reverse('campaigns:repair', args=[repair.pk])}?step={step}"


def _after_reading(
    request: HttpRequest, repair: Repair, now: CheckNow, result: str
) -> HttpResponse:
    """Go on to the next open check, or stay with one that did not pass."""
    meant = ReadingResult(result)
    words = f"{now.check.title}: {READING_WORDS[meant]}"
    if meant is not ReadingResult.PASS:
        messages.warning(request, words)
        return redirect(_step_url(repair, f"check-{now.check.pk}"))
    messages.success(request, words)
    return redirect(_step_url(repair, _next_screen(repair, now)))


def _next_screen(repair: Repair, now: CheckNow) -> str:
    """Give what follows on a check that passed: the next screen not done yet."""
    fresh = job_card(repair, today=timezone.localdate())
    names = [(name, done) for name, _title, done in _sequence(fresh)]
    behind = [name for name, _done in names].index(f"check-{now.check.pk}")
    ahead = [name for name, done in names[behind + 1 :] if not done]
    if ahead[0] == "finish" and fresh.first_open:
        return f"check-{fresh.first_open.check.pk}"
    return ahead[0]


def _signed_off_words(repair: Repair) -> str:
    """Say what the sign-off has done."""
    claim = getattr(repair, "claim", None)
    if claim is None:
        return _("Signed off. The manufacturer is asked for nothing.")
    return _("Signed off. Claim %(number)d is ready to send.") % {
        "number": claim.number
    }


def _card_page(
    request: HttpRequest,
    card: JobCard,
    *,
    step: str,
    reading_form: ReadingForm | None = None,
    complete_form: CompleteRepairForm | None = None,
) -> HttpResponse:
    """Show one step of the job card."""
    repair = card.repair
    sequence = _sequence(card)
    names = [name for name, _title, _done in sequence]
    here = step if step in names else "start"
    place = names.index(here)
    checks = {f"check-{one.check.pk}": one for one in card.checks}
    check = checks.get(here)
    works = {f"work-{one.step.pk}": one for one in card.steps}
    may_record = staff_of(request).may(Capability.RECORD_REPAIRS, repair.store_id)
    context = {
        "repair": repair,
        "card": card,
        "step": here,
        "steps": _steps(card, sequence, here),
        "work": works.get(here),
        "before_url": _step_url(repair, names[place - 1]) if place else "",
        "after_url": _step_url(repair, names[place + 1]) if here != "finish" else "",
        "may_record": may_record,
        "cover": COVER_WORDS[card.cover.cover] if card.campaign else "",
        "cover_reasons": [REASON_WORDS[one] for one in card.cover.reasons],
        **(_check_context(check, reading_form) if check else {}),
    }
    if here == "finish":
        context["form"] = complete_form or CompleteRepairForm(
            card=card,
            initial={
                "done_on": card.today,
                "technician": repair.technician_id,
                "operations": [str(line.pk) for line in card.operations],
            },
        )
    return render(request, "campaigns/repair_card.html", context)


def _sequence(card: JobCard) -> list[tuple[str, str, bool]]:
    """Give the screens of the card in order: name, title, and whether it is done.

    Each step of the work is followed by the checks that belong to it; checks of no step
    come at the end.
    """
    found = [("start", _("Before you start"), True)]
    for one in card.steps:
        title = _("Step %(number)d") % {"number": one.number}
        found.append((f"work-{one.step.pk}", title, False))
        found += [_check_screen(check) for check in one.checks]
    found += [_check_screen(check) for check in card.checks_at_the_end]
    found.append(("finish", _("Parts and sign-off"), False))
    return found


def _check_screen(now: CheckNow) -> tuple[str, str, bool]:
    return (f"check-{now.check.pk}", now.check.title, now.closed)


def _steps(
    card: JobCard, sequence: list[tuple[str, str, bool]], here: str
) -> list[tuple[str, str, str]]:
    """Give the steps of the card with how each stands and its address."""
    return [
        (
            title,
            "now" if name == here else "done" if done else "next",
            _step_url(card.repair, name),
        )
        for name, title, done in sequence
    ]


def _check_context(now: CheckNow, form: ReadingForm | None) -> dict[str, object]:
    """Give one check and the form of its next attempt."""
    check = now.check
    stopped = now.result is ReadingResult.STOP
    return {
        "now": now,
        "form": form
        or ReadingForm(
            initial={"attempt": now.attempt}, unit=check.unit, stopped=stopped
        ),
        "left": max(check.attempts - len(now.readings), 0),
    }


def _gaps(claim: Claim | None) -> list[str]:
    """Say what the claim of a repair lacks while it is still to be sent."""
    if claim is None:
        return []
    found = gaps_by_claim([claim], today=timezone.localdate())
    return gap_words(found.get(claim.pk, []))


def _done_page(request: HttpRequest, repair: Repair) -> HttpResponse:
    """Show what was recorded of a repair that is over."""
    claim = getattr(repair, "claim", None)
    sees_money = staff_of(request).may(Capability.SEE_MONEY, repair.store_id)
    checks = checks_now(repair)
    labour = repair_labour(repair, today=timezone.localdate())
    context = {
        "repair": repair,
        "checks": checks,
        "lines": lines_of(repair, checks=checks, labour=labour),
        "labour": labour,
        "claim": claim if sees_money else None,
        "claimed": claim is not None,
        "signed_off": repair.state == RepairState.COMPLETED,
        "proven": can_be_proven(repair),
        "may_add_extras": repair.campaign_vehicle_id is not None
        and repair.state == RepairState.COMPLETED
        and staff_of(request).may(Capability.RECORD_REPAIRS, repair.store_id),
        "sent_back": _gaps(claim),
    }
    return render(request, "campaigns/repair_done.html", context)


patterns = [
    path("repairs/", repairs, name="repairs"),
    path("repairs/open/", open_repair_page, name="open_repair"),
    path("repairs/<int:pk>/", repair_page, name="repair"),
    path(
        "repairs/<int:pk>/checks/<int:check_pk>/", record_check, name="record_reading"
    ),
    path("repairs/<int:pk>/complete/", complete_repair_page, name="complete_repair"),
    path("repairs/<int:pk>/abandon/", abandon_repair_page, name="abandon_repair"),
    path("repairs/<int:pk>/job-card.pdf", job_card_paper, name="job_card"),
]
