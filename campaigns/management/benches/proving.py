"""Every balance worked out from its entries, against the same question in memory.

The yardstick is DuckDB, which holds the same rows in columns in memory and answers the
very statements of the nightly proof (inventory.queries.books). Loading is not counted
on either side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import duckdb
from django.db import connection
from django.utils import timezone

from campaigns.management.benches.measuring import (
    Result,
    median_seconds,
    on_postgres,
    throw_away_house,
)
from campaigns.management.benches.reconcile_tables import (
    POCKETS,
    Rows,
    Words,
    pour,
)
from dealership.models import Store
from inventory import models as books
from inventory.queries.books import RULES, faults_of_the_books


if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True, slots=True)
class Size:
    """How large the books are; four rounds of movements at each pocket, and two more."""

    stores: int
    parts: int
    rounds: int

    @property
    def pockets(self) -> int:
        """Give the pairs of store and part."""
        return self.stores * self.parts

    @property
    def movements(self) -> int:
        """Give the movements; each has two entries."""
        return self.pockets * self.rounds


SIZES = {"small": Size(5, 200, 10), "full": Size(50, 2_000, 50)}


def rows_of(size: Size, words: Words) -> Iterator[Rows]:
    """Give the rows of each table; n counts movements, or pockets.

    At each pocket, over and over: two pieces come in, one is held, that one is fitted,
    the other is fitted. At the end two have come in and one of them is held.
    """
    pocket = f"(n % {size.pockets})"
    store = f"({pocket} % {size.stores} + 1)"
    part = f"({words.part(pocket, size.stores)} + 1)"
    act = f"({words.part('n', size.pockets)} % 4)"
    whole = (size.rounds - 2) // 4
    code = {"id": "n + 1", "code": words.padded("n", 5), "name": "'Bench'"}
    yield Rows(Store, size.stores, "", code)
    yield Rows(books.Supplier, 1, "", code)
    yield Rows(
        books.Part,
        size.parts,
        "",
        {
            "id": "n + 1",
            "number": words.padded("n", 6),
            "name": "'Bolt'",
            "supplier_id": "1",
            "unit_cost_cents": "1500",
        },
    )
    yield Rows(
        books.CostLayer,
        size.pockets,
        "",
        {
            "id": "n + 1",
            "store_id": store,
            "part_id": part,
            "source": "'b'",
            "unit_cost_cents": "1500",
            "quantity": str(2 * whole + 2),
            "taken": str(2 * whole),
            "received_on": words.day("9"),
        },
    )
    yield Rows(
        books.Movement,
        size.movements,
        "",
        {
            "id": "n + 1",
            "key": "'m' || n",
            "kind": f"CASE {act} WHEN 0 THEN 'receive' WHEN 1 THEN 'reserve'"
            " WHEN 2 THEN 'settle' ELSE 'use' END",
            "store_id": store,
            "recorded_at": words.moment(),
            "effective_on": words.day("9"),
        },
    )
    yield from _entries(size, store=store, part=part, pocket=pocket, act=act)
    yield Rows(
        books.Reservation,
        size.pockets,
        "",
        {
            "id": "n + 1",
            "key": "'h' || n",
            "store_id": store,
            "part_id": part,
            "quantity": "1",
            "subject": "'visit_job:' || n",
            "state": "'held'",
            "needed_on": words.day("0"),
            "made_at": words.moment(),
        },
    )


def _entries(
    size: Size, *, store: str, part: str, pocket: str, act: str
) -> Iterator[Rows]:
    pieces = f"CASE {act} WHEN 0 THEN 2 ELSE 1 END"
    sides = (
        ("WHEN 0 THEN 'supplier' WHEN 2 THEN 'held' ELSE 'free'", f"-({pieces})"),
        ("WHEN 0 THEN 'free' WHEN 1 THEN 'held' ELSE 'used'", pieces),
    )
    for side, (account, quantity) in enumerate(sides):
        yield Rows(
            books.Entry,
            size.movements,
            "",
            {
                "id": f"{size.movements * side} + n + 1",
                "movement_id": "n + 1",
                "store_id": store,
                "part_id": part,
                "account": f"CASE {act} {account} END",
                "quantity": quantity,
                "layer_id": f"CASE {act} WHEN 1 THEN NULL ELSE {pocket} + 1 END",
            },
        )


def run(size: str) -> Result:
    """Prove the books on SQLite, PostgreSQL and in memory; all must find them sound."""
    chosen, taken = SIZES[size], {}
    if connection.vendor == "sqlite":
        taken["sqlite"] = _of_a_database(chosen)
    with on_postgres() as there:
        if there:
            taken["postgresql"] = _of_a_database(chosen)
    taken["duckdb"] = _in_memory(chosen)
    ours = "postgresql" if there else "sqlite"
    return Result(
        name="audit",
        size=size,
        items=chosen.movements,
        seconds=taken[ours],
        yardsticks={"duckdb_in_memory": taken["duckdb"]},
        details={
            "measured_on": ours,
            "seconds_of": {name: round(spent, 3) for name, spent in taken.items()},
            "ratio_of_sqlite": round(taken["duckdb"] / taken["sqlite"], 4)
            if "sqlite" in taken
            else None,
        },
    )


def _of_a_database(size: Size) -> float:
    with throw_away_house():
        pour(
            rows_of(size, Words(connection.vendor, timezone.localdate())),
            size.movements,
        )
        return median_seconds(_prove)


def _prove() -> None:
    faults = faults_of_the_books()
    assert not faults, str(faults[0])


def _in_memory(size: Size) -> float:
    """Ask DuckDB the same statements about the same rows."""
    memory = duckdb.connect(":memory:")
    memory.execute(
        "CREATE TABLE numbers AS SELECT range AS n FROM range(?)", [size.movements]
    )
    made: set[str] = set()
    for rows in rows_of(size, Words("duckdb", timezone.localdate())):
        table = rows.model._meta.db_table  # noqa: SLF001 (Django's public _meta)
        said = {"earmark_id": "CAST(NULL AS bigint)", **rows.columns}
        columns = ", ".join(f'{text} AS "{name}"' for name, text in said.items())
        into = f"INSERT INTO {table}" if table in made else f"CREATE TABLE {table} AS"
        made.add(table)
        memory.execute(f"{into} SELECT {columns} FROM numbers WHERE n < {rows.count}")  # noqa: S608 (our own words)
    memory.execute(
        "CREATE TABLE inventory_balance AS"  # noqa: S608 (our own words)
        f" SELECT *, free + held + quarantine AS on_hand FROM ({POCKETS}) AS sums"
    )

    def ask() -> None:
        for rule, statement in RULES:
            assert not memory.execute(statement).fetchall(), rule

    return median_seconds(ask)
