"""Pages: what is open about the vehicles of a campaign, worked off as a list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from campaigns.domain.deciding import decide_many, find_out
from campaigns.forms.population import DecideManyForm, FoundOutForm
from campaigns.models import CampaignVehicle
from campaigns.models.words import WORK_WORDS
from campaigns.queries.open_questions import (
    QUESTION_WORDS,
    Question,
    count_questions,
    missing_fields,
    open_questions,
    settled,
)
from campaigns.queries.population import sentences
from campaigns.rules.lifecycle import WorkState
from campaigns.views.places import add_refusal, campaign_of, campaign_places, may_edit
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from django import forms
    from django.http import HttpRequest, HttpResponse

    from campaigns.models import Campaign

PAGE = 25


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def open_questions_page(request: HttpRequest, code: str) -> HttpResponse:
    """List the vehicles with one sort of question; that with the first is shown first."""
    return _show(request, campaign_of(code))


@require_POST
@guarded(Capability.EDIT_VEHICLES)
def found_out(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Write down the missing fact of one vehicle and match it again."""
    campaign, store = campaign_of(code), store_of(request)
    rows = CampaignVehicle.objects.in_store(store).select_related(
        "vehicle", "store", "campaign"
    )
    row = get_object_or_404(rows, campaign=campaign, pk=pk)
    form = _fact_form(row, request)
    if form.is_valid():
        try:
            row = find_out(
                row=row,
                facts=form.facts(),
                source=form.cleaned_data["source"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(
                request,
                _("Kept. Vehicle %(vin)s is “%(state)s” now.")
                % {
                    "vin": row.vehicle.vin,
                    "state": WORK_WORDS[WorkState(row.work_state)],
                },
            )
            return _back(code, Question.FACT)
    return _show(request, campaign, question=Question.FACT, refused=(row.pk, form))


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def decide(request: HttpRequest, code: str, question: str) -> HttpResponse:
    """Say of the chosen vehicles whether they belong to the campaign."""
    campaign = campaign_of(code)
    asked = Question(question) if question in set(Question) else Question.UNLISTED
    form = DecideManyForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        try:
            n = decide_many(
                campaign=campaign,
                store=store_of(request),
                row_ids=given["row"],
                belongs=given["belongs"],
                why=given["why"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            said = (
                ngettext("%(n)d vehicle belongs.", "%(n)d vehicles belong.", n)
                if given["belongs"]
                else ngettext("%(n)d vehicle is out.", "%(n)d vehicles are out.", n)
            )
            messages.success(request, said % {"n": n})
            return _back(code, asked)
    return _show(request, campaign, question=asked, decision=form)


def _back(code: str, question: Question) -> HttpResponse:
    url = reverse("campaigns:open_questions", args=[code])
    return redirect(f"{url}?question={question.value}")


def _fact_form(row: CampaignVehicle, request: HttpRequest | None) -> FoundOutForm:
    return FoundOutForm(
        None if request is None else request.POST,
        prefix=f"v{row.pk}",
        instance=row.vehicle,
        wanted=missing_fields(row.reasons),
        today=timezone.localdate(),
    )


def _show(
    request: HttpRequest,
    campaign: Campaign,
    *,
    question: Question | None = None,
    refused: tuple[int, forms.ModelForm] | None = None,  # type: ignore[type-arg]
    decision: DecideManyForm | None = None,
) -> HttpResponse:
    """Show one sort of question; a form that was refused keeps what was typed."""
    store, staff = store_of(request), staff_of(request)
    counts = count_questions(campaign=campaign, store=store)
    asked = question or _asked(request, counts)
    found = open_questions(campaign=campaign, store=store, question=asked)
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    may_tell = staff.may(Capability.EDIT_VEHICLES, store.pk)
    rows = []
    for row in page.object_list:
        form = None
        if asked is Question.FACT and may_tell and missing_fields(row.reasons):
            mine = refused is not None and refused[0] == row.pk
            form = refused[1] if mine and refused else _fact_form(row, None)
        rows.append((row, sentences(row.reasons), form))
    chosen = decision.data.getlist("row") if decision is not None else []  # type: ignore[attr-defined]
    context = {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "asked": asked.value,
        "asked_words": QUESTION_WORDS[asked],
        "questions": [(one.value, QUESTION_WORDS[one], n) for one, n in counts.items()],
        "total": sum(counts.values()),
        "page_obj": page,
        "rows": rows,
        "may_edit": may_edit(request),
        "decision": decision or DecideManyForm(),
        "chosen": [int(one) for one in chosen if one.isdecimal()],
        "settled": settled(campaign=campaign, store=store),
    }
    status = 400 if refused or decision is not None else 200
    return render(request, "campaigns/open_questions.html", context, status=status)


def _asked(request: HttpRequest, counts: dict[Question, int]) -> Question:
    """Give the question that the address names, else the first with vehicles."""
    named = request.GET.get("question", "")
    if named in set(Question):
        return Question(named)
    return next((one for one, n in counts.items() if n), Question.FACT)


patterns: list[URLPattern] = [
    path(
        "campaigns/<str:code>/population/questions/",
        open_questions_page,
        name="open_questions",
    ),
    path(
        "campaigns/<str:code>/population/questions/<int:pk>/",
        found_out,
        name="found_out",
    ),
    path(
        "campaigns/<str:code>/population/questions/<str:question>/decide/",
        decide,
        name="decide_questions",
    ),
]
