"""The proposals of a whole house: fifty stores, two hundred campaigns, a million vehicles.

The job runs as it does at night, on SQLite and on PostgreSQL, and is cut into reading,
maths and writing. The statements with which it reads are then asked alone, word for
word, of the database and of DuckDB, which holds the same rows in columns in memory;
both must answer alike. What stands on shelves is asked of DuckDB from the ledger, too,
where we keep balances. Loading is not counted on either side. Then ten people ask for a
part at one store, and the job runs again; and a day later two workers share it.
"""

from __future__ import annotations

import datetime as dt
import os
import time
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from statistics import median
from typing import TYPE_CHECKING, Any

import duckdb
from django.apps import apps
from django.db import connection, connections, transaction
from django.utils import timezone

from campaigns.domain.learning import learn_responses
from campaigns.domain.reckoning import reconcile
from campaigns.domain.requests import record_request
from campaigns.management.benches.measuring import (
    Result,
    Watch,
    on_postgres,
    peak_mb,
    seconds_of,
    throw_away_house,
    watched,
)
from campaigns.management.benches.reconcile_tables import (
    BALANCES,
    POCKETS,
    SIZES,
    Size,
    Words,
    fill,
    insertion,
    rows_of,
)
from campaigns.models import CampaignVehicle, Reckoning, Replenishment
from campaigns.queries.positions import cases_of, read_house
from campaigns.rules.lifecycle import ProposalState, WorkState
from dealership.models import Store


if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from django.db.models import Field

    from campaigns.domain.reckoning import Worked

