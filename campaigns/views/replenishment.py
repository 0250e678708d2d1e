"""Pages: proposals to order or to return, and the decision on each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from campaigns.documents.proposal import cost_words, draw_cost_curve, proposal_pdf
from campaigns.documents.reports import draw_curve
from campaigns.domain import replenishment as domain
from campaigns.domain.reckoning import RECONCILE, reconcile_now
from campaigns.forms.replenishment import AcceptForm, ChangeForm, DeclineForm
from campaigns.queries import replenishment as queries
from campaigns.queries.moves import moves_of
from campaigns.queries.outlook import course_so_far, position_of
from campaigns.queries.working import cautions_of, doubts_of, steps_of
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from dealership.documents.pdf import page_of
from dealership.models import Job
from dealership.rules.jobs import JobState
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.rules.workdays import business_day_from
from dealership.templatetags.formats import day_words
from dealership.views.files import file_answer
from dealership.views.guards import guarded, staff_of, store_of
from dealership.views.jobs import job_card
from inventory.forecasting.horizon import risk_date
from inventory.forms.fields import new_key
from inventory.views.places import parts_places


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

    from django import forms
    from django.http import HttpRequest, HttpResponse
    from django.urls import URLPattern

    from campaigns.models import Replenishment
    from campaigns.queries.moves import PartMove

ROWS = 20


@require_safe
@guarded(Capability.SEE_PARTS)
def proposals(request: HttpRequest) -> HttpResponse:
    """List what is to be decided by its last day, then the rest."""
    staff, store, today = staff_of(request), store_of(request), timezone.localdate()
    rows = queries.proposals_of(staff, store)
    open_now = list(queries.to_decide(rows))
    shown = request.GET.get("show", "")
    below = queries.decided(rows) if shown == "decided" else queries.nothing_to_do(rows)
    context = {
        "to_decide": [(one, queries.said(one)) for one in open_now],
        "page_obj": Paginator(below, ROWS).get_page(request.GET.get("page")),
        "shown": shown,
        "sentence": _list_sentence(open_now, today),
        "today": today,
        "key": new_key(),
        "job": _latest_run(request),
        "parts_places": parts_places(request),
        "may_decide": staff.may(Capability.ORDER_PARTS, store.pk),
    }
    return render(request, "campaigns/proposals.html", context)


def _list_sentence(open_now: list[Replenishment], today: dt.date) -> str:
    """Say how many wait and which comes first."""
    if not open_now:
        return _("No part needs an order or a return today.")
    first = open_now[0]
    act, _why = queries.said(first)
    return ngettext(
        "One part waits for your decision, due %(when)s: %(part)s. %(act)s",
        "%(n)d parts wait for your decision; begin with %(part)s: %(act)s",
        len(open_now),
    ) % {
        "n": len(open_now),
        "part": first.part.number,
        "when": day_words(first.act_by, today),
        "act": act,
    }


def _latest_run(request: HttpRequest) -> object:
    """Give the card of the latest run for this store or all, if it runs or failed."""
    store = store_of(request)
    jobs = Job.objects.filter(kind=RECONCILE)
    mine = jobs.filter(store=store) | jobs.filter(store=None)
    job = mine.order_by("-created_at").first()
    if job is None or job.due_at > timezone.now():
        return None
    if job.is_finished and job.state != JobState.FAILED:
        return None
    return job_card(job, staff_of(request), timezone.now())


def _found(request: HttpRequest, pk: int) -> Replenishment:
    """Give a proposal of a store in which this person has a post, or answer 404."""
    rows = queries.proposals_of(staff_of(request), store_of(request))
    return get_object_or_404(rows, pk=pk)


@require_safe
@guarded(Capability.SEE_PARTS)
def proposal(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one proposal, everything behind it, and what can be done."""
    return _page(request, _found(request, pk))


