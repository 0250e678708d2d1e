"""The tables of the bench of proposals, written by the databases themselves.

One set of expressions over a table of numbers fills PostgreSQL, SQLite and the
yardstick's memory alike, so that all three hold the same rows. Indexes and triggers
are taken away while rows are poured in and come back after.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.management.color import no_style
from django.db import connection

from campaigns import models as work
from dealership.models import Store
from inventory import models as books
from vehicles import models as fleet


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator

    from django.db.backends.utils import CursorWrapper
    from django.db.models import Model


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How large a house is made."""

    stores: int
    campaigns: int
    open_vehicles: int
    ledger_lines: int

    @property
    def vehicles(self) -> int:
        """Give all vehicles: beside the open ones a sixth that are done."""
        return self.open_vehicles + self.open_vehicles // 6

    @property
    def cells(self) -> int:
        """Give the pairs of store and campaign."""
        return self.stores * self.campaigns


SIZES = {
    "small": Size(stores=5, campaigns=20, open_vehicles=10_000, ledger_lines=50_000),
    "full": Size(
        stores=50, campaigns=200, open_vehicles=1_000_000, ledger_lines=5_000_000
    ),
}


@dataclass(frozen=True, slots=True)
class Words:
    """How one database says what the expressions need."""

    vendor: str
    today: dt.date

    def day(self, back: str) -> str:
        """Say the day that lies so many days before today."""
        if self.vendor == "sqlite":
            return f"date('{self.today}', (-({back})) || ' days')"
        return f"CAST(date '{self.today}' - CAST({back} AS int) AS date)"

    def moment(self) -> str:
        """Say the moment at which everything was written."""
        if self.vendor == "sqlite":
            return f"'{self.today} 08:00:00'"
        return f"CAST('{self.today} 08:00:00+00' AS timestamptz)"

    def padded(self, number: str, width: int) -> str:
        """Say a number with leading zeros."""
        if self.vendor == "sqlite":
            return f"printf('%0{width}d', {number})"
        return f"lpad(CAST({number} AS varchar), {width}, '0')"

    def json(self, text: str) -> str:
        """Say a text that is JSON."""
        return f"CAST({text} AS jsonb)" if self.vendor == "postgresql" else text

    def part(self, number: str, by: int) -> str:
        """Say a whole division."""
        return f"({number} {'//' if self.vendor == 'duckdb' else '/'} {by})"


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of one table: expressions over ``n`` from 0, and how many."""

    model: type[Model]
    count: int
    where: str
    columns: dict[str, str]


LETTERS_FROM, LETTERS_EVERY = 10, 11
"""Letters of campaign c went out 10 + (11 c mod 420) days ago."""

REMINDER_AFTER = 140
CLOSED = 6
"""Campaigns closed before: enough to learn from."""


def rows_of(size: Size, words: Words) -> Iterator[Rows]:
    """Give each table's rows; n counts vehicles, cells, or lines."""
    stores, campaigns = size.stores, size.campaigns
    store = f"(n % {stores} + 1)"
    campaign = f"({words.part('n', stores)} % {campaigns} + 1)"
    mailed = f"({LETTERS_FROM} + ({campaign} * {LETTERS_EVERY}) % 420)"
    is_open = f"n < {size.open_vehicles}"
    at, none = words.moment(), "''"
    yield Rows(
        Store,
        stores,
        "",
        {
            "id": "n + 1",
            "code": "'B' || " + words.padded("n", 3),
            "name": "'Store'",
        },
    )
    yield Rows(books.Supplier, 1, "", {"id": "1", "code": "'OW'", "name": "'Ostby'"})
    yield Rows(
        books.Earmark,
        campaigns,
        "",
        {
            "id": "n + 1",
            "code": "'B' || " + words.padded("n", 4),
            "words": none,
        },
    )
    yield Rows(
        books.Part,
        campaigns,
        "",
        {
            "id": "n + 1",
            "number": "'OW-' || " + words.padded("n", 5),
            "name": "'Bolt'",
            "supplier_id": "1",
            "unit_cost_cents": "1500 + 37 * n",
            "lead_days": "7 + n % 12",
            "pack": "1 + (n % 3) * 2",
        },
    )
    yield Rows(
        work.Campaign,
        campaigns,
        "",
        {
            "id": "n + 1",
            "code": "'B' || " + words.padded("n", 4),
            "maker": "'Ostby'",
            "maker_number": words.padded("n", 5),
            "title": "'Seat rail bolts'",
            "campaign_class": "'safety'",
            "state": "'running'",
            "supplier_id": "1",
            "earmark_id": "n + 1",
            "announced_on": words.day("450"),
            "letters_on": words.day(
                f"{LETTERS_FROM} + ((n + 1) * {LETTERS_EVERY}) % 420"
            ),
            "returns_until": words.day("((n * 31) % 400) - 380"),
            "made_at": at,
        },
    )
    yield Rows(work.Remedy, campaigns, "", {"id": "n + 1", "campaign_id": "n + 1"})
    yield Rows(
        work.Variant,
        campaigns,
        "",
        {
            "id": "n + 1",
            "remedy_id": "n + 1",
            "code": "'A'",
            "title": "'All'",
        },
    )
    yield Rows(
        work.VariantPart,
        campaigns,
        "",
        {
            "id": "n + 1",
            "variant_id": "n + 1",
            "part_id": "n + 1",
            "share_basis_points": "CASE WHEN n % 5 = 0 THEN 3000 ELSE 10000 END",
        },
    )
    yield Rows(
        fleet.Vehicle,
        size.vehicles,
        "",
        {
            "id": "n + 1",
            "vin": "'1U0KTRA4' || " + words.padded("n", 9),
            "store_id": store,
            "kind": "'light'",
            "model_year": "2014 + (n * 7) % 11",
            "line": "'Corvane'",
            "engine": "'T15'",
            "odometer": "(n * 37) % 120000",
            "first_use_date": words.day("(n * 13) % 3000"),
            "standing": "CASE WHEN n % 67 = 0 THEN 'new' ELSE 'customer' END",
            "created_at": at,
            "changed_at": at,
        },
    )
    yield Rows(
        work.CampaignVehicle,
        size.vehicles,
        "",
        {
            "id": "n + 1",
            "campaign_id": campaign,
            "vehicle_id": "n + 1",
            "store_id": store,
            "outcome": "'in'",
            "added_on": words.day("450"),
            "work_state": f"CASE WHEN {is_open} THEN 'open' WHEN n % 4 = 0"
            " THEN 'remedied_elsewhere' ELSE 'remedied_here' END",
            "reach": "CASE WHEN n % 31 = 0 THEN 'exported' ELSE 'reachable' END",
            "first_asked_on": f"CASE WHEN {is_open} AND n % 50 > 2 THEN NULL"
            f" WHEN NOT ({is_open}) AND n % 4 = 0 THEN NULL ELSE "
            + words.day(f"(n * 17) % {mailed}")
            + " END",
            # as the triggers keep them, which rest while rows are poured in
            "first_letter_on": words.day(mailed),
            "latest_letter_on": f"CASE WHEN {mailed} > {REMINDER_AFTER} AND {is_open}"
            f" THEN {words.day(f'{mailed} - {REMINDER_AFTER}')}"
            f" ELSE {words.day(mailed)} END",
        },
    )
    yield Rows(
        work.StateChange,
        size.vehicles,
        "",
        {
            "id": "n + 1",
            "campaign_vehicle_id": "n + 1",
            "before": none,
            "after": "'open'",
            "effective_on": words.day("450"),
            "recorded_at": at,
            "why": "'Match'",
        },
    )
    yield Rows(
        work.StateChange,
        size.vehicles,
        f"NOT ({is_open})",
        {
            "id": f"{size.vehicles} + n + 1",
            "campaign_vehicle_id": "n + 1",
            "before": "'open'",
            "after": "CASE WHEN n % 4 = 0 THEN 'remedied_elsewhere'"
            " ELSE 'remedied_here' END",
            "effective_on": words.day(f"(n * 17) % {mailed}"),
            "recorded_at": at,
            "why": "'Done'",
        },
    )
    yield Rows(
        work.ReachFact,
        size.vehicles,
        "n % 31 = 0",
        {
            "id": "n + 1",
            "campaign_vehicle_id": "n + 1",
            "reach": "'exported'",
            "effective_on": words.day(f"(n * 3) % {mailed}"),
            "recorded_at": at,
            "source": "'List'",
        },
    )
    yield from _closed(size, words)
    yield from _letters(size, words, store, campaign, mailed)
    yield from _workshop(size, words, store, campaign)
    yield from _books(size, words)


