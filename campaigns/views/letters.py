"""Pages: letters."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.domain import letters as acts
from campaigns.domain.letter_returns import book_return
from campaigns.forms.letter_batches import ReprintForm, SetForm
from campaigns.forms.letters import (
    DatedForm,
    DrawUpForm,
    ReturnForm,
    words_of,
)
from campaigns.models import Letter, LetterRound
from campaigns.models.words import OMISSION_WORDS
from campaigns.queries.letter_checks import RoundCheck, check_round
from campaigns.queries.letter_post import return_words, undecided
from campaigns.queries.letters import (
    register_heads,
    register_rows,
    rounds_of,
    why_not_set,
)
from campaigns.queries.reminders import reminders_of
from campaigns.rules.letter_returns import ReturnReason
from campaigns.rules.lifecycle import (
    CampaignState,
    OmissionReason,
    RoundKind,
    RoundState,
)
from campaigns.views.places import add_refusal, campaign_of, campaign_places
from dealership.documents.sheets import to_csv, to_xlsx
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import CSV, XLSX, file_answer
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of
from dealership.views.jobs import job_card
from dealership.views.presses import key_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponseBase

    from campaigns.models.letter import LetterRoundQuerySet
    from dealership.documents.sheets import Cell

AnswerT = TypeVar("AnswerT", bound="HttpResponseBase")
A_PAGE = 50


def _rounds(request: HttpRequest) -> LetterRoundQuerySet:
    """Give the rounds of the person's stores."""
    return LetterRound.objects.for_staff(staff_of(request))


def round_of(request: HttpRequest, pk: int) -> LetterRound:
    """Give a round of the person's stores; another store's is not found."""
    rounds = _rounds(request).select_related(
        "campaign", "store", "text", "job", "printed_by", "taken_to_post_by"
    )
    found: LetterRound = get_object_or_404(rounds, pk=pk)
    hold_to_store(request, found.store_id)
    return found


def _may_print(request: HttpRequest, store_id: int) -> bool:
    return staff_of(request).may(Capability.PRINT_LETTERS, store_id)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.SEE_LETTERS)
def letters(request: HttpRequest) -> HttpResponse:
    """List the store's rounds; book a letter that came back."""
    store = store_of(request)
    may_print = _may_print(request, store.pk)
    form = ReturnForm(request.POST or None, initial={"on": timezone.localdate()})
    if request.method == "POST":
        if not may_print:
            raise PermissionDenied
        booked = _book_return(request, form) if form.is_valid() else None
        if booked:
            return redirect("campaigns:letter", pk=booked.pk)
    rounds = rounds_of(_rounds(request).in_store(store))
    page = Paginator(rounds, A_PAGE).get_page(request.GET.get("page"))
    waiting = [one for one in page if one.state in _UNPOSTED]
    context = {
        "page_obj": page,
        "waiting": waiting,
        "first": next(iter(waiting), None),
        "form": form,
        "may_print": may_print,
        "undecided": undecided(
            Letter.objects.for_staff(staff_of(request)).filter(
                letter_round__store=store
            )
        ).count(),
    }
    return render(request, "campaigns/letters.html", context)


_UNPOSTED = {RoundState.DRAWN_UP, RoundState.PRINTING, RoundState.PRINTED}


