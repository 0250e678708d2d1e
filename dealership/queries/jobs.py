"""Reading how background work stands."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from dealership.models import Job, WorkerBeat
from dealership.rules.jobs import JobState
from dealership.rules.roles import Capability


if TYPE_CHECKING:
    from dealership.models import StaffMember
    from dealership.models.job import JobQuerySet

ALIVE_WITHIN = dt.timedelta(seconds=30)


def queue_alive(now: dt.datetime) -> bool:
    """Tell whether a worker has given a sign of life within the last 30 seconds."""
    return WorkerBeat.objects.filter(seen_at__gte=now - ALIVE_WITHIN).exists()


def jobs_under_way(staff: StaffMember) -> JobQuerySet:
    """Give the jobs that this person may see and that are not finished."""
    return Job.objects.for_staff(staff).filter(
        state__in=[JobState.WAITING, JobState.RUNNING, JobState.PAUSED]
    )


def may_steer(staff: StaffMember, job: Job) -> bool:
    """Tell whether this person may pause, cancel or restart a job.

    Who asked for it may, and who may change the settings of its store.
    """
    return job.asked_by_id == staff.pk or staff.may(
        Capability.EDIT_SETTINGS, job.store_id
    )