def _closed(size: Size, words: Words) -> Iterator[Rows]:
    """Give campaigns that were closed, at two stores each: what owners usually do."""
    number = f"(n + {size.campaigns} + 1)"
    code = "'E' || " + words.padded("n", 4)
    yield Rows(books.Earmark, CLOSED, "", {"id": number, "code": code, "words": "''"})
    yield Rows(
        work.Campaign,
        CLOSED,
        "",
        {
            "id": number,
            "code": code,
            "maker": "'Ostby'",
            "maker_number": words.padded("n + 90000", 5),
            "title": "'Hinge pins'",
            "campaign_class": "'safety'",
            "state": "'closed'",
            "supplier_id": "1",
            "earmark_id": number,
            "announced_on": words.day("900"),
            "letters_on": words.day("890"),
            "closed_at": words.moment(),
            "made_at": words.moment(),
        },
    )
    yield Rows(
        work.ClosedResponse,
        2 * CLOSED,
        "",
        {
            "id": "n + 1",
            "campaign_id": f"({words.part('n', 2)} + {size.campaigns} + 1)",
            "store_id": "n % 2 + 1",
            # vehicles, days of the letters, day until, whether they asked then
            "seen": words.json(
                "'[[' || (6 + n % 5) || ',[0],9,true],[9,[0],20,true],[' ||"
                " (5 + n % 7) || ',[0],33,true],[8,[0],61,true],[7,[0],120,true],"
                "[4,[0,140],200,true],[30,[0,140],540,false]]'"
            ),
            "made_at": words.moment(),
        },
    )


