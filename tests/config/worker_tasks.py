"""Handlers that a real worker runs in the tests of the queue."""

import os
import signal
import time
from datetime import datetime

import time_machine
from django.db import transaction

from campaigns.domain import letter_chunks
from campaigns.tasks import letters
from dealership.domain.jobs import handles
from dealership.domain.series import next_number
from dealership.models import AuditEntry, Store


if os.environ.get("MENDROLL_TEST_CLOCK"):
    # The worker's clock, and that of the children it forks, starts here and ticks.
    time_machine.travel(
        datetime.fromisoformat(os.environ["MENDROLL_TEST_CLOCK"]), tick=True
    ).start()


if os.environ.get("MENDROLL_TEST_LETTERS_AT_ONCE"):
    # Small chunks that take a while, so that a worker can be killed between two.
    letter_chunks.FILLED_AT_ONCE = int(os.environ["MENDROLL_TEST_LETTERS_AT_ONCE"])
    set_chunk = letters.set_chunk

    def set_slowly(**facts):
        time.sleep(0.4)
        return set_chunk(**facts)

    letters.set_chunk = set_slowly


@handles("tests.mark", words="Marking")
def mark(run, *, mark_id):
    """Take a number and write one line, once, after 50 ms of work."""
    time.sleep(0.05)
    act = f"mark.{mark_id}"
    with transaction.atomic():
        if AuditEntry.objects.filter(act=act).exists():
            return None
        number = next_number(store=Store.objects.get(code="MARK"), kind="mark")
        AuditEntry.objects.create(act=act, subject=f"mark:{number}", at=run.now())
    return {"number": number}


@handles("tests.fork_again", words="Losing a worker's child")
def fork_again(run):
    """Take its own process down the first time, so that the pool forks anew."""
    if run.job.interruptions == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    return {"pid": os.getpid()}
