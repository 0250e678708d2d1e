"""Kill a process in the middle of an act, start another, and look at the books.

For each act one process tries it, undone, to see how many statements it takes; a second
one carries it out and is killed with signal 9: by its own hand before or after a
statement or a commit, or from outside after a time. A third one proves the books, sees
that the act has happened as a whole or not at all, and asks for it again, twice, with
the same key.
"""

import hashlib
import os
import random
import signal
import time
from collections import Counter
from contextlib import suppress
from typing import NamedTuple

from django.apps import apps
from django.db import connection, connections, transaction

from dealership.rules.refusals import Refusal
from inventory.queries.books import faults_of_the_books
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import PartFactory
from tests.inventory.books import deliver
from tests.proofs.hands import EVERYTHING, Hand, names_of
from tests.proofs.processes import Child, in_a_process, named, others_at_work


WITHOUT_KEY = {"release"}
"""A repeat changes nothing, but has nothing to give."""


class Undo(Exception):
    """Ends a trial, so that nothing of it stays."""


class Trial(NamedTuple):
    """What an act takes, and the books before it."""

    statements: int
    seconds: float
    refused: bool
    before: dict[str, str]


def furnish() -> None:
    """Open two stores that share one part, with pieces on both shelves."""
    part = PartFactory.create()
    for store in StoreFactory.create_batch(2):
        deliver(store, part, 30, number=f"FIRST-{store.pk}")


def fingerprint() -> dict[str, str]:
    """Give a short sum of each table that an act in the books may touch."""
    sums = {}
    models = [*apps.get_app_config("inventory").get_models()]
    models += [apps.get_model("dealership", one) for one in ("AuditEntry", "Job")]
    for model in [*models, apps.get_model("dealership", "Series")]:
        table = model._meta.db_table
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT * FROM {table} ORDER BY id")  # noqa: S608
            text = repr(cursor.fetchall()).encode()
        sums[table] = hashlib.sha256(text).hexdigest()[:16]
    return sums


def try_it(act) -> Trial:
    """Look at the books, and try the act to its end; nothing of it stays."""

    statements = 0

    def count(execute, *words):
        nonlocal statements
        statements += 1
        return execute(*words)

    before = fingerprint()
    begun = time.monotonic()
    refused = False
    with suppress(Undo), connection.execute_wrapper(count), transaction.atomic():
        try:
            act.call()
        except Refusal:
            refused = True
        raise Undo
    seconds = time.monotonic() - begun
    assert fingerprint() == before
    return Trial(statements, seconds, refused, before)


def do_it(act, die_at: int | None) -> None:
    """Carry the act out; die at a step: two a statement, two at the commit."""
    named()
    step = 0

    def one_step():
        nonlocal step
        if step == die_at:
            os.kill(os.getpid(), signal.SIGKILL)
        step += 1

    def around(execute, *words):
        one_step()
        result = execute(*words)
        one_step()
        return result

    commit = connection._commit

    def around_commit():
        one_step()
        commit()
        one_step()

    connection._commit = around_commit
    with connection.execute_wrapper(around):
        act.call()


def look(act, before: dict[str, str]) -> bool:
    """Prove the books after a kill, and ask again; tell whether the act had happened."""
    until = time.monotonic() + 30
    while others_at_work() and time.monotonic() < until:
        time.sleep(0.02)  # the server has not seen yet that its client is gone
    assert faults_of_the_books() == []
    found = fingerprint()
    happened = found != before
    first = names_of(act.call())
    after = fingerprint()
    changed = [one for one in found if found[one] != after[one]]
    assert bool(changed) != happened, f"half of it stood; asked again: {changed}"
    again = names_of(act.call())
    assert fingerprint() == after, "the third asking changed something"
    assert again == first or act.verb in WITHOUT_KEY, (first, again)
    assert faults_of_the_books() == []
    return happened


def kill_one(act, trial: Trial, chance: random.Random) -> str:
    """Carry an act out in a process that is killed; say by whom."""
    if chance.random() < 0.5:
        die_at = chance.randint(0, 2 * trial.statements + 3)
        _told, code = Child(lambda: do_it(act, die_at)).end()
        return "own hand" if code == -signal.SIGKILL else "not killed"
    child = Child(lambda: do_it(act, None))
    time.sleep(chance.uniform(0, 1.5 * trial.seconds))
    child.kill()
    _told, code = child.end()
    return "outside" if code == -signal.SIGKILL else "not killed"


def run(kills: int, seed: int) -> dict[str, object]:
    """Kill so many processes and give the figures; raises when anything is amiss."""

    in_a_process(furnish)
    chance = random.Random(seed)
    hand = Hand("k", seed, EVERYTHING)
    names = ("killed", "own hand", "outside", "not killed", "whole", "nothing of it")
    done = Counter(dict.fromkeys(names, 0))
    verbs: Counter[str] = Counter()
    number = 0
    while done["killed"] < kills:
        number += 1
        act = hand.plan()
        connections.close_all()
        assert act is not None
        trial = Trial(*in_a_process(lambda act=act: try_it(act)))
        if trial.refused:
            continue
        how = kill_one(act, trial, chance)
        happened = in_a_process(lambda act=act, trial=trial: look(act, trial.before))
        done[how] += 1
        if how != "not killed":
            done["killed"] += 1
            done["whole" if happened else "nothing of it"] += 1
            verbs[act.verb] += 1
    return {
        "database": connection.vendor,
        "seed": seed,
        "acts": number,
        **dict(sorted(done.items())),
        "verbs": dict(sorted(verbs.items())),
    }
