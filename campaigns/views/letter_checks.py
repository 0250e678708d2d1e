"""Pages: the letter check of a round, and the reasons for which remarks are let pass."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from campaigns.domain.letter_checks import answer_remark
from campaigns.forms.letters import RemarkForm, words_of
from campaigns.models import LetterRound, LetterText
from campaigns.queries.letter_check_words import (
    RuleWords,
    source_words,
    words_of_finding,
)
from campaigns.queries.letter_checks import Answered, TextCheck, check_round
from campaigns.rules.lifecycle import RoundState
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, hold_to_store, staff_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from campaigns.rules.letter_check import Draft, Finding


class Remark(NamedTuple):
    """One finding as the page shows it."""

    told: Answered
    words: RuleWords
    source: str
    where: str
    quote: str


def remark(told: Answered) -> Remark:
    """Give a finding in words, with its place."""
    return Remark(
        told=told,
        words=words_of_finding(told.finding),
        source=source_words(told.finding),
        where=_where(told.finding),
        quote=told.finding.place.quote if told.finding.place else "",
    )


def _where(finding: Finding) -> str:
    """Say where in the letter a finding stands."""
    if finding.place is None:
        detail = f": {finding.detail}" if finding.detail else ""
        return _("whole letter") + detail
    if finding.place.part == 0:
        return _("subject line")
    return _("paragraph %(n)d") % {"n": finding.place.part}


def marked(draft: Draft, found: tuple[Finding, ...]) -> list[SafeString]:
    """Give subject and paragraphs with the places of the findings marked."""
    shown = []
    for number, text in enumerate(draft.parts):
        spans = sorted(
            {
                (one.place.start, one.place.end)
                for one in found
                if one.place and one.place.part == number
            }
        )
        out, last = SafeString(""), 0
        for start, end in spans:
            if start >= last:
                out = format_html(
                    "{}{}<mark>{}</mark>", out, text[last:start], text[start:end]
                )
                last = end
        shown.append(format_html("{}{}", out, text[last:]))
    return shown


def _texts(told: TextCheck) -> dict[str, object]:
    """Give what the page shows of one text."""
    parts = marked(told.draft, tuple(one.finding for one in told.found))
    return {
        "text": told.text,
        "words": words_of(told.text),
        "letters": told.letters,
        "remarks": [remark(one) for one in told.found],
        "subject": parts[0],
        "paragraphs": parts[1:],
    }


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.SEE_LETTERS)
def round_check(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the letter check of a round; take the reason for a remark."""
    row = get_object_or_404(
        LetterRound.objects.for_staff(staff_of(request)).select_related(
            "campaign__earmark", "store", "text"
        ),
        pk=pk,
    )
    hold_to_store(request, row.store_id)
    may_print = staff_of(request).may(Capability.PRINT_LETTERS, row.store_id)
    today = timezone.localdate()
    form = RemarkForm(request.POST or None)
    if request.method == "POST":
        if not may_print:
            raise PermissionDenied
        if form.is_valid() and _answer(request, row, form):
            return redirect("campaigns:round_check", pk=pk)
    told = check_round(row, today=today)
    context = {
        "round": row,
        "check": told,
        "texts": [_texts(one) for one in told.texts],
        "may_answer": may_print
        and row.state in {RoundState.DRAWN_UP, RoundState.PRINTING},
        "form": form,
    }
    return render(request, "campaigns/letter_check.html", context)


def _answer(request: HttpRequest, row: LetterRound, form: RemarkForm) -> bool:
    """Keep the reason for one remark."""
    text = get_object_or_404(LetterText, pk=form.cleaned_data["text"])
    try:
        answer_remark(
            letter_round=row,
            text=text,
            rule=form.cleaned_data["rule"],
            why=form.cleaned_data["why"],
            today=timezone.localdate(),
            by=staff_of(request),
            at=timezone.now(),
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, _("The reason is kept with the round."))
    return True


patterns = [path("letters/<int:pk>/check/", round_check, name="round_check")]