REQUESTS = 10
TIMES = 3
APPS = ("dealership", "inventory", "vehicles", "campaigns")


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement as the job sent it."""

    text: str
    values: tuple[Any, ...]

    @property
    def is_question(self) -> bool:
        """Tell it from a setting of the transaction."""
        return self.text.startswith("SELECT")

    def plain(self) -> str:
        """Write it with its values in it, as DuckDB reads it."""
        words = self.text % tuple(map(_literal, self.values))
        return words.replace("%%", "%")


@dataclass
class Ledger:
    """What one database took, and what it answered to each question."""

    steps: dict[str, Watch] = field(default_factory=dict)
    query_seconds: float = 0.0
    answers: list[list[tuple[str, ...]]] = field(default_factory=list)
    statements: list[Statement] = field(default_factory=list)
    worked: dict[str, dict[str, int]] = field(default_factory=dict)


def run(size: str) -> Result:
    """Measure on both databases where both are there, then ask DuckDB the same."""
    chosen, today = SIZES[size], timezone.localdate()
    found: dict[str, Ledger] = {}
    if connection.vendor == "sqlite":
        with throw_away_house():
            found["sqlite"] = _of_a_database(chosen, today)
    with on_postgres() as there:
        if there:
            with throw_away_house():
                found["postgresql"] = _of_a_database(chosen, today)
    ours = "postgresql" if there else "sqlite"
    memory = _in_memory(chosen, today)
    yardsticks = {name: _ask(memory, one) for name, one in found.items()}
    main = found[ours]
    return Result(
        name="reconcile",
        size=size,
        items=chosen.cells,
        seconds=main.query_seconds,
        yardsticks={"duckdb_in_memory": yardsticks[ours]},
        steps={
            f"{name} {step}": watch
            for name, one in found.items()
            for step, watch in one.steps.items()
        },
        details={
            "measured_on": ours,
            "query_seconds": {
                name: round(one.query_seconds, 3) for name, one in found.items()
            },
            "query_ratio": {
                name: round(yardsticks[name] / one.query_seconds, 3)
                for name, one in found.items()
            },
            "shelves_from_ledger_in_duckdb": round(_shelves(memory), 3),
            "worked": {name: one.worked for name, one in found.items()},
        },
    )


# Ours -------------------------------------------------------------------------------


def _of_a_database(size: Size, today: dt.date) -> Ledger:
    """Fill the house, run the job, ask its questions alone, and run it once more."""
    fill(size, today)
    at, ledger = timezone.now(), Ledger()
    learn_responses(at=at)
    ledger.steps["whole job"], ledger.worked["first"] = _job(today, at, ledger)
    ledger.statements = _statements(today)
    ledger.query_seconds = median(
        seconds_of(partial(_replay, ledger.statements)) for _time in range(TIMES)
    )
    ledger.answers = [_alike(rows) for rows in _replay(ledger.statements)]
    before = _proposals()
    Reckoning.objects.all().delete()
    ledger.steps["same facts again"], ledger.worked["again"] = _job(
        today, at + dt.timedelta(minutes=20), None
    )
    assert _proposals() == before, "the same facts gave other proposals"
    moment = at + dt.timedelta(minutes=60)
    _ten_ask(today, moment)
    ledger.steps["ten requests at one store"], ledger.worked["ten"] = _job(
        today, moment + dt.timedelta(minutes=20), None
    )
    tomorrow = today + dt.timedelta(days=1)
    next_at = at + dt.timedelta(days=1)
    ledger.steps["next night, two workers"] = _two_workers(tomorrow, next_at)
    return ledger


def _two_workers(today: dt.date, at: dt.datetime) -> Watch:
    """Run the job in two processes, as two workers do; their processor time together."""
    connections.close_all()
    start, cpu = time.perf_counter(), time.process_time()
    helper = os.fork()
    if not helper:
        reconcile(today=today, at=at, helping=True)
        os._exit(0)
    reconcile(today=today, at=at)
    _pid, status, used = os.wait4(helper, 0)
    assert status == 0, "the helper failed"
    mine = time.process_time() - cpu
    together = mine + used.ru_utime + used.ru_stime
    most = max(peak_mb(), used.ru_maxrss // 1024)
    return Watch(time.perf_counter() - start, together, most)


def _job(
    today: dt.date, at: dt.datetime, ledger: Ledger | None
) -> tuple[Watch, dict[str, int]]:
    """Run the job over all stores; into ``ledger`` go its parts."""
    parts: dict[str, list[Watch]] = defaultdict(list)
    done: list[Worked] = []

    @contextmanager
    def stage(name: str) -> Iterator[None]:
        start, cpu = time.perf_counter(), time.process_time()
        yield
        taken = time.perf_counter() - start, time.process_time() - cpu
        parts[name].append(Watch(*taken, peak_mb()))

    whole = watched(lambda: done.append(reconcile(today=today, at=at, stage=stage)))
    if ledger is not None:
        for name, some in parts.items():
            ledger.steps[name] = _added(some)
    return whole, done[0].told()


def _added(watches: list[Watch]) -> Watch:
    return Watch(
        sum(one.seconds for one in watches),
        sum(one.cpu_seconds for one in watches),
        max(one.peak_mb for one in watches),
    )


def _proposals() -> list[tuple[Any, ...]]:
    """Read all proposals that are open, whole."""
    rows = Replenishment.objects.filter(state=ProposalState.OPEN).order_by("pk")
    return list(rows.values_list())


def _ten_ask(today: dt.date, at: dt.datetime) -> None:
    """Have ten people ask at one store, each for another campaign."""
    store = Store.objects.order_by("pk").last()
    rows = CampaignVehicle.objects.filter(
        store=store,
        work_state=WorkState.OPEN,
        first_asked_on=None,
        requests=None,
        repairs=None,
        visit_jobs=None,
    ).order_by("pk")
    for place, row in enumerate(rows[:REQUESTS]):
        record_request(
            key=f"bench {place}",
            campaign_vehicle=row,
            who="Birkett",
            contact="",
            asked_on=today,
            by=None,
            at=at,
        )


# The questions alone ----------------------------------------------------------------


def _statements(today: dt.date) -> list[Statement]:
    """Note the statements with which the facts of all stores are read."""
    found: list[Statement] = []

    def note(
        execute: Callable[..., object],
        sql: str,
        params: Any,  # noqa: ANN401 (Django's)
        many: bool,  # noqa: FBT001 (Django's)
        context: Any,  # noqa: ANN401 (Django's)
    ) -> object:
        found.append(Statement(sql, tuple(params or ())))
        return execute(sql, params, many, context)

    stores = list(Store.objects.order_by("pk"))
    with connection.execute_wrapper(note):
        cases_of(house=read_house(), stores=stores, today=today)
    return [one for one in found if one.is_question or one.text.startswith("SET")]


def _replay(statements: list[Statement]) -> list[list[tuple[Any, ...]]]:
    """Ask the statements of the database, each to its last row."""
    told: list[list[tuple[Any, ...]]] = []
    with transaction.atomic(), connection.cursor() as cursor:
        for one in statements:
            cursor.execute(one.text, one.values or None)
            if one.is_question:
                told.append(cursor.fetchall())
    return told


def _alike(rows: list[tuple[Any, ...]]) -> list[tuple[str, ...]]:
    """Write an answer so that those of two databases can be compared."""
    return sorted(tuple(map(_word, row)) for row in rows)


def _word(value: object) -> str:
    match value:
        case bool():
            return str(int(value))
        case dt.datetime():
            return value.astimezone(dt.UTC).isoformat()
        case _:
            return str(value)


def _literal(value: object) -> str:
    match value:
        case bool() | int():
            return str(value)
        case dt.date():
            return f"DATE '{value:%Y-%m-%d}'"
        case None:
            return "NULL"
        case _:
            return "'" + str(value).replace("'", "''") + "'"


# DuckDB -----------------------------------------------------------------------------

_KINDS = {
    "BooleanField": "BOOLEAN",
    "DateField": "DATE",
    "DateTimeField": "TIMESTAMPTZ",
    "DecimalField": "DECIMAL(18, 6)",
    "TimeField": "TIME",
}
_NOT_COMPARED = ("campaigns_campaign", "campaigns_learnedresponse")
"""Moments and JSON, which each database writes in its own way, and what was learned."""

_WHOLE = ("Integer", "Auto", "ForeignKey", "OneToOne")


def _kind(column: Field[Any, Any]) -> str:
    """Say a kind of field in DuckDB's words; what is neither day nor number is text."""
    kind = column.get_internal_type()
    if any(word in kind for word in _WHOLE):
        return "BIGINT"
    return _KINDS.get(kind, "VARCHAR")


