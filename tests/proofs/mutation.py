"""Run the narrow tests of the ledger against each mutant, in forked processes.

pytest collects once and runs all the tests once, to see that they pass, how long each
takes and which functions it enters. Then each mutant gets a process of its own, forked
from there: it puts its fault in and runs, quickest first, the tests that enter the
function at fault, until one fails.
"""

import json
import os
import select
import shutil
import signal
import sys
import time
from collections import defaultdict
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path

import pytest
from django.db import connections

from tests.proofs.figures import Run, Verdict
from tests.proofs.mutants import FEW, MODULES, ROOT, Mutant, mutants_of, put_in


TESTS = (
    *("ledger", "promises", "locks", "spare", "once", "reserving", "holding"),
    *("transferring", "selling", "quarantine", "counting"),
)
"""The narrow tests: of the ledger itself, and of the verbs next to it."""

OPTIONS = ("-q", "-s", "--reuse-db", "-p", "no:randomly", "-p", "no:cacheprovider")
FILES = {str((ROOT / one.replace(".", "/")).with_suffix(".py")) for one in MODULES}
ON_POSTGRES = bool(os.environ.get("MENDROLL_TEST_ON_POSTGRES"))
WORKERS = int(os.environ.get("MENDROLL_PROOF_WORKERS", "2"))
SECONDS = 120
"""A mutant that takes longer runs in a circle; the tests take less than that."""


