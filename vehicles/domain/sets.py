"""Writing many rows at once: one statement for each table, no object for each row.

Much faster than making model objects, and the same on SQLite and PostgreSQL. The
database's own constraints and triggers hold as ever.
"""

from __future__ import annotations

from operator import itemgetter
from typing import TYPE_CHECKING, Any

from django.db import connection, models


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence


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
    statement = f"INSERT INTO {table} ({columns}) VALUES ({marks})"  # noqa: S608 (names of our own columns)
    _write(statement, _prepared(model, names, told))


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
    special: list[tuple[int, Callable[[Any], Any]]] = []
    for place, name in enumerate(names):
        field = by_column[name]
        if isinstance(
            field, (models.DateField, models.JSONField, models.UUIDField)
        ) or (
            field.is_relation and isinstance(field.target_field, models.UUIDField)  # type: ignore[attr-defined]
        ):
            special.append((place, _prepare(field)))
    if not special:
        return rows
    done: list[Sequence[Any]] = []
    for row in rows:
        values = list(row)
        for place, prepare in special:
            values[place] = prepare(values[place])
        done.append(values)
    return done


def _prepare(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    def prepare(value: object) -> object:
        return field.get_db_prep_save(value, connection)

    return prepare


def columns_of(
    rows: Iterable[Mapping[str, Any]], names: Sequence[str]
) -> list[Sequence[Any]]:
    """Give mappings as rows of values."""
    return [itemgetter(*names)(row) for row in rows]
