"""The worker's side of a job: taking it, holding it, and laying it down.

Every change is one conditional update whose count is looked at, so that of many
workers one gets the job, and one that has lost it cannot write any more.
"""

from __future__ import annotations

import datetime as dt
import traceback
import uuid
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import F, Value
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from dealership.models import Job, WorkerBeat
from dealership.rules.jobs import (
    FINISHED,
    MAX_INTERRUPTIONS,
    JobState,
    Wanted,
    back_off,
)
from dealership.rules.refusals import Refusal


AT_ONCE = dt.timedelta(0)
HEAD_START = dt.timedelta(seconds=5)
OFFER = dt.timedelta(seconds=30)
OFFERS_AT_ONCE = 40
FORGET_BEATS_AFTER = dt.timedelta(days=1)


WhenFailed = Callable[[Job, dt.datetime], None]
_when_failed: dict[str, WhenFailed] = {}


class LeaseLost(Exception):
    """Another worker has taken this job over; what this one still has is void."""


def lease_length() -> dt.timedelta:
    """Give how long a worker may stay silent before its job is given to another."""
    return dt.timedelta(seconds=settings.MENDROLL_JOB_LEASE_SECONDS)


def claim(*, job_id: uuid.UUID, now: dt.datetime) -> Job | None:
    """Take one job if it waits and is due, or if its worker was lost.

    None when it is not to be had: another worker holds it, or it is finished. So a
    bell that rings twice does no harm.
    """
    token = uuid.uuid4()
    lease: dict[str, Any] = {
        "state": JobState.RUNNING,
        "lease_token": token,
        "lease_until": now + lease_length(),
        # Should this worker be lost, the sweep need not wait for the mark to wear off.
        "offer_after": now,
        "started_at": Coalesce("started_at", Value(now)),
    }
    rows = Job.objects.filter(pk=job_id)
    if not rows.waiting(now).update(**lease):
        _settle_lapsed(job_id, now)
        taken_over = rows.lapsed(now).update(
            **lease, interruptions=F("interruptions") + 1
        )
        if not taken_over:
            return None
    return rows.select_related("store", "asked_by").get(lease_token=token)


def _settle_lapsed(job_id: uuid.UUID, now: dt.datetime) -> None:
    """Do what was asked of a lost worker; end a job that was lost too often."""
    lapsed = Job.objects.filter(pk=job_id).lapsed(now)
    laid_down: dict[str, Any] = {
        "lease_token": None,
        "lease_until": None,
        "wanted": Wanted.NOTHING,
    }
    lapsed.filter(wanted=Wanted.CANCEL).update(
        **laid_down, state=JobState.CANCELLED, finished_at=now
    )
    lapsed.filter(wanted=Wanted.PAUSE).update(**laid_down, state=JobState.PAUSED)
    given_up = lapsed.filter(interruptions__gte=MAX_INTERRUPTIONS).update(
        **laid_down,
        state=JobState.FAILED,
        finished_at=now,
        error=_(
            "The worker stopped in the middle of this %(count)d times. What was"
            " finished until then is kept. Tell whoever looks after the server, then"
            " start it again here."
        )
        % {"count": MAX_INTERRUPTIONS},
    )
    if given_up:
        _tell_of_failure(Job.objects.get(pk=job_id), now)


def on_failure(kind: str, act: WhenFailed) -> None:
    """Have something done when a job of this kind has failed for good."""
    _when_failed[kind] = act


def _tell_of_failure(job: Job, now: dt.datetime) -> None:
    """Do what the kind of job wants done when it has failed for good."""
    act = _when_failed.get(job.kind)
    if act is not None:
        act(job, now)


def renew(
    *, job: Job, done: int, total: int | None, words: str, now: dt.datetime
) -> Wanted:
    """Write how far a job is, hold it for another lease, give what is asked of it.

    Raises LeaseLost when another worker has it.
    """
    rows = Job.objects.filter(
        pk=job.pk, state=JobState.RUNNING, lease_token=job.lease_token
    )
    held = rows.update(
        lease_until=now + lease_length(),
        progress_done=done,
        progress_total=total,
        progress_words=words[:200],
    )
    wanted = rows.values_list("wanted", flat=True).first()
    if not held or wanted is None:
        raise LeaseLost(str(job.pk))
    return Wanted(wanted)


