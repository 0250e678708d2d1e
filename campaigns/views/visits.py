"""Pages: the week with the list of a day, one visit, and the visits of a campaign."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.domain.booking import (
    cancel_visit,
    mark_arrived,
    mark_missed,
    move_visit,
)
from campaigns.domain.loans import hand_out_loan, take_back_loan
from campaigns.domain.verifying import plan_own_stock
from campaigns.forms.visits import CancelForm, DayForm, MoveForm, PlanForm
from campaigns.models import CampaignVehicle, Loan, Visit
from campaigns.queries.labour import visit_labour
from campaigns.queries.room import WEEK, loads, skill_words, week_of
from campaigns.queries.visits import (
    jobs_of,
    lines_of,
    overdue_visits,
    own_stock_of,
    visit_rows,
    visits_between,
    visits_of_campaign,
    week_days,
)
from campaigns.queries.waiting import waiting_list
from campaigns.rules.lifecycle import VISIT_MOVES, VisitState
from campaigns.views.places import add_refusal, campaign_of, campaign_places
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.templatetags.formats import long_day
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse

    from campaigns.queries.room import DayLoad
    from campaigns.queries.visits import VisitLine


@require_safe
@guarded(Capability.USE_COUNTER)
def visits(request: HttpRequest) -> HttpResponse:
    """Show a day's list, its week, and the visits nobody came to."""
    staff, store, today = staff_of(request), store_of(request), timezone.localdate()
    form = DayForm(request.GET)
    day = (form.cleaned_data["day"] if form.is_valid() else None) or today
    week = week_of(day)
    listed = visits_between(staff=staff, store=store, first=week[0], last=week[-1])
    lines = [one for one in listed if one.visit.on == day]
    seen = loads(store=store, first=week[0], days=WEEK, today=today)
    context = {
        "day": day,
        "today": today,
        "form": form,
        "lines": lines,
        "overdue": overdue_visits(staff=staff, store=store, today=today),
        "week": week_days(seen, listed),
        "week_before": week[0] - dt.timedelta(days=WEEK),
        "week_after": week[0] + dt.timedelta(days=WEEK),
        "sentence": _day_sentence(lines, day, today),
        "full": _full_words(seen),
        "may_plan": staff.may(Capability.PLAN_WORKSHOP, store.pk),
        "may_book": staff.may(Capability.BOOK_VISITS, store.pk),
    }
    return render(request, "campaigns/visits.html", context)


def _day_sentence(lines: list[VisitLine], day: dt.date, today: dt.date) -> str:
    """Say how a day stands and what to do next."""
    expected = [one for one in lines if one.visit.state == VisitState.BOOKED]
    missing = [one for one in expected if not one.parts_held]
    when = _("today") if day == today else long_day(day)
    if not expected:
        return _("Nobody is expected %(when)s.") % {"when": when}
    jobs = jobs_of(expected)
    said = ngettext(
        "%(n)s vehicle is expected %(when)s with %(jobs)s",
        "%(n)s vehicles are expected %(when)s with %(jobs)s",
        len(expected),
    ) % {
        "n": len(expected),
        "when": when,
        "jobs": ngettext("%(n)s job", "%(n)s jobs", jobs) % {"n": jobs},
    }
    if missing:
        return said + _("; the parts of %(n)s are not on the shelf yet.") % {
            "n": len(missing)
        }
    return said + _("; all their parts are on the shelf.")


def _full_words(week: list[DayLoad]) -> str:
    """Say on which days more is planned than there are hours or loan cars."""
    said = [
        _("%(day)s (%(skills)s)")
        % {
            "day": long_day(one.day),
            "skills": ", ".join(skill_words(hours.skill) for hours in one.over),
        }
        if one.over[0].skill
        else long_day(one.day)
        for one in week
        if one.over
    ]
    short = [long_day(one.day) for one in week if one.loans.free < 0]
    words = []
    if said:
        words.append(_("More hours planned than there are: %s.") % ", ".join(said))
    if short:
        words.append(
            _("More loan cars promised than there are: %s.") % ", ".join(short)
        )
    return " ".join(words)


def _visit_of(request: HttpRequest, pk: int) -> Visit:
    """Give the visit of an address, or answer 404."""
    return get_object_or_404(
        Visit.objects.for_staff(staff_of(request)).select_related("store", "vehicle"),
        pk=pk,
    )


def _visit_to_change(request: HttpRequest, pk: int) -> Visit:
    """Give the visit, or answer 403 to who may not book in its store."""
    found = _visit_of(request, pk)
    if not staff_of(request).may(Capability.BOOK_VISITS, found.store_id):
        raise PermissionDenied
    return found


