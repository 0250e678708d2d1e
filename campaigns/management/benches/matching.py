"""Two hundred campaigns counted against all vehicles, against one join in memory.

The yardstick is DuckDB, which holds the vehicles in columns in memory and joins them
with the criteria written out by line and year, in one statement. Loading is not
counted on either side; both must count the same.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import duckdb
from django.db import connection

from campaigns.management.benches.measuring import (
    Result,
    median_seconds,
    on_postgres,
    seconds_of,
    throw_away_house,
)
from campaigns.management.benches.reconcile_tables import Rows, Words, pour
from dealership.models import Store
from vehicles.models import Vehicle
from vehicles.queries.verdicts import Counted, count_met, lines_held
from vehicles.rules.criteria import CriteriaSet, Criterion


if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True, slots=True)
class Size:
    """How many vehicles there are, and how many campaigns ask for some of them."""

    vehicles: int
    campaigns: int


SIZES = {"small": Size(20_000, 20), "full": Size(1_000_000, 200)}
LINES, YEARS, FIRST_YEAR = 60, 12, 2014
ENGINES = ("K20", "M30", "T15", "V27")
FIRST_DAY = dt.date(2013, 7, 1)
DAYS_A_YEAR = 300


def rows_of(size: Size, words: Words) -> Iterator[Rows]:
    """Give the vehicles: each line in each year; one in a hundred lacks a fact."""
    year = f"({words.part('n', LINES)} % {YEARS})"
    day = f"(4000 - ({year} * 365 + {words.part('n', LINES * YEARS)} % {DAYS_A_YEAR}))"
    engines = " ".join(f"WHEN {n} THEN '{name}'" for n, name in enumerate(ENGINES))
    yield Rows(Store, 1, "", {"id": "n + 1", "code": "'M1'", "name": "'Store'"})
    yield Rows(
        Vehicle,
        size.vehicles,
        "",
        {
            "id": "n + 1",
            "vin": "'1U0KTRA4' || " + words.padded("n", 9),
            "store_id": "1",
            "kind": "'light'",
            "model_year": f"CASE WHEN n % 199 = 0 THEN NULL ELSE {FIRST_YEAR} + {year} END",
            "line": f"'Line ' || {words.padded(f'n % {LINES}', 2)}",
            "engine": "CASE WHEN n % 101 = 0 THEN ''"
            f" ELSE CASE {words.part('n', 7)} % 4 {engines} END END",
            "serial": words.padded("n", 7),
            "build_date": f"CASE WHEN n % 103 = 0 THEN NULL ELSE {words.day(day)} END",
            "odometer": "1000",
            "standing": "'customer'",
            "created_at": words.moment(),
            "changed_at": words.moment(),
        },
    )


def campaigns_of(size: Size) -> list[CriteriaSet]:
    """Give campaigns of two lines, three years each, a window and three engines."""
    found = []
    for n in range(size.campaigns):
        criteria = []
        for part in range(2):
            year = FIRST_YEAR + (n * 5 + part * 3) % (YEARS - 2)
            first = LAST_DAY - dt.timedelta(days=4000 - (year - FIRST_YEAR) * 365 - 15)
            criteria.append(
                Criterion(
                    id=2 * n + part + 1,
                    model_years=frozenset(range(year, year + 3)),
                    lines=frozenset({f"Line {(n * 7 + part * 13) % LINES:02}"}),
                    engines=frozenset(ENGINES) - {ENGINES[n % 4]},
                    build_from=first,
                    build_to=first + dt.timedelta(days=2 * 365 + DAYS_A_YEAR - 30),
                )
            )
        found.append(CriteriaSet(tuple(criteria)))
    return found


LAST_DAY = dt.date(2026, 3, 9)
"""The day from which the database counts build days back."""


def run(size: str) -> Result:
    """Count on SQLite, PostgreSQL and in memory; all must count the same."""
    chosen = SIZES[size]
    asked = campaigns_of(chosen)
    taken: dict[str, float] = {}
    counts: dict[str, list[Counted]] = {}
    details: dict[str, object] = {}
    if connection.vendor == "sqlite":
        taken["sqlite"], counts["sqlite"] = _of_a_database(chosen, asked, details)
    with on_postgres() as there:
        if there:
            found = _of_a_database(chosen, asked, details)
            taken["postgresql"], counts["postgresql"] = found
    taken["duckdb"], counts["duckdb"] = _in_memory(chosen, asked)
    for name, told in counts.items():
        assert told == counts["duckdb"], f"{name} counts other vehicles"
    ours = "postgresql" if there else "sqlite"
    return Result(
        name="match",
        size=size,
        items=sum(one.met + one.undecided for one in counts["duckdb"]),
        seconds=taken[ours],
        yardsticks={"duckdb_in_memory": taken["duckdb"]},
        details={
            "measured_on": ours,
            "seconds_of": {name: round(spent, 3) for name, spent in taken.items()},
            "ratio_of_sqlite": round(taken["duckdb"] / taken["sqlite"], 4)
            if "sqlite" in taken
            else None,
            **details,
        },
    )


def _of_a_database(
    size: Size, asked: list[CriteriaSet], details: dict[str, object]
) -> tuple[float, list[Counted]]:
    with throw_away_house():
        pour(rows_of(size, Words(connection.vendor, LAST_DAY)), size.vehicles)
        counts = _count(asked)
        alone = [
            seconds_of(lambda one=one: count_met(one))  # type: ignore[misc]
            for one in asked
        ]
        details[f"one_campaign_ms_{connection.vendor}"] = round(
            sorted(alone)[len(alone) // 2] * 1_000, 2
        )
        return median_seconds(lambda: _count(asked)), counts


def _count(asked: list[CriteriaSet]) -> list[Counted]:
    held = lines_held()
    return [count_met(criteria, held) for criteria in asked]


def _in_memory(size: Size, asked: list[CriteriaSet]) -> tuple[float, list[Counted]]:
    """Ask DuckDB in one statement about the same vehicles."""
    memory = duckdb.connect(":memory:")
    memory.execute(
        "CREATE TABLE numbers AS SELECT range AS n FROM range(?)", [size.vehicles]
    )
    (_store, vehicles) = rows_of(size, Words("duckdb", LAST_DAY))
    columns = ", ".join(
        f'{text} AS "{name}"' for name, text in vehicles.columns.items()
    )
    memory.execute(f"CREATE TABLE v AS SELECT {columns} FROM numbers")  # noqa: S608 (our own words)
    memory.execute(
        "CREATE TABLE asked (campaign integer, line varchar, year integer,"
        " first date, last date, engines varchar[])"
    )
    for number, criteria in enumerate(asked):
        for one in criteria.criteria:
            for year in sorted(one.model_years):
                memory.execute(
                    "INSERT INTO asked VALUES (?, ?, ?, ?, ?, ?)",
                    [
                        number,
                        min(one.lines),
                        year,
                        one.build_from,
                        one.build_to,
                        sorted(one.engines),
                    ],
                )
    found: dict[tuple[int, bool | None], int] = {}

    def ask() -> None:
        found.clear()
        for campaign, said, count in memory.execute(_JOIN).fetchall():
            found[campaign, said] = count

    spent = median_seconds(ask)
    return spent, [
        Counted(found.get((n, True), 0), found.get((n, None), 0))
        for n in range(len(asked))
    ]


_SAID = (
    "v.build_date BETWEEN a.first AND a.last AND"
    " CASE WHEN v.engine = '' THEN NULL ELSE list_contains(a.engines, v.engine) END"
)
_JOIN = f"""
SELECT campaign, said, count(*) FROM (
    SELECT a.campaign, {_SAID} AS said
    FROM asked a JOIN v ON v.line = a.line AND v.model_year = a.year
    UNION ALL
    SELECT a.campaign, CAST(NULL AS boolean) AND {_SAID}
    FROM (SELECT DISTINCT campaign, line, first, last, engines FROM asked) a
    JOIN v ON v.line = a.line WHERE v.model_year IS NULL
) GROUP BY campaign, said
"""  # noqa: S608 (our own words)
