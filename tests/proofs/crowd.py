"""A crowd after a hundred pieces: many hands at once, for some seconds.

Half of the pieces stand in each of two stores. Everybody
reserves, settles, releases, counts, sends and receives at random. At the end the books
are proved, and every piece is where the books can explain it.
"""

import random
import threading
import time
import traceback
from collections import Counter

from django.db import connection, connections
from django.db.models import Sum

from dealership.rules.refusals import Refusal
from inventory.models import Balance, Reservation
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import INSIDE, Account, ReservationState
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import PartFactory
from tests.inventory.books import deliver
from tests.proofs.hands import CROWDED, Hand
from tests.proofs.processes import Child, deadlocks, in_a_process


PIECES = 100
STUCK_SECONDS = 30.0
"""An act that takes longer stands still."""
FEWEST = 6
"""Acts that everybody tries, however slow the machine is."""


def furnish() -> None:
    """Put fifty pieces on the shelf of each of two stores."""
    part = PartFactory.create()
    for store in StoreFactory.create_batch(2):
        deliver(store, part, PIECES // 2, number=f"FIRST-{store.pk}")


def work(number: int, seed: int, seconds: float) -> dict[str, object]:
    """Do acts for some seconds; give how many of each, what failed, the longest wait."""
    chance = random.Random(seed * 1_009 + number)
    hand = Hand(f"w{number}", chance.randint(0, 2**40), CROWDED)
    done: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    errors: list[str] = []
    longest, number = 0.0, 0
    until = time.monotonic() + seconds
    while number < FEWEST or time.monotonic() < until:
        number += 1
        act = hand.plan()
        if act is None:
            break
        begun = time.monotonic()
        try:
            act.call()
            done[act.verb] += 1
        except Refusal as why:
            refused[type(why).__name__] += 1
        except Exception:  # noqa: BLE001 (told at the end, whatever it is)
            errors.append(traceback.format_exc(limit=-3))
        longest = max(longest, time.monotonic() - begun)
    return {"done": done, "refused": refused, "errors": errors, "longest": longest}


def as_processes(workers: int, seconds: float, seed: int) -> list[dict]:
    """Let each pair of hands be a process of its own."""
    crowd = [
        Child(lambda number=number: work(number, seed, seconds))
        for number in range(workers)
    ]
    told = []
    for child in crowd:
        result, code = child.end()
        assert code == 0, f"a process ended with {code}"
        told.append(result)
    return told


def as_threads(workers: int, seconds: float, seed: int) -> list[dict]:
    """Let each pair of hands be a thread of this process."""
    told: list[dict] = []

    def one(number: int) -> None:
        try:
            told.append(work(number, seed, seconds))
        finally:
            connections.close_all()

    crowd = [threading.Thread(target=one, args=(number,)) for number in range(workers)]
    for thread in crowd:
        thread.start()
    for thread in crowd:
        thread.join(seconds + 4 * STUCK_SECONDS)
    assert not any(thread.is_alive() for thread in crowd), "a thread stands still"
    return told


def audit() -> dict[str, object]:
    """Prove the books and follow every piece; give what is wrong, and where they are."""

    balances = Balance.objects.aggregate(**{one: Sum(one) for one in Account})
    held = Reservation.objects.filter(state=ReservationState.HELD)
    return {
        "database": connection.vendor,
        "faults": [str(one) for one in faults_of_the_books()],
        "pieces": balances,
        "inside": sum(balances[one] for one in INSIDE),
        "holds": held.aggregate(n=Sum("quantity"))["n"] or 0,
        "deadlocks": deadlocks(),
    }


def run(how: str, workers: int, seconds: float, seed: int) -> dict[str, object]:
    """Let the crowd loose and give the figures."""
    in_a_process(furnish)
    before = in_a_process(deadlocks)
    crowd = as_threads if how == "threads" else as_processes
    told = crowd(workers, seconds, seed)
    done: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    errors: list[str] = []
    for one in told:
        done.update(one["done"])
        refused.update(one["refused"])
        errors += one["errors"]
    found = in_a_process(audit)
    found["deadlocks"] -= before
    return {
        "how": how,
        "workers": workers,
        "seconds": seconds,
        "seed": seed,
        "acts": done.total(),
        "done": dict(sorted(done.items())),
        "refused": dict(sorted(refused.items())),
        "errors": errors,
        "longest_seconds": round(max(one["longest"] for one in told), 2),
        **found,
    }
