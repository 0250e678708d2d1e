"""Work in the background: setting the letters of a round."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.letter_binding import bind_round
from campaigns.domain.letter_chunks import (
    cut_up,
    cut_up_the_rest,
    letters_set,
    set_chunk,
    take_chunk,
    work_of,
)
from campaigns.domain.letters import PRINT_KIND
from campaigns.models import LetterRound
from campaigns.rules.letter_pace import hands_wanted
from dealership.domain.jobs import enqueue, handles
from dealership.models import Job
from dealership.rules.jobs import JobState


if TYPE_CHECKING:
    from campaigns.domain.letter_chunks import Work
    from dealership.domain.jobs import JobRun

HELP_KIND = "campaigns.help_set_letters"


def _page(job: Job) -> str:
    return reverse("campaigns:letter_round", args=[job.arguments["round_id"]])


@handles(PRINT_KIND, words=gettext_lazy("Setting letters"), leads_to=_page)
def set_letters(run: JobRun, *, round_id: int, whole: bool = False) -> dict[str, Any]:
    """Set a round chunk after chunk, then bind it; what is set is not set again.

    First the letters that can be filled in, then those that the layout engine sets
    one by one. Other workers are asked to help; nobody is waited for.
    """
    letter_round = _round(round_id)
    total = letter_round.letters.count()
    if not letter_round.pdf:
        run.progress(letters_set(letter_round=letter_round), total, _("letters set"))
        work = cut_up(letter_round=letter_round, whole=whole)
        for _stage in ("filled in", "set whole"):
            _ask_for_hands(run, letter_round)
            while _set_one(run, work, total, insist=False):
                pass
            while _set_one(run, work, total, insist=True):
                pass
            cut_up_the_rest(letter_round=letter_round)
        run.progress(total, total, _("letters set; binding them"))
    else:
        work = work_of(letter_round=letter_round)
    sheets = bind_round(work=work)
    return {"letters": total, "sheets": sheets}


def _round(round_id: int) -> LetterRound:
    rounds = LetterRound.objects.select_related("campaign", "store", "text")
    return rounds.get(pk=round_id)


def _set_one(run: JobRun, work: Work, total: int, *, insist: bool) -> bool:
    """Set the next chunk that is to be had; False when there is none."""

    def tell() -> None:
        done = letters_set(letter_round=work.letter_round)
        run.progress(done, total, _("letters set"))

    tell()
    chunk = take_chunk(
        letter_round=work.letter_round, job=run.job, now=run.now(), insist=insist
    )
    if chunk is None:
        return False
    set_chunk(work=work, chunk=chunk, now=run.now(), tick=tell)
    return True


def _ask_for_hands(run: JobRun, letter_round: LetterRound) -> None:
    """Leave jobs waiting with which other workers can help."""
    free = letter_round.chunks.filter(done_at=None).count()
    for hand in range(hands_wanted(free)):
        enqueue(
            kind=HELP_KIND,
            arguments={"round_id": letter_round.pk, "job_id": str(run.job.pk)},
            by=run.job.asked_by,
            store=letter_round.store,
            now=run.now(),
            unique_key=f"{run.job.pk} {free} {hand}",
        )


@handles(HELP_KIND, words=gettext_lazy("Helping to set letters"), leads_to=_page)
def help_set_letters(run: JobRun, *, round_id: int, job_id: str) -> dict[str, Any]:
    """Set chunks of a round as long as its job runs and there are any."""
    letter_round = _round(round_id)
    if not letter_round.chunks.filter(done_at=None).exists():
        return {"chunks": 0}
    work = work_of(letter_round=letter_round)
    chunks = 0
    while Job.objects.filter(pk=job_id, state=JobState.RUNNING).exists():
        run.progress(chunks, None, _("chunks of letters set"))
        chunk = take_chunk(letter_round=letter_round, job=run.job, now=run.now())
        if chunk is None:
            break
        set_chunk(work=work, chunk=chunk, now=run.now(), tick=lambda: None)
        chunks += 1
    return {"chunks": chunks}