def _letters(
    size: Size, words: Words, store: str, campaign: str, mailed: str
) -> Iterator[Rows]:
    """Give a first letter to each vehicle, and a reminder to those open so long."""
    cells, at = size.cells, words.moment()
    late = f"{mailed} > {REMINDER_AFTER}"
    yield Rows(
        fleet.Party,
        1,
        "",
        {
            "id": "1",
            "store_id": "1",
            "name": "'Birkett'",
            "name_folded": "'birkett'",
        },
    )
    yield Rows(
        fleet.Address,
        1,
        "",
        {
            "id": "1",
            "party_id": "1",
            "street": "'Quarry Road'",
            "since": words.day("900"),
        },
    )
    yield Rows(
        work.LetterText,
        1,
        "",
        {
            "id": "1",
            "campaign_class": "'safety'",
            "kind": "'first'",
            "number": "1",
            "subject": "'Recall'",
            "body": "'Text'",
            "effective_from": words.day("900"),
            "made_at": at,
        },
    )
    for number, kind in ((1, "first"), (2, "reminder")):
        after = REMINDER_AFTER * (number - 1)
        yield Rows(
            work.LetterRound,
            cells,
            "" if number == 1 else late,
            {
                "id": f"{cells * (number - 1)} + n + 1",
                "key": f"'{kind}' || " + words.padded("n", 6),
                "campaign_id": campaign,
                "store_id": store,
                "kind": f"'{kind}'",
                "number": str(number),
                "text_id": "1",
                "state": "'posted'",
                "made_at": at,
                "posted_on": words.day(f"{mailed} - {after}"),
            },
        )
        found = "" if number == 1 else f"{late} AND n < {size.open_vehicles}"
        yield Rows(
            work.Letter,
            size.vehicles,
            found,
            {
                "id": f"{size.vehicles * (number - 1)} + n + 1",
                "letter_round_id": f"{cells * (number - 1)} + n % {cells} + 1",
                "campaign_vehicle_id": "n + 1",
                "party_id": "1",
                "address_id": "1",
                "code": f"'{number}' || " + words.padded("n", 10),
                "position": "n",
                "printed_on": words.day(f"{mailed} - {after}"),
                "posted_on": words.day(f"{mailed} - {after}"),
            },
        )


