"""The part of a worker that looks for work by itself."""

from __future__ import annotations

import logging
import os
import socket
import threading
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from celery import bootsteps
from django.conf import settings
from django.db import connections
from django.utils import timezone

from dealership.domain import jobs, leases


if TYPE_CHECKING:
    from collections.abc import Callable

    from celery.worker import WorkController

logger = logging.getLogger(__name__)

SHOW_LIFE_SECONDS = 5.0
SWEEP_EMBEDDED_SECONDS = 0.5
SWEEP_SECONDS = 2.0

# A database connection that is open while the pool forks would be shared by two
# processes, which SQLite does not survive. So a fork waits for the end of a sweep.
_sweeping = threading.Lock()
os.register_at_fork(
    before=_sweeping.acquire,
    after_in_parent=_sweeping.release,
    after_in_child=_sweeping.release,
)


class Sweeper(bootsteps.StartStopStep):
    """Offers waiting and abandoned jobs to the workers, and shows that this one lives.

    On the embedded default this is the only bell, and it keeps the timetable too;
    with Redis it is the net below, and beat keeps the timetable.
    """

    requires = ("celery.worker.components:Timer",)

    def __init__(self, parent: WorkController, **kwargs: Any) -> None:  # noqa: ANN401 (Celery's options)
        super().__init__(parent, **kwargs)
        self.app = parent.app
        self.embedded = not settings.MENDROLL_REDIS_URL
        self.host = socket.gethostname()
        self.timers: list[Any] = []

    def start(self, parent: WorkController) -> None:
        """Begin to look into the table of jobs."""
        steps: list[tuple[float, Callable[[], None]]] = [
            (SWEEP_EMBEDDED_SECONDS if self.embedded else SWEEP_SECONDS, self.sweep),
            (SHOW_LIFE_SECONDS, self.show_life),
        ]
        jobs.load_handlers()
        if self.embedded:
            safely(self.forget_offers)
            seconds = self.app.conf.mendroll_timetable_seconds
            steps.append((seconds, self.keep_timetable))
        timer: Any = parent.timer
        for seconds, step in steps:
            safely(step)
            self.timers.append(timer.call_repeatedly(seconds, safely, (step,)))

    def stop(self, parent: WorkController) -> None:
        """Look no more, and take back the sign of life."""
        del parent
        for timer in self.timers:
            timer.cancel()
        safely(self.drop_life)

    def sweep(self) -> None:
        """Ring for what waits and is due, and for what a lost worker left."""
        for job_id in leases.offer(now=timezone.now()):
            self.app.send_task(jobs.RUN_TASK, args=[str(job_id)])

    def forget_offers(self) -> None:
        """Offer anew what the memory of an earlier worker held."""
        leases.forget_offers(now=timezone.now())

    def keep_timetable(self) -> None:
        """Leave a job waiting for whatever has come due."""
        jobs.ask_timed(
            timetable=self.app.conf.mendroll_timetable,
            now=timezone.now(),
            zone=ZoneInfo(settings.TIME_ZONE),
        )

    def show_life(self) -> None:
        """Say that this worker lives."""
        leases.show_life(host=self.host, pid=os.getpid(), now=timezone.now())

    def drop_life(self) -> None:
        """Say that this worker has stopped."""
        leases.drop_life(host=self.host, pid=os.getpid())


def safely(step: Callable[[], None]) -> None:
    """Do one step alone; a database that does not answer is asked again later."""
    with _sweeping:
        try:
            step()
        except Exception:
            logger.exception("The sweep for waiting work did not come through")
        finally:
            connections.close_all()
