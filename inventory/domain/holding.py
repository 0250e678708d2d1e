"""Holding pieces that are free now, in one statement where the database can.

Most who ask find what they want on the shelf and nobody waiting for a delivery. For
them PostgreSQL does the whole act at once: it holds the pockets in the order of their
rows, looks, moves the balances and writes hold, movement, lines and trail, all or
nothing. There is no round trip between look and write, so the rows are held no longer
than the write takes. Where a promise waits for a delivery, or too little is free, the
statement changes nothing and the caller goes the long way (inventory.domain.reserving),
as every call does on SQLite.
"""

from __future__ import annotations

import json
from contextlib import nullcontext
from typing import TYPE_CHECKING, Any

import psycopg
from django.db import DEFAULT_DB_ALIAS, connection, connections, transaction
from django.utils import timezone

from inventory.models import Reservation
from inventory.rules.accounts import Account, MovementKind, ReservationState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Part

_LABEL = f"{Reservation._meta.label_lower}:"  # noqa: SLF001 (Django's public _meta)
_COLUMNS = (
    "id",
    "key",
    "store_id",
    "part_id",
    "earmark_id",
    "quantity",
    "used",
    "state",
    "subject",
    "needed_on",
    "made_by_id",
    "made_at",
    "resolved_at",
)

# `pocket` waits for whoever holds the rows and then sees them as they are now; the
# other tables it reads not at all. That is why each pocket counts its own promises.
_HOLD = f"""
WITH wanted AS MATERIALIZED (
    SELECT part_id, pieces
    FROM unnest(%(parts)s::bigint[], %(pieces)s::int[]) AS w(part_id, pieces)
), pocket AS MATERIALIZED (
    SELECT id, part_id, earmark_id, free, promised
    FROM inventory_balance
    WHERE store_id = %(store)s AND part_id = ANY(%(parts)s::bigint[])
    ORDER BY id
    FOR UPDATE
), drawn AS MATERIALIZED (
    SELECT p.id, p.part_id, p.earmark_id, c.place, least(
        p.free,
        greatest(0, w.pieces - coalesce(sum(p.free) OVER (
            PARTITION BY p.part_id ORDER BY c.place
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0))
    )::int AS pieces
    FROM pocket p
    JOIN wanted w ON w.part_id = p.part_id
    JOIN unnest(%(chain)s::bigint[]) WITH ORDINALITY AS c(earmark_id, place)
        ON c.earmark_id = coalesce(p.earmark_id, 0)
), share AS MATERIALIZED (
    SELECT id, part_id, earmark_id, pieces,
        row_number() OVER (ORDER BY part_id, place) - 1 AS number
    FROM drawn
    WHERE pieces > 0
        AND NOT EXISTS (SELECT FROM pocket WHERE promised > 0)
        AND (SELECT sum(pieces) FROM drawn) = (SELECT sum(pieces) FROM wanted)
), moved AS (
    UPDATE inventory_balance b
    SET free = b.free - s.pieces, held = b.held + s.pieces
    FROM share s
    WHERE b.id = s.id
), movement AS (
    INSERT INTO inventory_movement
        (key, kind, store_id, subject, why, by_id, recorded_at, effective_on)
    SELECT %(key)s, '{MovementKind.RESERVE}', %(store)s, %(subject)s, '', %(by)s,
        %(at)s, %(on)s
    WHERE EXISTS (SELECT FROM share)
    RETURNING id
), line AS (
    INSERT INTO inventory_entry
        (movement_id, store_id, part_id, earmark_id, account, quantity)
    SELECT m.id, %(store)s, s.part_id, s.earmark_id, a.account, a.sign * s.pieces
    FROM movement m
    CROSS JOIN share s
    CROSS JOIN (VALUES ('{Account.FREE}', -1), ('{Account.HELD}', 1)) AS a(account, sign)
    ORDER BY s.number, a.sign
), hold AS (
    INSERT INTO inventory_reservation
        (key, store_id, part_id, earmark_id, quantity, used, state, subject,
         needed_on, made_by_id, made_at)
    SELECT %(key)s || '/' || number, %(store)s, part_id, earmark_id, pieces, 0,
        '{ReservationState.HELD}', %(subject)s, %(needed)s, %(by)s, %(at)s
    FROM share
    ORDER BY number
    RETURNING id, key, part_id, earmark_id, quantity
), trail AS (
    INSERT INTO dealership_auditentry
        (at, by_id, store_id, act, subject, before, after, why)
    SELECT %(at)s, %(by)s, %(store)s, %(act)s, '{_LABEL}' || min(id), '{{}}', %(after)s, ''
    FROM hold
    HAVING count(*) > 0
)
SELECT id, key, part_id, earmark_id, quantity FROM hold ORDER BY id
"""  # noqa: S608 (names of accounts and states only; every value is a parameter)