def _workshop(size: Size, words: Words, store: str, campaign: str) -> Iterator[Rows]:
    """Give bookings, people who wait, open work, and the work that was done."""
    at, is_open = words.moment(), f"n < {size.open_vehicles}"
    booked, waits = "n % 50 = 1", "n % 50 = 2"
    yield Rows(
        work.Visit,
        size.open_vehicles,
        booked,
        {
            "id": "n + 1",
            "key": "'v' || n",
            "store_id": store,
            "vehicle_id": "n + 1",
            "on": words.day("-(n % 29)"),
            "state": "'booked'",
            "booked_at": at,
        },
    )
    yield Rows(
        work.VisitJob,
        size.open_vehicles,
        booked,
        {
            "id": "n + 1",
            "visit_id": "n + 1",
            "campaign_vehicle_id": "n + 1",
            "variant_id": campaign,
            "live": "true",
        },
    )
    yield Rows(
        work.PartRequest,
        size.open_vehicles,
        waits,
        {
            "id": "n + 1",
            "campaign_vehicle_id": "n + 1",
            "asked_on": words.day("n % 20"),
            "met_at_once": "false",
            "state": "'waiting'",
            "key": "'q' || n",
            "recorded_at": at,
        },
    )
    done = f"NOT ({is_open}) AND n % 4 <> 0"
    yield Rows(
        work.Repair,
        size.vehicles,
        f"{done} OR n % 1000 = 5",
        {
            "id": "n + 1",
            "key": "'r' || n",
            "store_id": store,
            "vehicle_id": "n + 1",
            "campaign_vehicle_id": "n + 1",
            "variant_id": campaign,
            "repair_order": "'R' || n",
            "opened_at": at,
            "state": f"CASE WHEN {is_open} THEN 'open' ELSE 'completed' END",
            "outcome": f"CASE WHEN {is_open} THEN '' ELSE 'remedied' END",
            "odometer": "1000",
            "done_on": words.day("n % 100"),
        },
    )
    yield Rows(
        books.CostLayer,
        size.cells,
        "",
        {
            "id": "n + 1",
            "store_id": store,
            "part_id": campaign,
            "source": "'b'",
            "unit_cost_cents": "1500",
            "quantity": "100000",
            "received_on": words.day("400"),
        },
    )
    yield Rows(
        books.Movement,
        size.ledger_lines // 2,
        "",
        {
            "id": "n + 1",
            "key": "'m' || n",
            "kind": "'receive'",
            "store_id": store,
            "recorded_at": at,
            "effective_on": words.day("n % 400"),
        },
    )
    yield Rows(
        work.PartFitted,
        size.vehicles,
        f"{done} AND n % 5 <> 1",
        {
            "id": "n + 1",
            "repair_id": "n + 1",
            "part_id": campaign,
            "layer_id": f"n % {size.cells} + 1",
            "movement_id": "1",
            "quantity": "1",
            "unit_cost_cents": "1500",
            "payer": "'manufacturer'",
        },
    )


