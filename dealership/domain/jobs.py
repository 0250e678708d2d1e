"""Asking for work in the background, steering it, and running it.

The row is made in the transaction of the business act; a broker only wakes the
workers sooner. A handler stands in an app's ``tasks`` module::

    @handles("vehicles.apply_list", words=_("Taking in a vehicle list"))
    def apply_list(run: JobRun, *, import_id: int) -> dict[str, Any] | None:
        ...

It works in chunks that each commit on their own and that may be repeated, keeps its
place in its own rows, and calls ``run.progress`` between two chunks, outside of any
transaction and at least every half lease. It may be started again from the beginning
after it was killed, paused, or even right after its last chunk: a chunk that was done
must be skipped.
"""

from __future__ import annotations

import logging
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, Any, TypeVar

from celery import current_app
from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist
from django.db import transaction
from django.utils.module_loading import autodiscover_modules
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from dealership.domain import leases
from dealership.domain.audit import record
from dealership.models import Job
from dealership.rules.jobs import JobState, Wanted, may_move
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    import uuid
    from collections.abc import Callable, Iterable

    from django.utils.functional import Promise

    from dealership.models import StaffMember, Store
    from dealership.rules.jobs import Timed

logger = logging.getLogger(__name__)

RUN_TASK = "dealership.run_job"


class Stopped(Exception):
    """Raised by ``run.progress`` where somebody asked the job to stop here."""

    wanted: Wanted


class Paused(Stopped):
    """The job is to stop here and go on later."""

    wanted = Wanted.PAUSE


class Cancelled(Stopped):
    """The job is to stop here for good."""

    wanted = Wanted.CANCEL


class UnknownKind(Exception):
    """No installed app has a handler for this kind of job."""


class JobCannotMove(Refusal):
    """The job is in a state in which this cannot be asked of it."""

    def __init__(self, job: Job, wish: str) -> None:
        super().__init__(
            _(
                "This work is %(state)s, so it cannot be %(wish)s."
                " Reload the page to see how it stands."
            )
            % {"state": state_words(JobState(job.state)), "wish": wish}
        )
        self.job_id = job.pk
        self.state = JobState(job.state)


def state_words(state: JobState) -> str:
    """Say a state in a word."""
    match state:
        case JobState.WAITING:
            return _("waiting")
        case JobState.RUNNING:
            return _("running")
        case JobState.PAUSED:
            return _("paused")
        case JobState.DONE:
            return _("done")
        case JobState.FAILED:
            return _("stopped by a fault")
        case JobState.CANCELLED:
            return _("cancelled")


# Handlers ------------------------------------------------------------------------


class JobRun:
    """What a handler holds while it runs a job."""

    def __init__(self, job: Job, clock: Callable[[], dt.datetime]) -> None:
        self.job = job
        self._clock = clock

    def now(self) -> dt.datetime:
        """Give the time; a handler has no other clock."""
        return self._clock()

    def progress(self, done: int, total: int | None = None, words: str = "") -> None:
        """Keep how far the job is and hold it for another lease.

        ``done`` of ``total`` in whatever the handler counts. Raises Paused or
        Cancelled where somebody asked for it, LeaseLost where another worker took
        over; a handler lets all three pass.
        """
        wanted = leases.renew(
            job=self.job, done=done, total=total, words=words, now=self.now()
        )
        match wanted:
            case Wanted.NOTHING:
                return
            case Wanted.PAUSE:
                raise Paused
            case Wanted.CANCEL:
                raise Cancelled


HandlerT = TypeVar("HandlerT", bound="Callable[..., dict[str, Any] | None]")
_handlers: dict[str, Callable[..., dict[str, Any] | None]] = {}
_words: dict[str, str | Promise] = {}
_leads_to: dict[str, Callable[[Job], str]] = {}


def handles(
    kind: str,
    *,
    words: str | Promise = "",
    leads_to: Callable[[Job], str] | None = None,
    when_failed: leases.WhenFailed | None = None,
) -> Callable[[HandlerT], HandlerT]:
    """Register a function as the handler of one kind of job.

    ``words`` head the page of the job: what is being done, in a person's words.
    ``leads_to`` gives the address of the page that it was done for. ``when_failed`` is
    called in the transaction in which a job is given up.
    """

    def register(handler: HandlerT) -> HandlerT:
        known = _handlers.get(kind)
        assert known is None or known.__module__ == handler.__module__, kind
        _handlers[kind] = handler
        _words[kind] = words or kind
        if leads_to is not None:
            _leads_to[kind] = leads_to
        if when_failed is not None:
            leases.on_failure(kind, when_failed)
        return handler

    return register