@require_safe
@guarded(Capability.USE_COUNTER)
def visit(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one visit, its jobs and parts, and what can be done with it."""
    return _visit_page(request, _visit_of(request, pk))


def _visit_page(
    request: HttpRequest, found: Visit, form: MoveForm | None = None
) -> HttpResponse:
    (line,) = lines_of(visit_rows(Visit.objects.filter(pk=found.pk)))
    staff, today = staff_of(request), timezone.localdate()
    row = line.visit
    moves = VISIT_MOVES[VisitState(row.state)]
    may_book = staff.may(Capability.BOOK_VISITS, row.store_id)
    booked = row.state == VisitState.BOOKED
    context = {
        "line": line,
        "visit": row,
        "today": today,
        "sentence": _visit_sentence(line, today),
        "may_arrive": may_book and VisitState.ARRIVED in moves,
        "may_miss": may_book and VisitState.MISSED in moves and row.on <= today,
        "may_cancel": may_book and VisitState.CANCELLED in moves,
        "may_repair": staff.may(Capability.RECORD_REPAIRS, row.store_id)
        and row.state in {VisitState.BOOKED, VisitState.ARRIVED},
        "move_form": (form or _move_form(row)) if may_book and booked else None,
        "cancel_form": CancelForm(),
        "week": loads(store=row.store, first=today, days=2 * WEEK, today=today)
        if booked
        else [],
        "loan": line.loan,
        "may_take_back": may_book,
        "may_lend": may_book
        and line.loan is not None
        and row.state in {VisitState.BOOKED, VisitState.ARRIVED},
        "cautions": _cautions(line),
        "labour": visit_labour(row, today=today),
    }
    status = 409 if form else 200
    return render(request, "campaigns/visit.html", context, status=status)


def _move_form(row: Visit) -> MoveForm:
    """Prepare another day for a visit."""
    return MoveForm(initial={"key": uuid.uuid4(), "on": row.on, "hour": row.at})


def _cautions(line: VisitLine) -> list[str]:
    """Give the cautions of each job's remedy, each once."""
    found = (one.job.variant.remedy.cautions for one in line.jobs)
    return list(dict.fromkeys(text for text in found if text))


def _visit_sentence(line: VisitLine, today: dt.date) -> str:
    """Say how a visit stands and what to do next."""
    state = VisitState(line.visit.state)
    said = _booked_words(line, today) if state is VisitState.BOOKED else _words(state)
    return said % {"day": long_day(line.visit.on)}


def _words(state: VisitState) -> str:
    """Say how a visit stands that has begun or ended."""
    return {
        VisitState.ARRIVED: _("The vehicle is here; open the repair of each job."),
        VisitState.DONE: _("Done on %(day)s."),
        VisitState.MISSED: _("Nobody came on %(day)s; the parts are free again."),
        VisitState.CANCELLED: _("Called off; the parts are free again."),
    }[state]


def _booked_words(line: VisitLine, today: dt.date) -> str:
    """Say what a booked visit still wants."""
    if line.visit.on < today:
        return _("Nobody has said whether the vehicle came on %(day)s.")
    if line.parts_held:
        return _("Expected on %(day)s; all parts are on the shelf.")
    return _("Expected on %(day)s; parts come with a delivery before that.")


@require_POST
@guarded(Capability.BOOK_VISITS)
def visit_arrived(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that the vehicle is here."""
    found = _visit_to_change(request, pk)
    try:
        mark_arrived(visit=found, by=staff_of(request), at=timezone.now())
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    return redirect("campaigns:visit", pk)


@require_POST
@guarded(Capability.BOOK_VISITS)
def visit_missed(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that the vehicle did not come."""
    found = _visit_to_change(request, pk)
    try:
        mark_missed(
            visit=found,
            by=staff_of(request),
            at=timezone.now(),
            today=timezone.localdate(),
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    return redirect("campaigns:visit", pk)


@require_POST
@guarded(Capability.BOOK_VISITS)
def visit_cancelled(request: HttpRequest, pk: int) -> HttpResponse:
    """Call the visit off."""
    found = _visit_to_change(request, pk)
    form = CancelForm(request.POST)
    why = form.cleaned_data["why"] if form.is_valid() else ""
    try:
        cancel_visit(
            visit=found,
            by=staff_of(request),
            at=timezone.now(),
            today=timezone.localdate(),
            why=why,
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    return redirect("campaigns:visit", pk)


@require_POST
@guarded(Capability.BOOK_VISITS)
def visit_moved(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the visit another day."""
    found = _visit_to_change(request, pk)
    form = MoveForm(request.POST)
    if form.is_valid():
        try:
            moved = move_visit(
                key=str(form.cleaned_data["key"]),
                visit=found,
                to=form.cleaned_data["on"],
                hour=form.cleaned_data["hour"],
                over_hours=form.cleaned_data["over_hours"],
                by=staff_of(request),
                at=timezone.now(),
                today=timezone.localdate(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(
                request,
                _("The visit is on %(day)s now.") % {"day": long_day(moved.on)},
            )
            return redirect("campaigns:visit", pk)
    return _visit_page(request, found, form)


@require_POST
@guarded(Capability.BOOK_VISITS)
def loan_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that the customer drives off with the loan car."""
    return _loan_moved(request, pk, hand_out_loan)


@require_POST
@guarded(Capability.BOOK_VISITS)
def loan_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that the loan car is back."""
    return _loan_moved(request, pk, take_back_loan)


def _loan_moved(
    request: HttpRequest, pk: int, act: Callable[..., Loan]
) -> HttpResponse:
    """Change the loan of a visit, or say why not."""
    loan = get_object_or_404(Loan, visit=_visit_to_change(request, pk))
    try:
        act(loan=loan, by=staff_of(request), at=timezone.now())
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    return redirect("campaigns:visit", pk)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.SEE_CAMPAIGNS)
def campaign_visits(request: HttpRequest, code: str) -> HttpResponse:
    """Show who is booked, who waits, and which own vehicles are to be planned."""
    campaign = campaign_of(code)
    staff, store, today = staff_of(request), store_of(request), timezone.localdate()
    may_book = staff.may(Capability.BOOK_VISITS, store.pk)
    if request.method == "POST":
        if not may_book:
            raise PermissionDenied
        return _plan(request, code)
    booked = visits_of_campaign(staff=staff, store=store, campaign=campaign)
    asked = [
        one
        for one in waiting_list(store=store, today=today)
        if one.campaign.pk == campaign.pk
    ]
    own = own_stock_of(staff=staff, store=store, campaign=campaign)
    context = {
        "campaign": campaign,
        "campaign_places": campaign_places(request, campaign),
        "lines": booked,
        "asked": asked,
        "own_stock": [(row, _plan_form(row) if may_book else None) for row in own],
        "offered": sum(one.is_offered for one in asked),
        "unplanned": sum(row.planned_on is None for row in own),
        "today": today,
        "may_book": may_book,
    }
    return render(request, "campaigns/campaign_visits.html", context)


def _plan_form(row: CampaignVehicle) -> PlanForm:
    """Prepare the planned day of one own vehicle."""
    return PlanForm(
        initial={"campaign_vehicle": row.pk, "planned_on": row.planned_on},
        auto_id=f"id_{row.pk}_%s",
    )


def _plan(request: HttpRequest, code: str) -> HttpResponse:
    """Set the planned day of one own vehicle."""
    form = PlanForm(request.POST)
    if not form.is_valid():
        messages.error(
            request, _("Enter the planned day as a date, or leave it empty.")
        )
        return redirect("campaigns:campaign_visits", code)
    row = get_object_or_404(
        CampaignVehicle.objects.for_staff(staff_of(request)).in_store(
            store_of(request)
        ),
        campaign__code=code,
        pk=form.cleaned_data["campaign_vehicle"],
    )
    try:
        plan_own_stock(
            row=row,
            on=form.cleaned_data["planned_on"],
            by=staff_of(request),
            at=timezone.now(),
        )
        messages.success(request, _("The planned day is kept."))
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    return redirect("campaigns:campaign_visits", code)


patterns = [
    path("visits/", visits, name="visits"),
    path("visits/<int:pk>/", visit, name="visit"),
    path("visits/<int:pk>/arrived/", visit_arrived, name="visit_arrived"),
    path("visits/<int:pk>/missed/", visit_missed, name="visit_missed"),
    path("visits/<int:pk>/cancelled/", visit_cancelled, name="visit_cancelled"),
    path("visits/<int:pk>/moved/", visit_moved, name="visit_moved"),
    path("visits/<int:pk>/loan-out/", loan_out, name="loan_out"),
    path("visits/<int:pk>/loan-back/", loan_back, name="loan_back"),
    path("campaigns/<str:code>/visits/", campaign_visits, name="campaign_visits"),
]
