"""The doors of the queue, and the house's own work in the background."""

from __future__ import annotations

import uuid
from typing import Any
from zoneinfo import ZoneInfo

from celery import current_app, shared_task
from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from dealership.domain.jobs import RUN_TASK, JobRun, ask_timed, handles
from dealership.domain.jobs import run_job as run_one
from dealership.domain.uploads import erase_lapsed_uploads


@shared_task(name=RUN_TASK)
def run_job(job_id: str) -> None:
    """Do one job; ringing twice for it, or late, does no harm."""
    run_one(job_id=uuid.UUID(job_id), clock=timezone.now)


@shared_task(name="dealership.keep_timetable")
def keep_timetable() -> None:
    """Leave a job waiting for whatever has come due."""
    ask_timed(
        timetable=current_app.conf.mendroll_timetable,
        now=timezone.now(),
        zone=ZoneInfo(settings.TIME_ZONE),
    )


@handles("dealership.erase_uploads", words=_("Erasing files kept long enough"))
def erase_uploads(run: JobRun) -> dict[str, Any]:
    """Let go the files whose keep-until day has passed."""
    now = run.now()
    erased = erase_lapsed_uploads(at=now, today=timezone.localdate(now))
    return {"erased": erased}