def load_handlers() -> None:
    """Import the ``tasks`` module of each app, and what the settings name besides."""
    autodiscover_modules("tasks")
    for module in settings.MENDROLL_EXTRA_TASKS:
        import_module(module)


def known_kinds() -> frozenset[str]:
    """Give the kinds of jobs that this house can do."""
    load_handlers()
    return frozenset(_handlers)


def _handler_of(kind: str) -> Callable[..., dict[str, Any] | None]:
    """Find the handler of a kind; raises UnknownKind."""
    load_handlers()
    if kind not in _handlers:
        raise UnknownKind(kind)
    return _handlers[kind]


def words_of(kind: str) -> str:
    """Say in a person's words what a kind of job does."""
    load_handlers()
    return str(_words.get(kind, kind))


def address_of(job: Job) -> str:
    """Give the address of the page that a job is done for; empty where there is none.

    What it was for may be gone by now.
    """
    load_handlers()
    leads_to = _leads_to.get(job.kind)
    try:
        return leads_to(job) if leads_to is not None else ""
    except (KeyError, ObjectDoesNotExist):
        return ""


# Asking for work -----------------------------------------------------------------


def enqueue(
    *,
    kind: str,
    arguments: dict[str, Any],
    by: StaffMember | None,
    store: Store | None,
    now: dt.datetime,
    unique_key: str | None = None,
    due_at: dt.datetime | None = None,
) -> Job:
    """Leave a job waiting, in the caller's transaction, and ring when it commits.

    ``arguments`` is what JSON can hold. The same ``kind`` and ``unique_key`` again
    give the first job, whatever has become of it. Not due before ``due_at``. The act
    that asks for it writes the audit line.
    """
    due = due_at or now
    facts: dict[str, Any] = {
        "arguments": arguments,
        "due_at": due,
        "offer_after": due + _head_start(),
        "asked_by": by,
        "store": store,
        "created_at": now,
    }
    with transaction.atomic():
        if unique_key is None:
            job, made = Job.objects.create(kind=kind, **facts), True
        else:
            job, made = Job.objects.get_or_create(
                kind=kind, unique_key=unique_key, defaults=facts
            )
        if made and due <= now:
            nudge(job)
    return job


def _head_start() -> dt.timedelta:
    """Give the bell a moment before the sweep looks; without a bell, none."""
    return leases.HEAD_START if settings.MENDROLL_REDIS_URL else leases.AT_ONCE


def nudge(job: Job) -> None:
    """Wake a worker once the transaction commits; without a broker, do nothing.

    The embedded worker looks for itself. A broker that does not answer is no harm
    either: every worker sweeps what waits.
    """
    if settings.MENDROLL_REDIS_URL:
        transaction.on_commit(partial(_ring, str(job.pk)), robust=True)


def _ring(job_id: str) -> None:
    try:
        current_app.send_task(RUN_TASK, args=[job_id], retry=False)
    except (OperationalError, OSError):
        logger.warning("The broker does not answer; job %s waits for a sweep", job_id)


def ask_timed(
    *, timetable: Iterable[Timed], now: dt.datetime, zone: dt.tzinfo
) -> list[Job]:
    """Leave a job waiting for each entry that has come due, once per due time.

    A house that was switched off overnight makes up for the last due time, not for
    those before. Kinds that no installed app handles are left out.
    """
    kinds = known_kinds()
    asked = []
    for entry in timetable:
        if entry.kind not in kinds:
            continue
        due = entry.last_due(now, zone)
        key = f"due {due:%Y-%m-%dT%H:%M:%SZ}"
        if Job.objects.filter(kind=entry.kind, unique_key=key).exists():
            continue
        asked.append(
            enqueue(
                kind=entry.kind,
                arguments={},
                by=None,
                store=None,
                now=now,
                unique_key=key,
                due_at=due,
            )
        )
    return asked


# Steering ------------------------------------------------------------------------


