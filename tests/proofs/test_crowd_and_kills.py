"""The proofs with real threads, processes and kills, on the database of the tests.

Small here; ``./mendroll prove NAME --size full`` runs the same in full.
"""

import json
import os
import secrets
import subprocess
import sys

import pytest
from django.db import connection, connections

from tests.proofs.crowd import PIECES, STUCK_SECONDS
from tests.proofs.mutants import ROOT


pytestmark = [
    pytest.mark.both,
    pytest.mark.committing,
    pytest.mark.usefixtures("committing_db"),
    pytest.mark.timeout(3_600),
]

FULL = os.environ.get("MENDROLL_PROOF_SIZE") == "full"


def address() -> str:
    """Give the address of the test database, for another process."""
    facts = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{facts['NAME']}"
    who = f"{facts['USER']}:{facts['PASSWORD']}"
    return f"postgres://{who}@{facts['HOST']}:{facts['PORT']}/{facts['NAME']}"


def run_apart(name: str, **facts: object) -> dict:
    """Run one proof as a program of its own, on the test database."""
    connections.close_all()
    words = [f"{key}={value}" for key, value in facts.items()]
    done = subprocess.run(  # noqa: S603 (our own module)
        [sys.executable, "-m", "tests.proofs.apart", name, *words],
        cwd=ROOT,
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "config.settings_test",
            "MENDROLL_TEST_ON_POSTGRES": "",
            "MENDROLL_DATABASE_URL": address(),
            "MENDROLL_REDIS_URL": "",
        },
        capture_output=True,
        text=True,
        check=False,
        timeout=3_000,
    )
    assert done.returncode == 0, done.stderr[-4000:]
    figures = json.loads(done.stdout.splitlines()[-1])
    if FULL:
        print(json.dumps(figures))
    return figures


def seed() -> int:
    """Give a random number to begin with; a failure prints it."""
    number = int(os.environ.get("MENDROLL_PROOF_SEED") or secrets.randbelow(10**6))
    print(f"MENDROLL_PROOF_SEED={number}")
    return number


@pytest.mark.parametrize("how", ["threads", "processes"])
def test_a_crowd_leaves_books_that_balance(how):
    workers, seconds = (32, 60) if FULL else (8, 2)
    told = run_apart("crowd", how=how, workers=workers, seconds=seconds, seed=seed())

    assert told["database"] == connection.vendor
    assert (told["errors"], told["faults"], told["deadlocks"]) == ([], [], 0)
    assert told["longest_seconds"] < STUCK_SECONDS
    assert told["acts"] > 0
    pieces = told["pieces"]
    # what a store has sent came out of the other one's supplier account
    assert -pieces["supplier"] == PIECES
    out = pieces["used"] + pieces["sold"] + pieces["scrapped"] + pieces["returned"]
    assert told["inside"] == PIECES - out - pieces["variance"]
    assert told["holds"] == pieces["held"] <= PIECES
    assert min(pieces[one] for one in ("free", "held", "quarantine", "transit")) >= 0


def test_a_killed_process_leaves_an_act_whole_or_undone():
    kills = 200 if FULL else 12
    told = run_apart("kills", kills=kills, seed=seed())

    assert told["database"] == connection.vendor
    assert told["killed"] == kills == told["whole"] + told["nothing of it"]
    assert told["nothing of it"] > 0
