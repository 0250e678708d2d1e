"""What every bench does: a throw-away database, a stop watch, one line of figures."""

from __future__ import annotations

import json
import resource
import tempfile
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import dj_database_url
from django.db import connection, connections
from django.test.utils import override_settings


if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


@dataclass(frozen=True, slots=True)
class Watch:
    """What one piece of work took, by the clock and of the processor.

    The processor's seconds (user and system, of this process) say what the work costs
    also on a machine that is busy with other things. ``peak_mb`` is the most memory
    that the process had held by its end.
    """

    seconds: float
    cpu_seconds: float
    peak_mb: int

    def told(self) -> dict[str, float]:
        """Give the figures as the line of results holds them."""
        return {
            "seconds": round(self.seconds, 3),
            "cpu_seconds": round(self.cpu_seconds, 3),
            "peak_mb": self.peak_mb,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What a bench found.

    ``yardsticks`` gives the seconds that the yardstick took for the same items in the
    same run; ``steps`` the parts of the work, each with its own watch; ``details`` what
    else is worth telling.
    """

    name: str
    size: str
    items: int
    seconds: float
    yardsticks: dict[str, float]
    steps: dict[str, Watch] = field(default_factory=dict)
    details: dict[str, object] = field(default_factory=dict)

    def line(self) -> str:
        """Write the result as one line of JSON; a ratio over 1 beats the yardstick."""
        told: dict[str, object] = {
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
        if self.steps:
            told["steps"] = {name: watch.told() for name, watch in self.steps.items()}
        return json.dumps(told | self.details)


def peak_mb() -> int:
    """Give the most memory that this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def seconds_of(work: Callable[[], object]) -> float:
    """Do something once and give the seconds that it took."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def watched(work: Callable[[], object]) -> Watch:
    """Do something once and give what it took."""
    start, cpu = time.perf_counter(), time.process_time()
    work()
    return Watch(time.perf_counter() - start, time.process_time() - cpu, peak_mb())


def median_seconds(work: Callable[[], object], times: int = 3) -> float:
    """Do something several times and give the middle of the times it took."""
    return sorted(seconds_of(work) for _time in range(times))[times // 2]


@contextmanager
def on_postgres() -> Iterator[bool]:
    """Work on PostgreSQL: on that of the settings, else on one started for the while.

    Gives False, and changes nothing, where there is none to start: the servers are
    those of the tests, and an installation may come without them.
    """
    if connection.vendor == "postgresql":
        yield True
        return
    try:
        services = import_module("tests.services")
    except ModuleNotFoundError:
        yield False
        return
    if services.postgres_binaries() is None:
        yield False
        return
    alias, usual = connection.alias, connections.settings
    with services.postgres_server() as address:
        connections.close_all()
        connections.settings = connections.configure_settings(
            # kept open between two requests, as config.settings keeps it
            {
                alias: dj_database_url.parse(
                    address, conn_max_age=600, conn_health_checks=True
                )
            }
        )
        del connections[alias]
        try:
            yield True
        finally:
            connections.close_all()
            connections.settings = usual
            del connections[alias]


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