def can_hold_at_once() -> bool:
    """Tell whether this database takes the whole act in one statement."""
    return connection.vendor == "postgresql"


def hold_at_once(
    *,
    key: str,
    store: Store,
    wanted: Mapping[Part, int],
    earmarks: Sequence[Earmark | None],
    subject: str,
    needed_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    act: str,
    after: Mapping[str, object],
) -> tuple[Reservation, ...] | None:
    """Hold all pieces that are wanted, or change nothing and give None.

    ``act`` and ``after`` are what the trail says of it. None: too little is free, or
    somebody waits for a delivery of one of the parts. Raises IntegrityError where the
    key was used before.
    """
    pairs = sorted((part.pk, pieces, part) for part, pieces in wanted.items())
    parts = {pk: part for pk, _pieces, part in pairs}
    rows = _execute(
        {
            "parts": _array(parts),
            "pieces": _array(pieces for _pk, pieces, _part in pairs),
            "chain": _array(one.pk if one else 0 for one in earmarks),
            "store": store.pk,
            "key": key,
            "subject": subject,
            "by": by.pk if by else None,
            "at": at,
            "on": timezone.localdate(at),
            "needed": needed_on,
            "act": act,
            "after": json.dumps(after),
        }
    )
    by_id = {one.pk: one for one in earmarks if one}
    person = by.pk if by else None
    made = []
    for pk, row_key, part_id, earmark_id, pieces in rows:
        what = (pk, row_key, store.pk, part_id, earmark_id, pieces, 0)
        told = (*what, ReservationState.HELD, subject, needed_on, person, at, None)
        hold = Reservation.from_db(DEFAULT_DB_ALIAS, _COLUMNS, told)
        hold._state.fields_cache |= {  # noqa: SLF001 (what a fetch with its rows leaves)
            "store": store,
            "part": parts[part_id],
            "made_by": by,
            "earmark": by_id[earmark_id] if earmark_id else None,
        }
        made.append(hold)
    return tuple(made) or None


def _array(numbers: Iterable[int]) -> str:
    """Write an array as the database reads it; cheaper than to have its kind found."""
    return f"{{{','.join(map(str, numbers))}}}"


def _execute(facts: Mapping[str, object]) -> list[tuple[Any, ...]]:
    """Run the statement, planned once a connection; give the holds it wrote.

    Alone it is a transaction of its own. Inside one it gets a savepoint, so that a
    key used before does not spoil what the caller has done. Where a pooler stands
    between (DISABLE_SERVER_SIDE_CURSORS), it is planned each time.
    """
    ours = connections[DEFAULT_DB_ALIAS]  # taken once: each look at the proxy costs
    whole = transaction.atomic() if ours.in_atomic_block else nullcontext()
    ours.ensure_connection()
    link = ours.connection
    pooled = ours.settings_dict["DISABLE_SERVER_SIDE_CURSORS"]
    with whole, ours.wrap_database_errors:
        link.prepare_threshold = None if pooled else 0
        try:
            with psycopg.Cursor(link) as cursor:
                return cursor.execute(_HOLD, facts).fetchall()
        finally:
            link.prepare_threshold = None
