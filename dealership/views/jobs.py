"""How far long work is, and its pause, cancel and restart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from dealership.domain import jobs
from dealership.models import Job
from dealership.queries.jobs import may_steer, queue_alive
from dealership.rules.jobs import JobState, seconds_left
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of


if TYPE_CHECKING:
    import datetime as dt
    import uuid

    from django.http import HttpRequest, HttpResponse

    from dealership.models import StaffMember


@dataclass(frozen=True)
class JobCard:
    """What a page shows of a job; also for pages that hold one.

    Such a page says ``{% include "dealership/job_progress.html" with card=card %}``.
    An address that this person may not use, or not now, is empty.
    """

    job: Job
    title: str
    state_words: str
    left_words: str
    url: str
    pause_url: str
    resume_url: str
    cancel_url: str
    retry_url: str
    offline: bool


def job_card(
    job: Job, staff: StaffMember, now: dt.datetime, *, alive: bool | None = None
) -> JobCard:
    """Make the card of a job for one person.

    ``alive``: whether a worker runs, where the page has asked already.
    """
    steer = may_steer(staff, job)

    def act(name: str) -> str:
        return reverse(f"dealership:{name}", args=[job.pk]) if steer else ""

    return JobCard(
        job=job,
        title=jobs.words_of(job.kind),
        state_words=jobs.state_words(JobState(job.state)),
        left_words=_left_words(job, now),
        url=reverse("dealership:job", args=[job.pk]),
        pause_url=act("job_pause"),
        resume_url=act("job_resume"),
        cancel_url=act("job_cancel"),
        retry_url=act("job_requeue"),
        offline=not job.is_finished
        and not (queue_alive(now) if alive is None else alive),
    )


def _left_words(job: Job, now: dt.datetime) -> str:
    """Say about how long the rest will take, once that can be told."""
    if job.wanted:
        return _("stops after this step")
    if job.state != JobState.RUNNING or job.started_at is None:
        return ""
    elapsed = (now - job.started_at).total_seconds()
    left = seconds_left(job.progress_done, job.progress_total, elapsed)
    if left is None:
        return ""
    minutes = round(left / 60)
    if minutes < 1:
        return _("less than a minute left")
    return ngettext("about %(n)d minute left", "about %(n)d minutes left", minutes) % {
        "n": minutes
    }


def _job_of(request: HttpRequest, job_id: uuid.UUID) -> Job:
    return get_object_or_404(Job.objects.for_staff(staff_of(request)), pk=job_id)


@require_safe
@guarded(Capability.SEE_TODAY)
def job_page(request: HttpRequest, job_id: uuid.UUID) -> HttpResponse:
    """Show how far a job is: as a page, or as the fragment that a page asks for."""
    job = _job_of(request, job_id)
    context = {
        "card": job_card(job, staff_of(request), timezone.now()),
        "done_url": jobs.address_of(job),
    }
    if not getattr(request, "htmx", False):
        return render(request, "dealership/job.html", context)
    response = render(request, "dealership/job_progress.html", context)
    if job.is_finished:
        # The page around the fragment shows what came of it.
        response["HX-Refresh"] = "true"
    return response


class _Steer(Protocol):
    def __call__(self, *, job: Job, by: StaffMember, now: dt.datetime) -> Job: ...


def _steer(
    request: HttpRequest, job_id: uuid.UUID, steer: _Steer
) -> HttpResponseRedirect:
    """Do one act on a job and go back to the page that asked for it."""
    job = _job_of(request, job_id)
    if not may_steer(staff_of(request), job):
        raise PermissionDenied
    try:
        steer(job=job, by=staff_of(request), now=timezone.now())
    except jobs.JobCannotMove as refusal:
        messages.error(request, refusal.sentence)
    back = request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        back = reverse("dealership:job", args=[job.pk])
    return HttpResponseRedirect(back)


@require_POST
@guarded(Capability.SEE_TODAY)
def pause(request: HttpRequest, job_id: uuid.UUID) -> HttpResponse:
    """Pause a job."""
    return _steer(request, job_id, jobs.request_pause)


@require_POST
@guarded(Capability.SEE_TODAY)
def resume(request: HttpRequest, job_id: uuid.UUID) -> HttpResponse:
    """Let a paused job go on."""
    return _steer(request, job_id, jobs.request_resume)


@require_POST
@guarded(Capability.SEE_TODAY)
def cancel(request: HttpRequest, job_id: uuid.UUID) -> HttpResponse:
    """Cancel a job."""
    return _steer(request, job_id, jobs.request_cancel)


@require_POST
@guarded(Capability.SEE_TODAY)
def requeue(request: HttpRequest, job_id: uuid.UUID) -> HttpResponse:
    """Start a failed job again."""
    return _steer(request, job_id, jobs.requeue)


job_urlpatterns = [
    path("jobs/<uuid:job_id>/", job_page, name="job"),
    path("jobs/<uuid:job_id>/pause/", pause, name="job_pause"),
    path("jobs/<uuid:job_id>/resume/", resume, name="job_resume"),
    path("jobs/<uuid:job_id>/cancel/", cancel, name="job_cancel"),
    path("jobs/<uuid:job_id>/restart/", requeue, name="job_requeue"),
]