def _book_return(request: HttpRequest, form: ReturnForm) -> Letter | None:
    """Book one returned letter; a refusal goes into the form."""
    data = form.cleaned_data
    code = data["code"].strip().upper()
    mine = Letter.objects.for_staff(staff_of(request)).filter(
        letter_round__store=store_of(request)
    )
    letter: Letter | None = mine.filter(code=code).first()
    if letter is None:
        form.add_error("code", _("No letter of this store has the code %s.") % code)
        return None
    try:
        book_return(
            letter=letter,
            why=ReturnReason(data["why"]),
            on=data["on"],
            by=staff_of(request),
            at=timezone.now(),
        )
    except Refusal as refusal:
        add_refusal(form, refusal)
        return None
    messages.success(
        request,
        _("Letter %s is booked as come back. Now decide what is done.") % code,
    )
    return letter


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.SEE_LETTERS)
def campaign_letters(request: HttpRequest, code: str) -> HttpResponse:
    """Show a campaign's rounds in the store, and draw up the next one."""
    campaign, store = campaign_of(code), store_of(request)
    form = DrawUpForm(request.POST or None)
    may_print = _may_print(request, store.pk)
    if request.method == "POST":
        if not may_print:
            raise PermissionDenied
        if form.is_valid():
            try:
                drawn = acts.draw_up_round(
                    key=form.cleaned_data["key"],
                    campaign=campaign,
                    store=store,
                    kind=RoundKind(form.cleaned_data["kind"]),
                    posted_by=form.cleaned_data["posted_by"],
                    scope=form.cleaned_data["scope"],
                    today=timezone.localdate(),
                    by=staff_of(request),
                    at=timezone.now(),
                )
            except Refusal as refusal:
                messages.error(request, refusal.sentence)
            else:
                return redirect("campaigns:letter_round", pk=drawn.pk)
    rounds = list(rounds_of(_rounds(request).in_store(store).filter(campaign=campaign)))
    looks = reminders_of(store=store, today=timezone.localdate(), campaign=campaign)
    population = campaign.vehicles.for_staff(staff_of(request)).in_store(store)
    context = {
        "campaign": campaign,
        "campaign_places": campaign_places(request, campaign),
        "rounds": rounds,
        "in_work": next((one for one in rounds if one.state in _UNPOSTED), None),
        "open": population.still_open().count(),
        "running": campaign.state == CampaignState.RUNNING,
        "form": form,
        "reminder": next(iter(looks), None),
        "may_print": may_print,
    }
    return render(request, "campaigns/letters_campaign.html", context)