class Runner:
    """A plugin of pytest that runs the tests once, then once for each mutant."""

    def __init__(self, mutants: list[Mutant], *, workers: int) -> None:
        self.mutants = mutants
        self.workers = workers
        self.verdicts: list[Verdict] = []
        self.seconds: dict[str, float] = defaultdict(float)
        self.enters: dict[str, set[tuple[str, str]]] = defaultdict(set)
        self.failed: list[str] = []

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item):
        seen = self.enters[item.nodeid]

        def look(frame, event, _argument):
            if event == "call" and frame.f_code.co_filename in FILES:
                seen.add((frame.f_code.co_filename, frame.f_code.co_qualname))

        before = time.process_time()
        sys.setprofile(look)
        try:
            return (yield)
        finally:
            sys.setprofile(None)
            self.seconds[item.nodeid] += time.process_time() - before

    def pytest_runtest_logreport(self, report):
        if report.failed:
            self.failed.append(report.nodeid)

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session):
        items = session.items
        # the last is followed by the session, so that what lives as long as that (the
        # database) stays up
        for item, following in zip(items, [*items[1:], session], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        assert not self.failed, f"without a fault these fail: {self.failed}"
        connections.close_all()
        self._run_all(items)
        return True

    def _run_all(self, items) -> None:
        waiting = list(reversed(self.mutants))
        running: dict[int, tuple[int, Mutant, int, float, int]] = {}
        free = list(range(self.workers))
        while waiting or running:
            while waiting and free:
                mutant, place = waiting.pop(), free.pop()
                chosen = self._chosen(items, mutant)
                pid, pipe = self._fork(chosen, mutant, place)
                until = time.monotonic() + SECONDS
                running[pipe] = (pid, mutant, place, until, len(chosen))
            ready, _w, _x = select.select(list(running), [], [], 1)
            for pipe, (pid, mutant, place, until, tests) in list(running.items()):
                late = time.monotonic() > until
                if pipe not in ready and not late:
                    continue
                if late:
                    with suppress(ProcessLookupError):
                        os.kill(pid, signal.SIGKILL)
                said = "ran in a circle" if late else _read(pipe)
                _pid, code = os.waitpid(pid, 0)
                if not said and code:
                    said = "did not run"
                os.close(pipe)
                del running[pipe]
                free.append(place)
                verdict = Verdict(mutant=mutant, killed_by=said.strip("-"), tests=tests)
                self.verdicts.append(verdict)
                word = "killed" if verdict.killed else "ALIVE "
                print(
                    f"{len(self.verdicts):4}/{len(self.mutants)} {word}"
                    f" {mutant.line:4} {mutant.name}  {said}",
                    file=sys.stderr,
                    flush=True,
                )

    def _chosen(self, items, mutant: Mutant):
        """Give the tests that enter the function at fault, the quickest first."""
        path = str((ROOT / mutant.module.replace(".", "/")).with_suffix(".py"))
        name = mutant.function.split(".")[-1]
        chosen = [
            item
            for item in items
            if not mutant.function
            or any(
                file == path and qualname.split(".")[-1] == name
                for file, qualname in self.enters[item.nodeid]
            )
        ]
        return sorted(chosen, key=lambda item: self.seconds[item.nodeid])

    def _fork(self, chosen, mutant: Mutant, place: int) -> tuple[int, int]:
        read, write = os.pipe()
        pid = os.fork()
        if pid:
            os.close(write)
            return pid, read
        os.close(read)
        _own_database(place)
        nothing = os.open(os.devnull, os.O_WRONLY)
        for stream in (1, 2):
            os.dup2(nothing, stream)
        self.failed.clear()
        try:
            put_in(mutant)
            self._until_one_fails(chosen)
            said = self.failed[0] if self.failed else "-"
        except BaseException as error:  # noqa: BLE001 (whatever a fault may do)
            said = f"did not run: {type(error).__name__}"
        os.write(write, said.encode())
        os._exit(0)

    def _until_one_fails(self, chosen) -> None:
        if not chosen:
            return
        session = chosen[0].session
        for item, following in zip(chosen, [*chosen[1:], session], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if self.failed:
                return


def _read(pipe: int) -> str:
    said = b""
    while part := os.read(pipe, 4096):
        said += part
    return said.decode()


def _own_database(place: int) -> None:
    """Give a process a copy of the database file; on PostgreSQL they roll back."""
    connection = connections["default"]
    if connection.vendor == "sqlite":
        whole = Path(connection.settings_dict["NAME"])
        own = whole.with_name(f"{whole.name}.{place}")
        for rest in ("-wal", "-shm"):
            Path(f"{own}{rest}").unlink(missing_ok=True)
        shutil.copyfile(whole, own)
        connection.settings_dict["NAME"] = str(own)


def narrow_tests() -> list[str]:
    """Name the files of the narrow tests."""
    domain = [f"tests/inventory/domain/test_{one}.py" for one in TESTS]
    return [
        *domain,
        "tests/inventory/rules/test_costing.py",
        "tests/campaigns/queries/test_offers.py",
    ]


def run(mutants: list[Mutant]) -> list[Verdict]:
    """Give the verdict on each of these mutants."""
    runner = Runner(mutants, workers=1 if ON_POSTGRES else WORKERS)
    marks = "postgres or both" if ON_POSTGRES else "not postgres"
    words = [*OPTIONS, "--timeout=0", "-m", marks, *narrow_tests()]
    code = pytest.main(words, plugins=[runner])
    if code not in (0, pytest.ExitCode.NO_TESTS_COLLECTED) or not runner.verdicts:
        raise SystemExit(f"pytest ended with {code}")
    return runner.verdicts


def main(words: list[str]) -> None:
    """Run the mutants of a size, or those of an earlier run that are still alive."""
    kept, size = Path(words[0]), words[1]
    done = Run.read(kept)
    if done:
        alive = [one.mutant for one in done if not one.killed]
        again = {one.mutant: one for one in run(alive)} if alive else {}
        done = [again.get(one.mutant, one) for one in done]
    else:
        names = MODULES if size == "full" else FEW
        done = run([one for name in names for one in mutants_of(name)])
    text = json.dumps([asdict(one) for one in done], indent=1)
    kept.write_text(text, encoding="utf-8")
    killed = sum(one.killed for one in done)
    print(f"{killed} of {len(done)} killed")


if __name__ == "__main__":
    main(sys.argv[1:])