def _lay_down(
    job: Job,
    state: JobState,
    now: dt.datetime,
    **facts: Any,  # noqa: ANN401 (fields of the row)
) -> None:
    """End the hold on a job and say what became of it; raises LeaseLost."""
    held = Job.objects.filter(
        pk=job.pk, state=JobState.RUNNING, lease_token=job.lease_token
    ).update(
        state=state,
        lease_token=None,
        lease_until=None,
        wanted=Wanted.NOTHING,
        finished_at=now if state in FINISHED else None,
        **facts,
    )
    if not held:
        raise LeaseLost(str(job.pk))


def complete(*, job: Job, result: dict[str, Any] | None, now: dt.datetime) -> None:
    """Say that a job is done, and with what result. Raises LeaseLost."""
    _lay_down(job, JobState.DONE, now, result=result, error="", error_detail="")


def halt(*, job: Job, wanted: Wanted, now: dt.datetime) -> None:
    """Do what was asked of a running job: pause or cancel. Raises LeaseLost."""
    state = JobState.PAUSED if wanted is Wanted.PAUSE else JobState.CANCELLED
    _lay_down(job, state, now)


def fail(*, job: Job, error: Exception, now: dt.datetime) -> None:
    """Say that a try went wrong. Raises LeaseLost.

    A refusal is final: trying again would meet it again. Anything else is tried
    again after a pause, up to the job's bound, and then kept for a person to see.
    """
    detail = "".join(traceback.format_exception(error))
    if isinstance(error, Refusal):
        _give_up(
            job,
            now,
            attempts=job.attempts + 1,
            error=error.sentence[:500],
            error_detail="",
        )
        return
    attempts = job.attempts + 1
    if attempts < job.max_attempts:
        due = now + back_off(attempts)
        _lay_down(
            job,
            JobState.WAITING,
            now,
            attempts=attempts,
            due_at=due,
            offer_after=due,
            error_detail=detail,
        )
        return
    sentence = _(
        "This stopped %(count)d times because of a fault in the program or the"
        " machine. What was finished until then is kept. Start it again, and if it"
        " stops again, tell whoever looks after the server."
    ) % {"count": attempts}
    _give_up(job, now, attempts=attempts, error=sentence, error_detail=detail)


def _give_up(
    job: Job,
    now: dt.datetime,
    **facts: Any,  # noqa: ANN401 (fields of the row)
) -> None:
    """End a job that failed for good, and what hangs on it; raises LeaseLost."""
    with transaction.atomic():
        _lay_down(job, JobState.FAILED, now, **facts)
        _tell_of_failure(job, now)


def offer(*, now: dt.datetime) -> list[uuid.UUID]:
    """Choose jobs that a worker may take now, and mark them as offered for a while.

    At most 40 wait on offer at a time, so a long queue is not put into the broker
    again and again. A mark that is lost with its broker wears off after 30 s.
    """
    on_offer = Job.objects.filter(
        state=JobState.WAITING, due_at__lte=now, offer_after__gt=now
    ).count()
    room = OFFERS_AT_ONCE - on_offer
    if room <= 0:
        return []
    free = Job.objects.claimable(now).filter(offer_after__lte=now)
    ids = list(
        free.order_by("due_at", "created_at").values_list("pk", flat=True)[:room]
    )
    if ids:
        Job.objects.filter(pk__in=ids).update(offer_after=now + OFFER)
    return ids


def forget_offers(*, now: dt.datetime) -> None:
    """Offer everything anew: the broker that the marks speak of is gone."""
    Job.objects.filter(state=JobState.WAITING, offer_after__gt=now).update(
        offer_after=F("due_at")
    )


def show_life(*, host: str, pid: int, now: dt.datetime) -> None:
    """Write a worker's sign of life, and drop those of workers long gone."""
    with transaction.atomic():
        WorkerBeat.objects.filter(seen_at__lt=now - FORGET_BEATS_AFTER).delete()
        WorkerBeat.objects.update_or_create(
            host=host[:120], pid=pid, defaults={"seen_at": now}
        )


def drop_life(*, host: str, pid: int) -> None:
    """Take back the sign of life of a worker that stopped in good order."""
    WorkerBeat.objects.filter(host=host[:120], pid=pid).delete()