def _steer(job: Job, wish: str, to: JobState, by: StaffMember, now: dt.datetime) -> Job:
    """Move a job that no worker holds, or note the wish for the worker that does.

    Both are conditional updates, so a worker that takes or ends the job meanwhile is
    seen, and the wish is then judged anew.
    """
    wanted = {JobState.PAUSED: Wanted.PAUSE, JobState.CANCELLED: Wanted.CANCEL}.get(to)
    rows = Job.objects.filter(pk=job.pk)
    for _attempt in range(3):
        job = rows.get()
        before = JobState(job.state)
        facts: dict[str, Any]
        if before is JobState.RUNNING and wanted:
            facts = {"wanted": wanted}
        elif before is not JobState.RUNNING and may_move(before, to):
            facts = {
                "state": to,
                "finished_at": now if to is JobState.CANCELLED else None,
            }
            if to is JobState.WAITING:
                facts |= {"due_at": now, "offer_after": now + _head_start()}
            if before is JobState.FAILED:
                facts |= {"attempts": 0, "interruptions": 0, "error": ""}
        else:
            break
        with transaction.atomic():
            if rows.filter(state=before).update(**facts):
                record(
                    act=f"job.{wish}",
                    subject=job,
                    by=by,
                    at=now,
                    store=job.store,
                    before={"state": before},
                    after={"state": facts.get("state", before), "kind": job.kind},
                )
                if to is JobState.WAITING:
                    nudge(job)
                return rows.get()
    raise JobCannotMove(job, wish)


def request_pause(*, job: Job, by: StaffMember, now: dt.datetime) -> Job:
    """Pause a job: at once while it waits, after its present chunk while it runs.

    Raises JobCannotMove when it is finished or paused.
    """
    return _steer(job, "paused", JobState.PAUSED, by, now)


def request_cancel(*, job: Job, by: StaffMember, now: dt.datetime) -> Job:
    """Cancel a job: at once, or after its present chunk while it runs.

    What is done stays done. Raises JobCannotMove when it is finished.
    """
    return _steer(job, "cancelled", JobState.CANCELLED, by, now)


def request_resume(*, job: Job, by: StaffMember, now: dt.datetime) -> Job:
    """Let a paused job go on. Raises JobCannotMove when it is not paused."""
    if job.state != JobState.PAUSED:
        raise JobCannotMove(job, _("resumed"))
    return _steer(job, "resumed", JobState.WAITING, by, now)


def requeue(*, job: Job, by: StaffMember, now: dt.datetime) -> Job:
    """Start a failed job again, with its tries counted anew.

    Raises JobCannotMove when it has not failed.
    """
    if job.state != JobState.FAILED:
        raise JobCannotMove(job, _("restarted"))
    return _steer(job, "restarted", JobState.WAITING, by, now)


# Running -------------------------------------------------------------------------


def run_job(*, job_id: uuid.UUID, clock: Callable[[], dt.datetime]) -> Job | None:
    """Take a job and do it; None when it was not to be had.

    Never raises for what the handler does: that is written into the job.
    """
    job = leases.claim(job_id=job_id, now=clock())
    if job is None:
        return None
    try:
        _do(job, clock)
    except leases.LeaseLost:
        logger.warning("Job %s (%s) was taken over by another worker", job.pk, job.kind)
    return Job.objects.get(pk=job.pk)


def _do(job: Job, clock: Callable[[], dt.datetime]) -> None:
    """Call the handler and write down how it ended; raises LeaseLost."""
    try:
        result = _handler_of(job.kind)(JobRun(job, clock), **job.arguments)
        leases.complete(job=job, result=result, now=clock())
    except leases.LeaseLost:
        raise
    except Stopped as stopped:
        leases.halt(job=job, wanted=stopped.wanted, now=clock())
    except Exception as error:
        if not isinstance(error, Refusal):
            logger.exception("Job %s (%s) went wrong", job.pk, job.kind)
        leases.fail(job=job, error=error, now=clock())


def run_waiting(*, clock: Callable[[], dt.datetime]) -> list[Job]:
    """Do everything that waits and is due, here, one after the other."""
    done: list[Job] = []
    while True:
        free = Job.objects.claimable(clock()).order_by("due_at", "created_at")
        job_id = free.values_list("pk", flat=True).first()
        if job_id is None:
            return done
        job = run_job(job_id=job_id, clock=clock)
        if job is not None:
            done.append(job)
