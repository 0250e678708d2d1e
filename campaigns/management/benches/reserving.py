"""Many who want parts at one moment, against rows that nobody looks after.

The yardstick is one INSERT statement that writes the rows of a hold (hold, movement,
its two lines, the trail) and asks nothing: no balance, no check. Sixteen threads on
PostgreSQL with durable commits take turns with it, round by round, in one run. After
all that the books are worked out anew: nothing oversold, nothing drifted. The same
verb then runs on SQLite, where writers queue, to see how long the last one waits.
"""

from __future__ import annotations

import json
import random
import statistics
import threading
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import psycopg
from django.db import connection, connections, transaction
from django.utils import timezone

from campaigns.management.benches.measuring import (
    Result,
    on_postgres,
    throw_away_house,
)
from dealership.models import Store
from inventory.domain.ledger import Line, ensure_pockets, post
from inventory.domain.reserving import NothingFree, reserve_by_looking, reserve_kit
from inventory.models import (
    Balance,
    CostLayer,
    Entry,
    Movement,
    Part,
    Supplier,
)
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import Account, MovementKind


if TYPE_CHECKING:
    from collections.abc import Callable

    Ask = Callable[[str, random.Random], object]

THREADS = 16
PARTS = 100
SECONDS = {"small": 0.7, "full": 4.0}
ROUNDS = {"small": 2, "full": 5}
POSTED = {"small": 100, "full": 1_000}
AMPLE = 10_000_000
LAST_PIECES = 100
PATIENCE_SECONDS = 5.0

_INSERT = """
WITH movement AS (
    INSERT INTO inventory_movement
        (key, kind, store_id, subject, why, by_id, recorded_at, effective_on)
    VALUES (%(key)s, 'reserve', %(store)s, %(key)s, '', NULL, %(at)s, %(on)s)
    RETURNING id
), line AS (
    INSERT INTO inventory_entry
        (movement_id, store_id, part_id, earmark_id, account, quantity)
    SELECT m.id, %(store)s, %(part)s, NULL, a.account, a.pieces
    FROM movement m CROSS JOIN (VALUES ('free', -1), ('held', 1)) AS a(account, pieces)
), hold AS (
    INSERT INTO inventory_reservation
        (key, store_id, part_id, earmark_id, quantity, used, state, subject,
         needed_on, made_by_id, made_at)
    VALUES (%(key)s || '/0', %(store)s, %(part)s, NULL, 1, 0, 'held', %(key)s,
         %(on)s, NULL, %(at)s)
    RETURNING id
), trail AS (
    INSERT INTO dealership_auditentry
        (at, by_id, store_id, act, subject, before, after, why)
    SELECT %(at)s, NULL, %(store)s, 'reservation.made',
        'inventory.reservation:' || id, '{}', %(after)s, ''
    FROM hold
)
SELECT id FROM hold
"""
# Makes the pockets of the yardstick's store fit the lines that it wrote past them.
_MEND = """
UPDATE inventory_balance b SET free = b.free - s.pieces, held = b.held + s.pieces
FROM (SELECT part_id, sum(quantity) AS pieces FROM inventory_reservation
      WHERE store_id = %s GROUP BY part_id) AS s
WHERE b.store_id = %s AND b.part_id = s.part_id
"""


@dataclass
class Turn:
    """What the threads did in one turn: calls that came through, waits in seconds."""

    seconds: float
    done: int = 0
    refused: int = 0
    failed: list[BaseException] = field(default_factory=list)
    waits: list[float] = field(default_factory=list)

    @property
    def rate(self) -> float:
        """Give calls answered per second."""
        return (self.done + self.refused) / self.seconds

    @property
    def p99_ms(self) -> float:
        """Give the wait in milliseconds that one call in a hundred exceeds."""
        waits = sorted(self.waits)
        return waits[int(len(waits) * 0.99)] * 1000 if waits else 0.0


@dataclass(frozen=True)
class House:
    """A store with parts in ample stock."""

    store: Store
    parts: list[Part]

    def ask(self, kind: Callable[..., object], *, parts: int, hot: bool = False) -> Ask:
        """Give the act of one call: a piece each of so many parts, by chance."""
        store, chosen = self.store, self.parts[:parts] if hot else self.parts
        today = timezone.localdate()

        def act(key: str, chance: random.Random) -> object:
            return kind(
                key=key,
                store=store,
                wanted=dict.fromkeys(chance.sample(chosen, parts), 1),
                earmarks=[None],
                subject=key,
                needed_on=today,
                today=today,
                by=None,
                at=timezone.now(),
            )

        return act

    def insert(self, key: str, chance: random.Random) -> object:
        """Write the rows of one hold, and look at nothing."""
        part, now = chance.choice(self.parts), timezone.now()
        facts = {
            "key": key,
            "store": self.store.pk,
            "part": part.pk,
            "at": now,
            "on": timezone.localdate(now),
            "after": json.dumps({"part": part.pk, "pieces": 1, "state": "held"}),
        }
        link: Any = connection.connection
        link.prepare_threshold = 0  # planned once, as our own statement is
        with psycopg.Cursor(link) as cursor:
            cursor.execute(_INSERT, facts)
            return cursor.fetchall()


