"""The criteria of a campaign as conditions of the database, for many vehicles at once.

SQL knows the same three answers as the rules: true, false, and NULL where a fact is
missing; its AND, OR and NOT join them by the same tables (ISO/IEC 9075-2, truth
tables of AND, OR and NOT). So the criteria of a campaign become one condition that is
TRUE where they say yes, FALSE where they say no, and NULL where they cannot say.

Which vehicles have to be asked at all is found by model line and year through an
index: each pair of the two comes once, however many criteria ask for it, so that no
vehicle is met twice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db import connection

from vehicles.models import Vehicle
from vehicles.rules.criteria import folded


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Iterator

    from vehicles.rules.criteria import CriteriaSet, Criterion, SerialRange

_TRAILING_DIGITS = re.compile(r"^(.*?)(\d+)$")
_SERIAL = "lower(replace(v.serial, ' ', ''))"
_HEAD = f"rtrim({_SERIAL}, '0123456789')"
_TAIL = f"substr({_SERIAL}, length({_HEAD}) + 1)"
_NUMBER = f"ltrim({_TAIL}, '0')"


class Clause(NamedTuple):
    """A piece of SQL about a vehicle ``v``, and the values for its marks."""

    sql: str
    values: tuple[Any, ...] = ()


class Counted(NamedTuple):
    """How many vehicles criteria take in, and for how many they cannot say."""

    met: int
    undecided: int


@dataclass(frozen=True, slots=True)
class Near:
    """A vehicle close to where a criterion draws its line."""

    vin: str
    model_year: int | None
    line: str
    engine: str
    plant: str
    serial: str
    build_date: dt.date | None


TRUE, FALSE = Clause("TRUE"), Clause("FALSE")


def joined(word: str, clauses: Iterable[Clause], empty: Clause) -> Clause:
    """Join conditions by AND or OR; ``empty`` where there are none."""
    told = list(clauses)
    if not told:
        return empty
    return Clause(
        f"({f' {word} '.join(clause.sql for clause in told)})",
        tuple(value for clause in told for value in clause.values),
    )


def condition_of(criteria: CriteriaSet) -> Clause:
    """Give the three-valued condition of all criteria of a campaign together."""
    wanted = [criterion_condition(c) for c in criteria.criteria if c.include]
    barred = [criterion_condition(c) for c in criteria.criteria if not c.include]
    said = joined("OR", wanted, FALSE)
    if not barred:
        return said
    out = joined("OR", barred, FALSE)
    return Clause(f"({said.sql} AND NOT {out.sql})", said.values + out.values)


def criterion_condition(criterion: Criterion, *, without: str = "") -> Clause:
    """Give the three-valued condition of one criterion; ``without`` one of its tests.

    The tests are model_year, line, engine, plant, build_from, build_to, serial_from
    and serial_to.
    """
    tests = _tests(criterion)
    return joined(
        "AND", (clause for name, clause in tests if name != without), empty=TRUE
    )


def _tests(criterion: Criterion) -> Iterator[tuple[str, Clause]]:
    years = _years(criterion)
    if years is not None:
        yield "model_year", years
    for name, wanted in (
        ("line", criterion.lines),
        ("engine", criterion.engines),
        ("plant", criterion.plants),
    ):
        if wanted:
            yield name, _text(name, wanted)
    if criterion.build_from is not None:
        yield "build_from", Clause("v.build_date >= %s", (_day(criterion.build_from),))
    if criterion.build_to is not None:
        yield "build_to", Clause("v.build_date <= %s", (_day(criterion.build_to),))
    if len(criterion.serials) == 1 and not criterion.serials[0].plant:
        reach = criterion.serials[0]
        if reach.first:
            yield "serial_from", _serial_end(">=", reach.first)
        if reach.last:
            yield "serial_to", _serial_end("<=", reach.last)
    elif criterion.serials:
        yield "serials", joined("OR", map(_serial_range, criterion.serials), FALSE)


def _years(criterion: Criterion) -> Clause | None:
    first, last = criterion.model_year_from, criterion.model_year_to
    ways = []
    if criterion.model_years:
        years = sorted(criterion.model_years)
        ways.append(Clause(f"v.model_year IN ({_marks(years)})", tuple(years)))
    ends = []
    if first is not None:
        ends.append(Clause("v.model_year >= %s", (first,)))
    if last is not None:
        ends.append(Clause("v.model_year <= %s", (last,)))
    if ends:
        ways.append(joined("AND", ends, TRUE))
    return joined("OR", ways, FALSE) if ways else None


def _text(field: str, wanted: Collection[str]) -> Clause:
    """Ask for one of some names, whatever their capitals; a blank one cannot say."""
    keys = sorted({folded(text) for text in wanted} - {""})
    column, held = f"v.{field}", f"lower(v.{field})"
    if not all(map(str.isascii, keys)):
        # SQLite folds only A to Z, so the spellings in the file are asked for instead
        keys, held = spellings(field, wanted), column
    if not keys:
        return Clause(f"CASE WHEN {column} = '' THEN NULL ELSE FALSE END")
    return Clause(
        f"CASE WHEN {column} = '' THEN NULL ELSE {held} IN ({_marks(keys)}) END",
        tuple(keys),
    )


def spellings(field: str, wanted: Collection[str]) -> list[str]:
    """Give each spelling in the vehicle file that the rule reads as one of these."""
    keys = {folded(text) for text in wanted}
    held = Vehicle.objects.order_by(field).values_list(field, flat=True).distinct()
    return [text for text in held if text and folded(text) in keys]


def _serial_range(reach: SerialRange) -> Clause:
    tests = []
    if reach.plant:
        tests.append(_text("plant", [reach.plant]))
    tests.append(Clause("CASE WHEN trim(v.serial) = '' THEN NULL ELSE TRUE END"))
    if reach.first:
        tests.append(_serial_end(">=", reach.first))
    if reach.last:
        tests.append(_serial_end("<=", reach.last))
    return joined("AND", tests, TRUE)


def _serial_end(sign: str, end: str) -> Clause:
    """Compare a serial number with one end of a range; NULL where it has no order.

    Numbers of any length are compared: by how many digits they have, then by these.
    """
    found = _TRAILING_DIGITS.match("".join(end.split()).casefold())
    if found is None:
        return Clause("NULL")
    number = found[2].lstrip("0")
    longer = sign[0]
    return Clause(
        f"CASE WHEN {_HEAD} = %s AND {_TAIL} <> ''"
        f" THEN length({_NUMBER}) {longer} %s"
        f" OR (length({_NUMBER}) = %s AND {_NUMBER} {sign} %s) ELSE NULL END",
        (found[1], len(number), len(number), number),
    )


# Which vehicles have to be asked --------------------------------------------------


class Cells(NamedTuple):
    """The model lines and years in which a vehicle may be met, none twice.

    ``whole`` lines are asked in all years; ``pairs`` are a line and a year; in
    ``yearless`` lines the vehicles without a model year are asked.
    """

    whole: tuple[str, ...]
    pairs: tuple[tuple[str, int], ...]
    yearless: tuple[str, ...]


def lines_held() -> list[str]:
    """Give each model line of the vehicle file as it is spelled there.

    Steps through the index from one to the next, however many vehicles share one.
    """
    table = _table()
    return [
        line
        for (line,) in _rows(
            Clause(
                f"WITH RECURSIVE held(line) AS (SELECT min(line) FROM {table}"  # noqa: S608 (names of our own columns)
                f" UNION ALL SELECT (SELECT min(line) FROM {table}"
                " WHERE line > held.line) FROM held WHERE held.line IS NOT NULL)"
                " SELECT line FROM held WHERE line IS NOT NULL"
            )
        )
    ]


def cells_of(criteria: CriteriaSet, held: Collection[str]) -> Cells:
    """Give where a vehicle may be met or undecided; ``held`` as `lines_held` gives."""
    return _cells([one for one in criteria.criteria if one.include], held)


def _cells(
    criteria: Iterable[Criterion], held: Collection[str], *, any_year: bool = False
) -> Cells:
    whole: set[str] = set()
    pairs: set[tuple[str, int]] = set()
    yearless: set[str] = set()
    for criterion in criteria:
        keys = {folded(line) for line in criterion.lines}
        lines = [one for one in held if not keys or not one or folded(one) in keys]
        years = None if any_year else _asked_years(criterion)
        if years is None:
            whole.update(lines)
        else:
            pairs.update((line, year) for line in lines for year in years)
            yearless.update(lines)
    return Cells(
        tuple(sorted(whole)),
        tuple(sorted(pair for pair in pairs if pair[0] not in whole)),
        tuple(sorted(yearless - whole)),
    )


def _asked_years(criterion: Criterion) -> list[int] | None:
    """Give the model years that a criterion asks for, None for any."""
    first, last = criterion.model_year_from, criterion.model_year_to
    years = set(criterion.model_years)
    if first is not None and last is not None:
        years.update(range(first, last + 1))
    elif first is not None or last is not None:
        return None
    return sorted(years) or None


def asked_vehicles(cells: Cells, picked: Clause) -> Clause:
    """Select something of the vehicles of the cells, each vehicle once."""
    select = f"SELECT {picked.sql} FROM {_table()} v WHERE"  # noqa: S608 (names of our own columns)
    wheres = []
    if cells.whole:
        wheres.append(Clause(f"v.line IN ({_marks(cells.whole)})", cells.whole))
    if cells.pairs:
        rows = ", ".join(["(%s, %s)"] * len(cells.pairs))
        wheres.append(
            Clause(
                f"(v.line, v.model_year) IN (VALUES {rows})",
                tuple(value for pair in cells.pairs for value in pair),
            )
        )
    if cells.yearless:
        wheres.append(
            Clause(
                f"v.line IN ({_marks(cells.yearless)}) AND v.model_year IS NULL",
                cells.yearless,
            )
        )
    wheres = wheres or [FALSE]
    return Clause(
        " UNION ALL ".join(f"{select} {one.sql}" for one in wheres),
        tuple(value for one in wheres for value in picked.values + one.values),
    )


def count_met(criteria: CriteriaSet, held: Collection[str] | None = None) -> Counted:
    """Count the vehicles that the criteria take in, and those they cannot decide.

    One statement, and one more for ``held`` (see `lines_held`) where it is not given.
    Lists of VINs are not asked.
    """
    lines = lines_held() if held is None else held
    said = condition_of(criteria)
    asked = asked_vehicles(
        cells_of(criteria, lines), Clause(f"{said.sql} AS said", said.values)
    )
    found = dict(
        _rows(
            Clause(
                f"SELECT said, count(*) FROM ({asked.sql}) asked GROUP BY said",  # noqa: S608 (our own pieces)
                asked.values,
            )
        )
    )
    return Counted(int(found.get(1, 0)), int(found.get(None, 0)))


# Where a criterion draws its line ----------------------------------------------------

_BUILD = ("v.build_date",)
_BY_SERIAL = (f"length({_NUMBER})", _NUMBER)
_ORDERS: dict[str, tuple[tuple[str, ...], bool]] = {
    "build_from": (_BUILD, True),
    "build_to": (_BUILD, False),
    "serial_from": (_BY_SERIAL, True),
    "serial_to": (_BY_SERIAL, False),
}
"""What a boundary is ordered by, and whether the inside lies above it."""
BOUNDARIES = tuple(_ORDERS)
NAMED = ("engine", "plant", "model_year")


def near(
    criterion: Criterion,
    boundary: str,
    *,
    inside: bool,
    store_ids: Collection[int],
    held: Collection[str],
    limit: int = 3,
) -> list[Near]:
    """Give the vehicles closest to one end of a window, on one side of it.

    ``boundary`` is one of BOUNDARIES; on the outside are vehicles that meet every
    other test and fail this one alone.
    """
    test = dict(_tests(criterion)).get(boundary)
    if test is None or not store_ids:
        return []
    columns, above = _ORDERS[boundary]
    way = "" if above is inside else " DESC"
    order = ", ".join(f"{column}{way}" for column in (*columns, "v.vin"))
    where = joined(
        "AND",
        [
            criterion_condition(criterion, without="" if inside else boundary),
            test if inside else Clause(f"NOT {test.sql}", test.values),
            Clause(f"v.store_id IN ({_marks(store_ids)})", tuple(store_ids)),
            _in_cells(_cells_of_one(criterion, held)),
        ],
        TRUE,
    )
    return [
        Near(*row)
        for row in _rows(
            Clause(
                "SELECT v.vin, v.model_year, v.line, v.engine, v.plant, v.serial,"  # noqa: S608 (our own pieces)
                f" v.build_date FROM {_table()} v WHERE {where.sql}"
                f" ORDER BY {order} LIMIT %s",
                (*where.values, limit),
            )
        )
    ]


def left_out_by(
    criterion: Criterion, test: str, *, held: Collection[str], limit: int = 4
) -> list[tuple[str, int]]:
    """Count the vehicles that one test alone leaves out, by what they have instead.

    ``test`` is one of NAMED. The values with the most vehicles come first; a missing
    fact leaves nothing out and is not counted here.
    """
    asked = dict(_tests(criterion)).get(test)
    if asked is None:
        return []
    where = joined(
        "AND",
        [
            criterion_condition(criterion, without=test),
            Clause(f"NOT {asked.sql}", asked.values),
            _in_cells(_cells_of_one(criterion, held, any_year=test == "model_year")),
        ],
        TRUE,
    )
    found = _rows(
        Clause(
            f"SELECT v.{test}, count(*) FROM {_table()} v WHERE {where.sql}"  # noqa: S608 (our own pieces)
            f" GROUP BY v.{test} ORDER BY count(*) DESC, v.{test} LIMIT %s",
            (*where.values, limit),
        )
    )
    return [(str(value), count) for value, count in found]


def _cells_of_one(
    criterion: Criterion, held: Collection[str], *, any_year: bool = False
) -> Cells:
    """Give the cells of one criterion, whether it takes in or leaves out."""
    return _cells([criterion], held, any_year=any_year)


def _in_cells(cells: Cells) -> Clause:
    """Ask for the cells in one condition that the index serves."""
    lines = sorted({*cells.whole, *cells.yearless, *(line for line, _y in cells.pairs)})
    if not lines:
        return FALSE
    return Clause(f"v.line IN ({_marks(lines)})", tuple(lines))


def _rows(clause: Clause) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(clause.sql, clause.values)
        found: list[tuple[Any, ...]] = cursor.fetchall()
    return found


def _marks(values: Collection[object]) -> str:
    return ", ".join(["%s"] * len(values))


def _day(day: dt.date) -> object:
    return connection.ops.adapt_datefield_value(day)


def _table() -> str:
    return connection.ops.quote_name(Vehicle._meta.db_table)  # noqa: SLF001 (Django's public _meta)
