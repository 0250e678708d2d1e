"""What may become of a piece of background work, and when timed work is due."""

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum


class JobState(StrEnum):
    """Where a job stands."""

    WAITING = "waiting"
    RUNNING = "running"
    PAUSED = "paused"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


class Wanted(StrEnum):
    """What somebody has asked of a job while it runs."""

    NOTHING = ""
    PAUSE = "pause"
    CANCEL = "cancel"


MOVES: dict[JobState, frozenset[JobState]] = {
    JobState.WAITING: frozenset(
        {JobState.RUNNING, JobState.PAUSED, JobState.CANCELLED}
    ),
    JobState.RUNNING: frozenset(
        {
            JobState.WAITING,  # to be tried again
            JobState.RUNNING,  # taken over after its lease ran out
            JobState.PAUSED,
            JobState.DONE,
            JobState.FAILED,
            JobState.CANCELLED,
        }
    ),
    JobState.PAUSED: frozenset({JobState.WAITING, JobState.CANCELLED}),
    JobState.DONE: frozenset(),
    JobState.FAILED: frozenset({JobState.WAITING}),
    JobState.CANCELLED: frozenset(),
}
FINISHED = frozenset({JobState.DONE, JobState.FAILED, JobState.CANCELLED})

MAX_ATTEMPTS = 3
# A lost process is no fault of the job; a job that takes its process down each time
# must still come to an end.
MAX_INTERRUPTIONS = 10


def may_move(before: JobState, after: JobState) -> bool:
    """Tell whether a job may go from one state to the other."""
    return after in MOVES[before]


def back_off(attempts: int) -> dt.timedelta:
    """Give the wait before the next try: 5 s, 30 s, 3 min, ... after 1, 2, 3 faults."""
    return dt.timedelta(seconds=5 * 6 ** (attempts - 1))


def seconds_left(done: int, total: int | None, elapsed_seconds: float) -> float | None:
    """Guess the seconds that the rest takes at the pace so far, or None too early.

    At least a twentieth of the work must be done, or the guess jumps about.
    """
    if not total or done <= 0 or done * 20 < total:
        return None
    return elapsed_seconds / done * max(total - done, 0)


@dataclass(frozen=True)
class Timed:
    """Work that comes round: at a full hour of the local day, or at an interval.

    Exactly one of ``hour`` (0 to 23) and ``every`` is given.
    """

    kind: str
    hour: int | None = None
    every: dt.timedelta | None = None

    def __post_init__(self) -> None:
        if (self.hour is None) == (self.every is None):
            raise ValueError(f"{self.kind}: give an hour or an interval")

    def last_due(self, now: dt.datetime, zone: dt.tzinfo) -> dt.datetime:
        """Give the latest due time that is not after ``now``, in UTC.

        An hour that the clock skips in spring counts as the hour after it; of an
        hour that comes twice in autumn the first counts.
        """
        if self.every is not None:
            seconds = int(self.every.total_seconds())
            stamp = int(now.timestamp()) // seconds * seconds
            return dt.datetime.fromtimestamp(stamp, dt.UTC)
        assert self.hour is not None
        local = now.astimezone(zone).replace(
            hour=self.hour, minute=0, second=0, microsecond=0, fold=0
        )
        # Compared in UTC: two times of one zone would be compared by the wall clock.
        due = local.astimezone(dt.UTC)
        if due > now:
            due = (local - dt.timedelta(days=1)).astimezone(dt.UTC)
        return due