@require_POST
@guarded(Capability.PRINT_LETTERS)
def remind_owners(request: HttpRequest, code: str) -> HttpResponse:
    """Draw up the reminder that is proposed, by one press."""
    campaign, store = campaign_of(code), store_of(request)
    try:
        drawn = acts.draw_up_round(
            key=key_of(request),
            campaign=campaign,
            store=store,
            kind=RoundKind.REMINDER,
            today=timezone.localdate(),
            by=staff_of(request),
            at=timezone.now(),
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
        return redirect("campaigns:campaign_letters", code)
    return redirect("campaigns:letter_round", pk=drawn.pk)


@require_safe
@guarded(Capability.SEE_LETTERS)
def letter_round(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a round: its steps, who is written to, who is not and why."""
    return round_page(request, round_of(request, pk))


def round_page(
    request: HttpRequest,
    row: LetterRound,
    form: DatedForm | None = None,
    again: ReprintForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """Draw the page of a round, with the form of its next step."""
    rows = row.letters.select_related("party", "address", "campaign_vehicle__vehicle")
    page = Paginator(rows, A_PAGE).get_page(request.GET.get("page"))
    left = row.omissions.order_by("reason").values("reason").annotate(n=Count("pk"))
    by_hand = list(rows.filter(address_fits=False)) if row.pdf else []
    for letter in page:
        letter.returned_words = return_words(letter.returned_why)  # type: ignore[attr-defined]
    context = {
        "round": row,
        "page_obj": page,
        "letters": page.paginator.count,
        "omissions": row.omissions.select_related("campaign_vehicle__vehicle")[:200],
        "reasons": [
            (OMISSION_WORDS[OmissionReason(one["reason"])], one["n"]) for one in left
        ],
        "left_out": sum(one["n"] for one in left),
        "not_set": [
            (one, why_not_set(one, row)) for one in by_hand if one.page is None
        ],
        "tight": [one for one in by_hand if one.page is not None],
        "card": _card(request, row),
        "may_print": _may_print(request, row.store_id),
        "may_export": staff_of(request).may(Capability.EXPORT_ADDRESSES, row.store_id),
        "form": form or DatedForm(initial={"on": timezone.localdate()}),
        "set_form": SetForm(),
        "again": again or ReprintForm(),
        "files": list(row.files.all()),
        "reprints": list(row.reprints.select_related("by")),
        "steps": _steps(row),
        "text_words": words_of(row.text),
        "check": _check(row),
    }
    return render(request, "campaigns/letter_round.html", context, status=status)


def _check(row: LetterRound) -> RoundCheck | None:
    """Give the letter check while the letters are still to be set."""
    if row.pdf or row.state not in {RoundState.DRAWN_UP, RoundState.PRINTING}:
        return None
    return check_round(row, today=timezone.localdate())


def _card(request: HttpRequest, row: LetterRound) -> object:
    """Give the progress of the setting while there is no PDF yet."""
    if row.job is None or row.pdf or row.state != RoundState.PRINTING:
        return None
    return job_card(row.job, staff_of(request), timezone.now())


def _steps(row: LetterRound) -> list[tuple[str, str, str]]:
    """Give the steps of a round: done, now, next."""
    labels = (_("Draw up"), _("Set the letters"), _("Print"), _("Post"))
    reached = {
        RoundState.DRAWN_UP: 1,
        RoundState.PRINTING: 2 if row.pdf else 1,
        RoundState.PRINTED: 3,
        RoundState.POSTED: 4,
        RoundState.CANCELLED: 0,
    }[RoundState(row.state)]
    return [(label, _of_step(place, reached), "") for place, label in enumerate(labels)]


def _of_step(place: int, reached: int) -> str:
    """Say whether a step is done, now or next."""
    if place < reached:
        return "done"
    return "now" if place == reached else "next"


@require_POST
@guarded(Capability.PRINT_LETTERS)
def set_round(request: HttpRequest, pk: int) -> HttpResponse:
    """Have the letters set in the background."""
    row = round_of(request, pk)
    form = SetForm(request.POST)
    wishes = form.cleaned_data if form.is_valid() else {}
    try:
        acts.print_round(
            letter_round=row,
            letters_per_file=wishes.get("letters_per_file") or 0,
            whole=bool(wishes.get("whole")),
            by=staff_of(request),
            at=timezone.now(),
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    return redirect("campaigns:letter_round", pk=pk)


@require_POST
@guarded(Capability.PRINT_LETTERS)
def cancel_round(request: HttpRequest, pk: int) -> HttpResponse:
    """Give up a round that was not printed."""
    row = round_of(request, pk)
    try:
        acts.cancel_round(letter_round=row, by=staff_of(request), at=timezone.now())
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    return redirect("campaigns:letter_round", pk=pk)


@require_POST
@guarded(Capability.PRINT_LETTERS)
def step_round(request: HttpRequest, pk: int, step: str) -> HttpResponse:
    """Mark a round as printed or as posted on a day."""
    row = round_of(request, pk)
    form = DatedForm(request.POST)
    act = {"printed": acts.mark_printed, "posted": acts.mark_posted}.get(step)
    if act is None:
        raise Http404
    if form.is_valid():
        try:
            act(
                letter_round=row,
                on=form.cleaned_data["on"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            messages.error(request, refusal.sentence)
        else:
            return redirect("campaigns:letter_round", pk=pk)
    return round_page(request, row, form)


@require_safe
@guarded(Capability.SEE_LETTERS)
def round_pdf(request: HttpRequest, pk: int) -> FileResponse:
    """Hand out the letters as one PDF."""
    row = round_of(request, pk)
    if not row.pdf:
        raise Http404
    name = f"letters-{row.campaign.code}-{row.number}.pdf"
    return handed_out(FileResponse(row.pdf.open(), as_attachment=True, filename=name))


@require_safe
@guarded(Capability.PRINT_LETTERS)
def register(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """Hand out the register of who was written to, and who was not and why."""
    row = round_of(request, pk)
    name = f"register-{row.campaign.code}-{row.number}.{kind}"
    rows = [_said(line) for line in register_rows(row)]
    if kind == "csv":
        body, mime = to_csv(register_heads(), rows), CSV
    else:
        made = timezone.localdate(row.made_at)
        body = to_xlsx(register_heads(), rows, sheet=_("Register"), made=made)
        mime = XLSX
    return handed_out(file_answer(body, name, kind=mime))


def _said(line: tuple[Cell, ...]) -> tuple[Cell, ...]:
    """Say the reason of a return in words."""
    return (*line[:-1], return_words(str(line[-1])))


def handed_out(response: AnswerT) -> AnswerT:
    """Mark a download so that no browser guesses at it or keeps it."""
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "private, no-store"
    return response


patterns = [
    path("campaigns/<str:code>/letters/", campaign_letters, name="campaign_letters"),
    path("campaigns/<str:code>/letters/remind/", remind_owners, name="remind_owners"),
    path("letters/", letters, name="letters"),
    path("letters/<int:pk>/", letter_round, name="letter_round"),
    path("letters/<int:pk>/set/", set_round, name="set_round"),
    path("letters/<int:pk>/cancel/", cancel_round, name="cancel_round"),
    path("letters/<int:pk>/letters.pdf", round_pdf, name="round_pdf"),
    path(
        "letters/<int:pk>/register.csv", register, {"kind": "csv"}, name="register_csv"
    ),
    path(
        "letters/<int:pk>/register.xlsx",
        register,
        {"kind": "xlsx"},
        name="register_xlsx",
    ),
    path("letters/<int:pk>/<str:step>/", step_round, name="step_round"),
]