def run(size: str) -> Result:
    """Measure on PostgreSQL where there is one, then on SQLite."""
    with throw_away_house():
        sqlite = _on_sqlite(size) if connection.vendor == "sqlite" else {}
    with on_postgres() as there:
        if not there:
            return _without_postgres(size, sqlite)
        with throw_away_house():
            return _measured(size, sqlite)


def _without_postgres(size: str, sqlite: dict[str, object]) -> Result:
    """Say plainly that the main figure is not here."""
    return Result(
        name="reserve",
        size=size,
        items=0,
        seconds=1.0,
        yardsticks={},
        details={"postgresql": "not found: measured on SQLite only", "sqlite": sqlite},
    )


def _measured(size: str, sqlite: dict[str, object]) -> Result:
    house, bare = furnish("OURS"), furnish("BARE")
    acts: dict[str, Ask] = {
        "insert": bare.insert,
        "reserve": house.ask(reserve_kit, parts=1),
        "kit": house.ask(reserve_kit, parts=3),
        "for_update": house.ask(reserve_by_looking, parts=1),
        "one_hot_part": house.ask(reserve_kit, parts=1, hot=True),
    }
    for act in acts.values():  # what a running server has met before
        for number in range(8):
            act(f"warm {id(act)} {number}", random.Random(number))  # noqa: S311
    turns: dict[str, list[Turn]] = {name: [] for name in acts}
    before = _deadlocks()
    for number in range(ROUNDS[size]):
        for name, act in acts.items():
            seed = f"{name} {number}"
            turns[name].append(crowd(act, THREADS, SECONDS[size], seed=seed))
    last = _last_pieces(house.store)
    deadlocks = _deadlocks() - before
    with connection.cursor() as cursor:
        cursor.execute(_MEND, [bare.store.pk, bare.store.pk])
    rates = {
        name: statistics.median(turn.rate for turn in of_name)
        for name, of_name in turns.items()
    }
    failed = [one for of in turns.values() for turn in of for one in turn.failed]
    if failed:
        raise failed[0]
    one = 1 / rates["reserve"]
    return Result(
        name="reserve",
        size=size,
        items=sum(turn.done for turn in turns["reserve"]),
        seconds=one,
        yardsticks={
            "uncontrolled_insert": 1 / rates["insert"],
            "for_update": 1 / rates["for_update"],
        },
        details={
            "kit_to_one_part": round(rates["kit"] / rates["reserve"], 4),
            "rates": {name: round(rate) for name, rate in rates.items()},
            "p99_ms": {
                name: round(max(turn.p99_ms for turn in of_name), 1)
                for name, of_name in turns.items()
            },
            **last,
            "drift": len(faults_of_the_books()),
            "deadlocks": deadlocks,
            "balances_cost": _cost_of_balances(house, POSTED[size]),
            "sqlite": sqlite,
        },
    )


