"""Real processes, forked from one that has loaded everything and holds no connection."""

import json
import os
import signal
import sys
import time
from collections.abc import Callable

from django.db import connection, connections


class Child:
    """One forked process that does one thing and tells its result as JSON."""

    def __init__(self, act: Callable[[], object]) -> None:
        self.started = time.monotonic()
        self._read, write = os.pipe()
        self.pid = os.fork()
        if self.pid:
            os.close(write)
            return
        code = 1
        try:
            os.close(self._read)
            os.write(write, (json.dumps(act()) + "\n").encode())
            connections.close_all()
            code = 0
        except BaseException as error:  # noqa: BLE001 (told to the one who waits)
            print(f"{type(error).__name__}: {error}", file=sys.stderr, flush=True)
        os._exit(code)

    def kill(self) -> None:
        """Kill it outright."""
        os.kill(self.pid, signal.SIGKILL)

    def end(self) -> tuple[object, int]:
        """Wait for its end; give what it told (None if nothing) and how it ended.

        The second is the exit code, or below zero the signal that ended it.
        """
        said = b""
        while part := os.read(self._read, 65_536):
            said += part
        os.close(self._read)
        _pid, status = os.waitpid(self.pid, 0)
        whole = said.decode() if said.endswith(b"\n") else "null"
        return json.loads(whole), os.waitstatus_to_exitcode(status)


def in_a_process(act: Callable[[], object]) -> object:
    """Do something in a process of its own and give its result."""
    told, code = Child(act).end()
    if code:
        raise RuntimeError(f"the process ended with {code}")
    return told


def others_at_work() -> int:
    """Count the connections of other processes to this PostgreSQL database."""
    if connection.vendor != "postgresql":
        return 0
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
            " AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
            " AND application_name = 'proof'"
        )
        return cursor.fetchone()[0]


def deadlocks() -> int:
    """Count the deadlocks that PostgreSQL has resolved in this database."""
    if connection.vendor != "postgresql":
        return 0
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()"
        )
        return cursor.fetchone()[0]


def named() -> None:
    """Give this process's connection a name that others can look for."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET application_name = 'proof'")
