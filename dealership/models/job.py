"""Work in the background: the row is the truth, the broker only a bell."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import models
from django.db.models import Q

from dealership.models.scope import StoreScopedQuerySet
from dealership.models.store import Store
from dealership.rules.jobs import FINISHED, MAX_ATTEMPTS, JobState, Wanted


if TYPE_CHECKING:
    import datetime as dt
    from typing import Self


class JobQuerySet(StoreScopedQuerySet["Job"]):
    """Jobs, and which of them a worker may take."""

    def for_staff(self, staff: Any) -> Self:  # noqa: ANN401 (request.user)
        """Keep the jobs of this person's stores and those that the person asked for."""
        if not getattr(staff, "is_authenticated", False):
            return self.none()
        if staff.in_all_stores:
            return self
        return self.filter(Q(store__in=staff.store_ids()) | Q(asked_by=staff))

    def waiting(self, now: dt.datetime) -> Self:
        """Keep what waits and is due."""
        return self.filter(state=JobState.WAITING, due_at__lte=now)

    def lapsed(self, now: dt.datetime) -> Self:
        """Keep what runs by its row, while its worker has not been heard of."""
        return self.filter(state=JobState.RUNNING, lease_until__lt=now)

    def claimable(self, now: dt.datetime) -> Self:
        """Keep what a worker may take now."""
        return self.filter(
            Q(state=JobState.WAITING, due_at__lte=now)
            | Q(state=JobState.RUNNING, lease_until__lt=now)
        )


class Job(models.Model):
    """One piece of work, who asked for it, and how far it is."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=60)
    arguments = models.JSONField(default=dict)
    unique_key = models.CharField(max_length=120, null=True, blank=True)  # noqa: DJ001 (two jobs without a key are not the same)
    state = models.CharField(
        max_length=12,
        choices=[(state.value, state.value) for state in JobState],
        default=JobState.WAITING.value,
    )
    wanted = models.CharField(max_length=8, blank=True, default=Wanted.NOTHING.value)
    due_at = models.DateTimeField()
    offer_after = models.DateTimeField()
    lease_token = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    max_attempts = models.PositiveSmallIntegerField(default=MAX_ATTEMPTS)
    interruptions = models.PositiveSmallIntegerField(default=0)
    progress_done = models.PositiveIntegerField(default=0)
    progress_total = models.PositiveIntegerField(null=True, blank=True)
    progress_words = models.CharField(max_length=200, blank=True)
    result = models.JSONField(null=True, blank=True)
    error = models.CharField(max_length=500, blank=True)
    error_detail = models.TextField(blank=True)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
    )
    store = models.ForeignKey(
        Store, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "unique_key"], name="one_job_per_kind_and_key"
            ),
            models.CheckConstraint(
                condition=Q(state__in=[state.value for state in JobState]),
                name="job_state_is_known",
            ),
            models.CheckConstraint(
                condition=Q(
                    state=JobState.RUNNING.value,
                    lease_token__isnull=False,
                    lease_until__isnull=False,
                )
                | (
                    ~Q(state=JobState.RUNNING.value)
                    & Q(lease_token__isnull=True, lease_until__isnull=True)
                ),
                name="job_has_lease_while_running_only",
            ),
            models.CheckConstraint(
                condition=Q(wanted=Wanted.NOTHING.value)
                | Q(
                    wanted__in=[Wanted.PAUSE.value, Wanted.CANCEL.value],
                    state=JobState.RUNNING.value,
                ),
                name="job_wish_while_running_only",
            ),
            models.CheckConstraint(
                condition=Q(
                    state__in=sorted(state.value for state in FINISHED),
                    finished_at__isnull=False,
                )
                | (
                    ~Q(state__in=sorted(state.value for state in FINISHED))
                    & Q(finished_at__isnull=True)
                ),
                name="job_end_known_when_finished_only",
            ),
            models.CheckConstraint(
                condition=Q(attempts__lte=models.F("max_attempts")),
                name="job_attempts_within_bound",
            ),
        ]
        indexes = [
            models.Index(
                fields=["due_at"],
                name="job_waiting_by_due",
                condition=Q(state=JobState.WAITING.value),
            ),
            models.Index(
                fields=["lease_until"],
                name="job_running_by_lease",
                condition=Q(state=JobState.RUNNING.value),
            ),
            models.Index(fields=["store", "-created_at"], name="job_by_store"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.state}"

    @property
    def is_finished(self) -> bool:
        """Tell whether nothing more will happen by itself."""
        return self.state in FINISHED


class WorkerBeat(models.Model):
    """A sign of life of one worker process."""

    host = models.CharField(max_length=120)
    pid = models.PositiveIntegerField()
    seen_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["host", "pid"], name="one_beat_per_host_and_process"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.host} {self.pid}"