def _last_pieces(store: Store) -> dict[str, object]:
    """Let twice as many threads after the last pieces of a part; count what went."""
    part = _part("LAST")
    fill(store, [part], LAST_PIECES)
    act = House(store, [part]).ask(reserve_kit, parts=1, hot=True)
    turn = crowd(act, THREADS * 2, None, calls=LAST_PIECES // THREADS, seed="last")
    held = Balance.objects.get(store=store, part=part).held
    return {
        "oversold": max(0, turn.done - LAST_PIECES) + abs(turn.done - held),
        "last_pieces": {"sold": turn.done, "refused": turn.refused},
    }


def _cost_of_balances(house: House, count: int) -> float:
    """Compare movements that keep balances with the same rows alone, by one writer."""
    part, now, today = house.parts[0], timezone.now(), timezone.localdate()
    free, held = Account.FREE, Account.HELD

    def kept(number: int) -> None:
        with transaction.atomic():
            line = Line(part=part, earmark=None, source=free, target=held, quantity=1)
            post(
                key=f"kept {number}",
                kind=MovementKind.RESERVE,
                store=house.store,
                lines=[line],
                by=None,
                at=now,
                effective_on=today,
            )

    def plain(number: int) -> None:
        with transaction.atomic():
            movement = Movement.objects.create(
                key=f"plain {number}",
                kind=MovementKind.RESERVE,
                store=house.store,
                recorded_at=now,
                effective_on=today,
            )
            Entry.objects.bulk_create(
                Entry(
                    movement=movement,
                    store=house.store,
                    part=part,
                    account=account,
                    quantity=pieces,
                )
                for account, pieces in ((free, -1), (held, 1))
            )

    taken = {kept: 0.0, plain: 0.0}
    for number in range(count):
        for write in taken:
            start = time.perf_counter()
            write(number)
            taken[write] += time.perf_counter() - start
    return round(taken[kept] / taken[plain], 2)


def _on_sqlite(size: str) -> dict[str, object]:
    """Let 16 and then 32 writers queue for one file; tell the longest wait."""
    house = furnish("FILE")
    act = house.ask(reserve_kit, parts=1)
    told: dict[str, object] = {}
    for threads in (THREADS, THREADS * 2):
        turn = crowd(act, threads, SECONDS[size] * 3, seed=f"file {threads}")
        told[f"{threads}_writers"] = {
            "rate": round(turn.rate),
            "longest_wait_seconds": round(max(turn.waits), 2),
            "failed": len(turn.failed),
        }
    told["drift"] = len(faults_of_the_books())
    told["balances_cost"] = _cost_of_balances(house, POSTED[size])
    return told


def crowd(
    act: Ask, threads: int, seconds: float | None, *, seed: str, calls: int = 0
) -> Turn:
    """Let threads do an act for some seconds, or so many times each; count."""
    gate, latch = threading.Barrier(threads + 1), threading.Lock()
    turn = Turn(seconds or 1.0)

    def work(number: int) -> None:
        chance = random.Random(f"{seed} {number}")  # noqa: S311 (the same every time)
        done = refused = count = 0
        waits: list[float] = []
        try:
            connection.ensure_connection()
            gate.wait()
            latest = time.perf_counter() + (seconds or 3600)
            while time.perf_counter() < latest and (seconds or count < calls):
                start = time.perf_counter()
                try:
                    act(f"{seed} {number} {count}", chance)
                    done += 1
                except NothingFree:
                    refused += 1
                waits.append(time.perf_counter() - start)
                count += 1
        except Exception as fault:  # noqa: BLE001 (counted, and told at the end)
            with latch:
                turn.failed.append(fault)
        finally:
            connections.close_all()
        with latch:
            turn.done += done
            turn.refused += refused
            turn.waits += waits

    workers = [threading.Thread(target=work, args=(n,)) for n in range(threads)]
    for worker in workers:
        worker.start()
    gate.wait()
    begin = time.perf_counter()
    for worker in workers:
        worker.join()
    turn.seconds = time.perf_counter() - begin
    return turn


def furnish(code: str) -> House:
    """Make a store with parts in ample stock, all of it in the books."""
    store = Store.objects.create(code=code, name=f"Bench {code.lower()}")
    parts = [_part(f"{code}-{number:03}") for number in range(PARTS)]
    fill(store, parts, AMPLE)
    return House(store, parts)


def fill(store: Store, parts: list[Part], pieces: int) -> None:
    """Take pieces of each part in, as a delivery does."""
    now, today = timezone.now(), timezone.localdate()
    layers = CostLayer.objects.bulk_create(
        CostLayer(
            store=store,
            part=part,
            source="bench",
            unit_cost_cents=1_000,
            quantity=pieces,
            received_on=today,
        )
        for part in parts
    )
    ensure_pockets(store=store, pockets=[(part.pk, None) for part in parts])
    post(
        key=f"fill {store.pk} {parts[0].pk}",
        kind=MovementKind.RECEIVE,
        store=store,
        lines=[
            Line(
                part=layer.part,
                earmark=None,
                source=Account.SUPPLIER,
                target=Account.FREE,
                quantity=pieces,
                layer=layer,
            )
            for layer in layers
        ],
        by=None,
        at=now,
        effective_on=today,
    )


def _part(number: str) -> Part:
    supplier, _made = Supplier.objects.get_or_create(code="OW", name="Ostby Works")
    return Part.objects.create(
        number=number, name="Seat rail bolt", supplier=supplier, unit_cost_cents=1_000
    )


def _deadlocks() -> int:
    """Ask the server how many deadlocks it has broken in this database."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()"
        )
        (count,) = cursor.fetchone()
    return int(count)