def _in_memory(size: Size, today: dt.date) -> duckdb.DuckDBPyConnection:
    """Fill DuckDB's memory with the same rows; what nothing is said of stays empty."""
    memory = duckdb.connect(":memory:")
    most = max(size.vehicles, size.ledger_lines // 2)
    memory.execute("CREATE TABLE numbers AS SELECT range AS n FROM range(?)", [most])
    for app in APPS:
        for model in apps.get_app_config(app).get_models(include_auto_created=True):
            table = model._meta.db_table  # noqa: SLF001 (Django's public _meta)
            columns = ", ".join(
                f'"{one.column}" {_kind(one)}'
                for one in model._meta.concrete_fields  # noqa: SLF001 (as above)
            )
            memory.execute(f"CREATE TABLE {table} ({columns})")
    for rows in rows_of(size, Words("duckdb", today)):
        memory.execute(insertion(rows))
    memory.execute(BALANCES)
    return memory


def _ask(memory: duckdb.DuckDBPyConnection, ledger: Ledger) -> float:
    """Ask DuckDB the questions of one database; gives the seconds of the middle run."""
    questions = [one.plain() for one in ledger.statements if one.is_question]

    def ask() -> list[list[tuple[Any, ...]]]:
        return [memory.execute(one).fetchall() for one in questions]

    for text, ours, theirs in zip(
        questions, ledger.answers, map(_alike, ask()), strict=True
    ):
        known = any(f'FROM "{table}"' in text for table in _NOT_COMPARED)
        assert known or ours == theirs, text
    return median(seconds_of(ask) for _time in range(TIMES))


def _shelves(memory: duckdb.DuckDBPyConnection) -> float:
    """Add up every pocket from the ledger; gives the seconds of the middle run."""
    return median(
        seconds_of(lambda: memory.execute(POCKETS).fetchall()) for _time in range(TIMES)
    )