def _books(size: Size, words: Words) -> Iterator[Rows]:
    """Give the ledger, the balances that it adds up to, promises and deliveries.

    Of a hundred movements at a pocket 52 bring a piece, 40 use one, 8 hold one.
    """
    cells, at = size.cells, words.moment()
    cell = f"(n % {cells})"
    store = f"({cell} % {size.stores} + 1)"
    part = f"({words.part(cell, size.stores)} % {size.campaigns} + 1)"
    step = f"({words.part('n', cells)} % 100)"
    other = f"CASE WHEN {step} < 52 THEN 'supplier' WHEN {step} < 92 THEN 'used'"
    sides = (
        ("'free'", f"CASE WHEN {step} < 52 THEN 1 ELSE -1 END"),
        (f"{other} ELSE 'held' END", f"CASE WHEN {step} < 52 THEN -1 ELSE 1 END"),
    )
    half = size.ledger_lines // 2
    for side, (account, quantity) in enumerate(sides):
        yield Rows(
            books.Entry,
            half,
            "",
            {
                "id": f"{half * side} + n + 1",
                "movement_id": "n + 1",
                "store_id": store,
                "part_id": part,
                "earmark_id": part,
                "account": account,
                "quantity": quantity,
                "layer_id": f"{cell} + 1",
            },
        )
    yield Rows(
        books.Reservation,
        half // 8,
        "",
        {
            "id": "n + 1",
            "key": "'h' || n",
            "store_id": store,
            "part_id": part,
            "earmark_id": part,
            "quantity": "1",
            "subject": "'visit_job:' || n",
            "state": "CASE WHEN n % 40 = 0 THEN 'held' WHEN n % 300 = 1 THEN 'promised'"
            " ELSE 'settled' END",
            "needed_on": words.day("-(n % 29)"),
            "made_at": at,
        },
    )
    yield Rows(
        books.PurchaseOrder,
        half // 25,
        "",
        {
            "id": "n + 1",
            "store_id": store,
            "supplier_id": "1",
            "number": "n + 1",
            "key": "'o' || n",
            "earmark_id": part,
            "made_at": at,
            "state": "CASE WHEN n % 20 = 0 THEN 'sent' ELSE 'received' END",
        },
    )
    yield Rows(
        books.OrderLine,
        half // 25,
        "",
        {
            "id": "n + 1",
            "order_id": "n + 1",
            "part_id": part,
            "quantity": "10",
            "received": "CASE WHEN n % 20 = 0 THEN 0 ELSE 10 END",
            "unit_cost_cents": "1500",
            "expected_on": words.day("-(n % 23)"),
        },
    )
    yield Rows(
        books.Shipment,
        half // 25,
        "n % 40 = 0",
        {
            "id": "n + 1",
            "store_id": store,
            "supplier_id": "1",
            "number": "'s' || n",
            "earmark_id": part,
            "announced_on": words.day("3"),
            "expected_on": words.day("-(n % 11)"),
        },
    )
    yield Rows(
        books.ShipmentLine,
        half // 25,
        "n % 40 = 0",
        {
            "id": "n + 1",
            "shipment_id": "n + 1",
            "part_id": part,
            "sent": "4",
            "order_line_id": "n + 1",
        },
    )


NUMBERS = """
INSERT INTO numbers WITH RECURSIVE c(n) AS
  (SELECT 0 UNION ALL SELECT n + 1 FROM c WHERE n < {last}) SELECT n FROM c
"""

POCKETS = """
SELECT store_id, part_id, earmark_id,
  sum(CASE WHEN account = 'free' THEN quantity ELSE 0 END) AS free,
  sum(CASE WHEN account = 'held' THEN quantity ELSE 0 END) AS held,
  sum(CASE WHEN account = 'supplier' THEN quantity ELSE 0 END) AS supplier,
  sum(CASE WHEN account = 'used' THEN quantity ELSE 0 END) AS used,
  0 AS quarantine, 0 AS transit, 0 AS sold, 0 AS returned, 0 AS scrapped,
  0 AS variance, 0 AS promised
FROM inventory_entry GROUP BY store_id, part_id, earmark_id
"""
BALANCES = f"""
INSERT INTO inventory_balance (store_id, part_id, earmark_id, free, held, supplier,
  used, quarantine, transit, sold, returned, scrapped, variance, promised) {POCKETS}
"""