def _page(
    request: HttpRequest, one: Replenishment, bad: forms.Form | None = None
) -> HttpResponse:
    staff, store, today = staff_of(request), store_of(request), timezone.localdate()
    rows = queries.proposals_of(staff, store)
    is_open = one.state == ProposalState.OPEN
    journeys = _journeys(request, [one.part_id]) if is_open else []
    initial = {"quantity": one.quantity or one.part.pack}
    context = {
        **_told(one, request),
        "earlier": queries.earlier(one, rows),
        "newer": None if is_open else queries.newer(one, rows),
        "is_open": is_open,
        "may_decide": is_open and staff.may(Capability.ORDER_PARTS, store.pk),
        "accept_form": AcceptForm(),
        "change_form": bad
        if isinstance(bad, ChangeForm)
        else ChangeForm(initial=initial, prefix="change"),
        "decline_form": bad
        if isinstance(bad, DeclineForm)
        else DeclineForm(prefix="decline"),
        "moves": journeys,
        "may_send": any(one.send_url for one in journeys),
        "refused": bad,
        "today": today,
        "parts_places": parts_places(request),
    }
    return render(
        request, "campaigns/proposal.html", context, status=409 if bad else 200
    )


def _told(
    one: Replenishment, request: HttpRequest, *, narrow: bool = False
) -> dict[str, Any]:
    """Give what page and paper tell alike: text, pictures, table, every number.

    ``narrow``: the curves are to stand side by side.
    """
    store, today = store_of(request), timezone.localdate()
    act, why = queries.said(one)
    position = position_of(part=one.part, store=store, today=today)
    risk = risk_date(position) if position is not None else None
    curve = one.facts.get("curve", [])
    course = course_so_far(one.facts.get("campaigns", []), store=store, today=today)
    chosen, currency = one.quantity, store.currency
    return {
        "proposal": one,
        "store": store,
        "act": act,
        "why": why,
        "choices": queries.choices_of_sizes(one),
        "steps": steps_of(one),
        "cautions": cautions_of(one) + doubts_of(one, store=store, today=today),
        "course": course,
        "course_drawn": mark_safe(  # noqa: S308 (our own drawing of numbers)
            draw_curve(
                course.points,
                last_week=course.last_week,
                said=course.said,
                fan=course.fan,
                narrow=narrow,
            )
            if course
            else ""
        ),
        "figures": queries.figures_of(one),
        "moved": queries.moved(one),
        "runway": queries.runway_of(one, store=store, today=today, risk_from=risk),
        "risk_on": risk,
        "cost_curve": draw_cost_curve(
            curve, chosen=chosen, currency=currency, narrow=narrow
        ),
        "cost_said": cost_words(curve, chosen=chosen, currency=currency),
        "returning": one.kind == ProposalKind.RETURN,
        "nothing": one.kind == ProposalKind.NOTHING,
    }


@require_safe
@guarded(Capability.SEE_PARTS)
def paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a proposal as a paper to print or to file."""
    one = _found(request, pk)
    context = {**_told(one, request, narrow=True), "printed_at": timezone.localtime()}
    pdf = proposal_pdf(context, page=page_of(store_of(request).paper))
    name = f"proposal-{one.part.number}-{one.made_on:%Y-%m-%d}.pdf"
    return file_answer(pdf, name, shown=True)


@dataclass(frozen=True, slots=True)
class Journey:
    """A move with the address of the form that sends it, filled in; empty: none.

    ``elsewhere``: the form stands in the giver's store, which must be chosen first.
    """

    of: PartMove
    send_url: str
    elsewhere: bool

    @property
    def fields(self) -> tuple[tuple[str, str], ...]:
        """Give what chooses the giver's store and then opens the form."""
        return ("store", str(self.of.giver.pk)), ("next", self.send_url)


def _journeys(
    request: HttpRequest, part_ids: Collection[int] | None = None
) -> list[Journey]:
    """Find the moves to and from this store, and where each is sent."""
    staff, store = staff_of(request), store_of(request)
    arrives = business_day_from(timezone.localdate() + timedelta(days=1))
    return [
        Journey(
            of=one,
            send_url=_send_url(one, arrives)
            if one.from_pocket and staff.may(Capability.MOVE_PARTS, one.giver.pk)
            else "",
            elsewhere=one.giver.pk != store.pk,
        )
        for one in moves_of(staff=staff, store=store, part_ids=part_ids)
    ]


def _send_url(move: PartMove, arrives: dt.date) -> str:
    """Give the address of the form that sends a move, filled in."""
    why = ngettext(
        "serves about %(n)s customer more there",
        "serves about %(n)s customers more there",
        round(move.move.served),
    ) % {"n": max(1, round(move.move.served))}
    asked = {
        "part": move.part.number,
        "quantity": move.from_pocket,
        "earmark": move.earmark.code if move.earmark else "",
        "to_store": move.taker.pk,
        "expected_on": arrives.isoformat(),
        "why": why,
    }
    return f"{reverse('inventory:new_transfer')}?{urlencode(asked)}"


