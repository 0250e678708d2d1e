"""What every bench does: a throw-away database, a stop watch, one line of figures."""

from __future__ import annotations

import json
import resource
import tempfile
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from django.db import connection
from django.test.utils import override_settings


if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What a bench found.

    ``yardsticks`` gives the seconds that the yardstick took for the same items in the
    same run.
    """

    name: str
    size: str
    items: int
    seconds: float
    yardsticks: dict[str, float]

    def line(self) -> str:
        """Write the result as one line of JSON; a ratio over 1 beats the yardstick."""
        return json.dumps(
            {
                "name": self.name,
                "size": self.size,
                "items": self.items,
                "seconds": round(self.seconds, 3),
                "peak_mb": peak_mb(),
                "ratios": {
                    name: round(taken / self.seconds, 4)
                    for name, taken in self.yardsticks.items()
                },
            }
        )


def peak_mb() -> int:
    """Give the most memory that this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def seconds_of(work: Callable[[], object]) -> float:
    """Do something once and give the seconds that it took."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def median_seconds(work: Callable[[], object], times: int = 3) -> float:
    """Do something several times and give the middle of the times it took."""
    return sorted(seconds_of(work) for _time in range(times))[times // 2]


@contextmanager
def throw_away_house() -> Iterator[Path]:
    """Give an empty database and a folder for files; both are gone afterwards.

    The real database is not opened: the connection is turned to one of its own, on
    the same kind of server.
    """
    with tempfile.TemporaryDirectory(prefix="mendroll-bench-") as folder:
        place = Path(folder)
        if connection.vendor == "sqlite":
            connection.settings_dict["TEST"]["NAME"] = str(place / "bench.db")
        real = connection.settings_dict["NAME"]
        connection.creation.create_test_db(
            verbosity=0, autoclobber=True, serialize=False
        )
        try:
            with override_settings(MEDIA_ROOT=str(place / "files")):
                yield place
        finally:
            connection.creation.destroy_test_db(str(real), verbosity=0)