# Writing ----------------------------------------------------------------------------


def fill(size: Size, today: dt.date) -> None:
    """Write all tables into the connected database, which is empty."""
    most = max(size.vehicles, size.ledger_lines // 2)
    pour(rows_of(size, Words(connection.vendor, today)), most)


def pour(tables: Iterable[Rows], numbers: int) -> None:
    """Write tables and the balances of their entries; ``numbers``: the largest count."""
    with connection.cursor() as cursor, _bare_tables(cursor):
        cursor.execute("CREATE TEMP TABLE numbers (n integer)")
        cursor.execute(NUMBERS.format(last=numbers - 1))
        filled = []
        for rows in tables:
            cursor.execute(insertion(rows))
            filled.append(rows.model)
        for statement in connection.ops.sequence_reset_sql(no_style(), filled):
            cursor.execute(statement)
        cursor.execute(BALANCES)
        cursor.execute("DROP TABLE numbers")
    with connection.cursor() as cursor:
        on_postgres = connection.vendor == "postgresql"
        cursor.execute("VACUUM ANALYZE" if on_postgres else "ANALYZE")


def insertion(rows: Rows) -> str:
    """Write the statement of one table; what is not said takes the field's default."""
    columns = {**_defaults(rows.model), **rows.columns}
    names = ", ".join(f'"{name}"' for name in columns)
    test = f" AND ({rows.where})" if rows.where else ""
    return (
        f"INSERT INTO {rows.model._meta.db_table} ({names})"  # noqa: S608, SLF001 (own words; Django's public _meta)
        f" SELECT {', '.join(columns.values())} FROM numbers"
        f" WHERE n < {rows.count}{test}"
    )


def _defaults(model: type[Model]) -> dict[str, str]:
    """Say what the fields of a model hold when nothing is said."""
    found = {}
    for field in model._meta.concrete_fields:  # noqa: SLF001 (Django's public _meta)
        if field.primary_key or field.null or field.generated or field.is_relation:
            continue
        value: Any = field.get_default()
        if callable(value):
            value = value()
        column = str(field.column)
        if isinstance(value, bool):
            found[column] = str(value).lower()
        elif isinstance(value, int):
            found[column] = str(value)
        elif isinstance(value, list | dict):
            found[column] = f"'{'[]' if isinstance(value, list) else '{}'}'"
        elif value is not None:
            found[column] = f"'{value}'"
    return found


@contextmanager
def _bare_tables(cursor: CursorWrapper) -> Iterator[None]:
    """Take indexes, triggers and checks of references away while rows are poured in."""
    apps = ("inventory_", "campaigns_", "vehicles_")
    if connection.vendor == "postgresql":
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(
            "SELECT i.indexname, i.indexdef FROM pg_indexes i WHERE i.schemaname ="
            " current_schema() AND NOT EXISTS (SELECT 1 FROM pg_constraint c"
            " WHERE c.conname = i.indexname)"
        )
    else:
        cursor.execute("PRAGMA foreign_keys = OFF")
        cursor.execute(
            "SELECT name, sql FROM sqlite_master WHERE type IN ('index', 'trigger')"
            " AND sql IS NOT NULL ORDER BY type"
        )
    found = [(name, text) for name, text in cursor.fetchall() if _of_ours(text, apps)]
    for name, text in found:
        kind = "TRIGGER" if text.startswith("CREATE TRIGGER") else "INDEX"
        cursor.execute(f'DROP {kind} "{name}"')
    yield
    for _name, text in found:
        cursor.execute(text)
    if connection.vendor == "postgresql":
        cursor.execute("SET session_replication_role = DEFAULT")
    else:
        cursor.execute("PRAGMA foreign_keys = ON")


def _of_ours(text: str, apps: tuple[str, ...]) -> bool:
    return any(app in text for app in apps)