@require_safe
@guarded(Capability.SEE_PARTS)
def moves(request: HttpRequest) -> HttpResponse:
    """List pieces that would serve more customers at another store of the group."""
    staff, store = staff_of(request), store_of(request)
    journeys = _journeys(request)
    context = {
        "moves": journeys,
        "may_send": any(one.send_url for one in journeys),
        "store": store,
        "several": len(staff.store_ids()) > 1,
        "parts_places": parts_places(request),
    }
    return render(request, "campaigns/moves.html", context)


@require_POST
@guarded(Capability.ORDER_PARTS)
def accept(request: HttpRequest, pk: int) -> HttpResponse:
    """Place the order or box the return as proposed."""
    one = _found(request, pk)
    form = AcceptForm(request.POST)
    if not form.is_valid():
        return _page(request, one, form)
    try:
        done = domain.accept(
            key=form.cleaned_data["key"],
            proposal=one,
            by=staff_of(request),
            at=timezone.now(),
        )
    except Refusal as refusal:
        form.add_error(None, refusal.sentence)
        return _page(request, _found(request, pk), form)
    return _after(request, done)


@require_POST
@guarded(Capability.ORDER_PARTS)
def change(request: HttpRequest, pk: int) -> HttpResponse:
    """Order or return another number of pieces."""
    one = _found(request, pk)
    form = ChangeForm(request.POST, prefix="change")
    if not form.is_valid():
        return _page(request, one, form)
    try:
        done = domain.change(
            **form.cleaned_data, proposal=one, by=staff_of(request), at=timezone.now()
        )
    except Refusal as refusal:
        form.add_error(None, refusal.sentence)
        return _page(request, _found(request, pk), form)
    return _after(request, done)


@require_POST
@guarded(Capability.ORDER_PARTS)
def decline(request: HttpRequest, pk: int) -> HttpResponse:
    """Do nothing of what is proposed."""
    one = _found(request, pk)
    form = DeclineForm(request.POST, prefix="decline")
    if not form.is_valid():
        return _page(request, one, form)
    try:
        done = domain.decline(
            **form.cleaned_data, proposal=one, by=staff_of(request), at=timezone.now()
        )
    except Refusal as refusal:
        form.add_error(None, refusal.sentence)
        return _page(request, _found(request, pk), form)
    return _after(request, done)


def _after(request: HttpRequest, done: Replenishment) -> HttpResponse:
    """Say what was done and lead on."""
    if done.order is not None:
        said = _("Order %(number)d over %(n)d pieces is placed.") % {
            "number": done.order.number,
            "n": done.done_quantity or 0,
        }
    elif done.goods_return is not None:
        said = _("Return %(number)d of %(n)d pieces is boxed; ship it by %(day)s.") % {
            "number": done.goods_return.number,
            "n": done.done_quantity or 0,
            "day": done.act_by,
        }
    else:
        said = _("Declined. The reason is kept; tomorrow's run looks again.")
    messages.success(request, said)
    if done.goods_return is not None:
        return redirect("inventory:goods_return", pk=done.goods_return.pk)
    return redirect("campaigns:proposals")


@require_POST
@guarded(Capability.ORDER_PARTS)
def work_out(request: HttpRequest) -> HttpResponse:
    """Have the proposals of this store worked out now."""
    form = AcceptForm(request.POST)
    if not form.is_valid():
        raise PermissionDenied
    job = reconcile_now(
        key=form.cleaned_data["key"],
        store=store_of(request),
        by=staff_of(request),
        now=timezone.now(),
    )
    messages.info(request, _("Stock is being set against the open vehicles."))
    return redirect(reverse("dealership:job", args=[job.pk]))


patterns: list[URLPattern] = [
    path("proposals/", proposals, name="proposals"),
    path("proposals/now/", work_out, name="work_out_proposals"),
    path("proposals/<int:pk>/", proposal, name="proposal"),
    path("proposals/moves/", moves, name="moves"),
    path("proposals/<int:pk>/paper/", paper, name="proposal_paper"),
    path("proposals/<int:pk>/accept/", accept, name="accept_proposal"),
    path("proposals/<int:pk>/change/", change, name="change_proposal"),
    path("proposals/<int:pk>/decline/", decline, name="decline_proposal"),
]
