"""Writing many rows at once: one statement for each table, no object for each row.

Much faster than making model objects, and the same on SQLite and PostgreSQL. The
database's own constraints and triggers hold as ever.
"""

from __future__ import annotations

import json
from functools import lru_cache
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from django.db import connection, models


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence


# From so many rows on a stream costs less than statements.
_MANY = 50


def take_ids(model: type[models.Model], count: int) -> list[int]:
    """Reserve that many new ids of a table, in the caller's transaction."""
    table = model._meta.db_table  # noqa: SLF001 (Django's public _meta)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT nextval(pg_get_serial_sequence(%s, 'id'))"
                " FROM generate_series(1, %s)",
                [table, count],
            )
            return [row[0] for row in cursor.fetchall()]
        # A transaction of ours holds SQLite's only write lock, so nobody else counts.
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        row = cursor.fetchone()
    last = int(row[0]) if row else 0
    return list(range(last + 1, last + count + 1))


def insert_rows(
    model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """Insert rows of values, in the order of the named columns."""
    told = list(rows)
    if not told:
        return
    quote = connection.ops.quote_name
    columns = ", ".join(quote(name) for name in names)
    marks = ", ".join(["%s"] * len(names))
    table = quote(model._meta.db_table)  # noqa: SLF001 (Django's public _meta)
    if connection.vendor == "postgresql" and len(told) >= _MANY:
        _copy(f"COPY {table} ({columns}) FROM STDIN", _prepared(model, names, told))
        return
    statement = f"INSERT INTO {table} ({columns}) VALUES ({marks})"  # noqa: S608 (names of our own columns)
    _write(statement, _prepared(model, names, told))


def insert_columns(
    model: type[models.Model], columns: Mapping[str, Sequence[Any]]
) -> None:
    """Insert rows given as columns of values that the database takes as they are.

    Days are texts (2026-03-09), JSON its text; for all else see ``ready``.
    """
    quote = connection.ops.quote_name
    names = ", ".join(map(quote, columns))
    table = quote(model._meta.db_table)  # noqa: SLF001 (Django's public _meta)
    rows = zip(*columns.values(), strict=True)
    if connection.vendor == "postgresql":
        _copy(f"COPY {table} ({names}) FROM STDIN", rows)
        return
    marks = ", ".join(["%s"] * len(columns))
    statement = f"INSERT INTO {table} ({names}) VALUES ({marks})"  # noqa: S608 (names of our own columns)
    with connection.cursor() as cursor:
        cursor.executemany(statement, list(rows))


def ready(model: type[models.Model], name: str, value: object) -> object:
    """Give a value of a field as the database takes it."""
    by_column = {f.column: f for f in model._meta.concrete_fields}  # noqa: SLF001 (Django's public _meta)
    prepare = _preparer(by_column[name])
    return value if prepare is None or value is None else prepare(value)


def _copy(statement: str, rows: Iterable[Sequence[Any]]) -> None:
    """Stream rows into a table of PostgreSQL."""
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        write = copy.write_row
        for row in rows:
            write(row)


def update_rows(
    model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """Update rows by id: each row holds the values in order, then the id."""
    told = list(rows)
    if not told:
        return
    quote = connection.ops.quote_name
    sets = ", ".join(f"{quote(name)} = %s" for name in names)
    table = quote(model._meta.db_table)  # noqa: SLF001 (Django's public _meta)
    statement = f"UPDATE {table} SET {sets} WHERE id = %s"  # noqa: S608 (names of our own columns)
    _write(statement, _prepared(model, [*names, "id"], told))


def _write(statement: str, rows: list[Sequence[Any]]) -> None:
    with connection.cursor() as cursor:
        cursor.executemany(statement, rows)


def _prepared(
    model: type[models.Model], names: Sequence[str], rows: list[Sequence[Any]]
) -> list[Sequence[Any]]:
    """Give the values as the database wants them: days, moments, JSON."""
    by_column = {f.column: f for f in model._meta.concrete_fields}  # noqa: SLF001 (Django's public _meta)
    special = [
        (place, prepare)
        for place, name in enumerate(names)
        if (prepare := _preparer(by_column[name])) is not None
    ]
    if not special:
        return rows
    done: list[Sequence[Any]] = []
    for row in rows:
        values = list(row)
        for place, prepare in special:
            if values[place] is not None:
                values[place] = prepare(values[place])
        done.append(values)
    return done


@lru_cache(maxsize=256)
def _preparer(field: models.Field[Any, Any]) -> Callable[[Any], Any] | None:
    """Give what makes a value of a field storable; None where nothing is to be done."""
    target = field.target_field if isinstance(field, models.ForeignKey) else field
    if isinstance(target, models.JSONField):
        return _as_json
    if not isinstance(target, (models.DateField, models.UUIDField)):
        return None
    # Days and keys come again and again: each is prepared once.
    return lru_cache(maxsize=4_096)(
        lambda value: target.get_db_prep_value(value, connection)
    )


_encode = json.JSONEncoder(separators=(",", ":")).encode


def _as_json(value: object) -> str:
    """Write a value as JSON; most lists are empty."""
    return "[]" if value == [] else _encode(value)


def columns_of(
    rows: Iterable[Mapping[str, Any]], names: Sequence[str]
) -> list[Sequence[Any]]:
    """Give mappings as rows of values."""
    return list(map(itemgetter(*names), rows))
