"""The letter check before a round is printed: what blocks, and what is answered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from campaigns.models import LetterCheckAnswer
from campaigns.queries.letter_checks import check_round
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import LetterRound, LetterText
    from dealership.models import StaffMember


class LetterUnsound(Refusal):
    """A rule of the letter check blocks the round."""

    def __init__(self, blocking: int) -> None:
        super().__init__(
            ngettext(
                "The letter check found %(n)d thing that may not be printed. Open the"
                " check, mend the text or the campaign, and draw the round up again.",
                "The letter check found %(n)d things that may not be printed. Open the"
                " check, mend the text or the campaign, and draw the round up again.",
                blocking,
            )
            % {"n": blocking}
        )
        self.blocking = blocking


class RemarksOpen(Refusal):
    """Remarks of the letter check are not answered yet."""

    def __init__(self, waiting: int) -> None:
        super().__init__(
            ngettext(
                "The letter check has %(n)d remark that wants a reason. Open the check"
                " and give it.",
                "The letter check has %(n)d remarks that want a reason. Open the check"
                " and give them.",
                waiting,
            )
            % {"n": waiting}
        )
        self.waiting = waiting


class NothingToAnswer(Refusal):
    """The rule has no remark on this text that could be answered."""

    def __init__(self) -> None:
        super().__init__(
            _("There is no such remark to answer. Reload the page to see the check.")
        )


class NoReason(Refusal):
    """A remark is let pass only with a reason."""

    def __init__(self) -> None:
        super().__init__(_("Say why this may be printed all the same."))


def refuse_unchecked(*, letter_round: LetterRound, today: dt.date) -> None:
    """Check a round that is to be printed. Raises LetterUnsound, RemarksOpen."""
    told = check_round(letter_round, today=today)
    if told.blocking:
        raise LetterUnsound(told.blocking)
    if told.waiting:
        raise RemarksOpen(told.waiting)


def answer_remark(
    *,
    letter_round: LetterRound,
    text: LetterText,
    rule: str,
    why: str,
    today: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> LetterCheckAnswer:
    """Let a remark of the check pass in this round, for a reason that is kept.

    The same again gives the first answer. Raises NoReason, NothingToAnswer (also for
    what blocks: that is mended, not answered).
    """
    if not why.strip():
        raise NoReason
    told = check_round(letter_round, today=today)
    known = [
        one
        for checked in told.texts
        if checked.text.pk == text.pk
        for one in checked.found
        if one.finding.rule.code == rule
    ]
    if not known or any(one.blocks for one in known):
        raise NothingToAnswer
    with transaction.atomic():
        answer, new = LetterCheckAnswer.objects.get_or_create(
            letter_round=letter_round,
            text=text,
            rule=rule,
            defaults={"why": why.strip()[:300], "by": by, "at": at},
        )
        if new:
            record(
                act="letter_round.remark_answered",
                subject=letter_round,
                by=by,
                at=at,
                store=letter_round.store,
                after={"rule": rule, "text": text.pk},
                why=why.strip(),
            )
    return answer
