"""Proving the books: every figure again, from the entries alone.

Each rule is one statement that gives the rows that break it: their name, what stands
and what should be. The sums run over indexes that hold all they need, in the order in
which they are grouped, so a proof reads the books once and keeps nothing in memory.
The words of the statements are those that SQLite, PostgreSQL and others share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import connection, transaction

from inventory.rules.accounts import INSIDE, ON_HAND, Account, ReservationState


if TYPE_CHECKING:
    from django.db.backends.utils import CursorWrapper


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that does not balance: which rule, which row, and both figures."""

    rule: str
    row: str
    stands: int
    should_be: int

    def __str__(self) -> str:
        return f"{self.rule}: {self.row} is {self.stands}, should be {self.should_be}"


_ON_HAND = ", ".join(f"'{account}'" for account in sorted(ON_HAND))
_ALL = " + ".join(Account)
_POCKET = "store_id, part_id, earmark_id"
_NAME_OF_POCKET = (
    "'store ' || store_id || ' part ' || part_id"
    " || ' earmark ' || coalesce(cast(earmark_id AS varchar(20)), 'none')"
)


def _differences(*, keys: str, name: str, stands: str, should: str) -> str:
    """Compare two lists of figures, ``keys`` and ``n`` each, row by row.

    Both are put under each other and added up: a full join of the two would take a
    time that grows with the square of their length on SQLite.
    """
    return f"""
SELECT {name} AS name, SUM(stands) AS stands, SUM(should) AS should FROM (
    SELECT {keys}, n AS stands, 0 AS should FROM ({stands}) AS kept
    UNION ALL
    SELECT {keys}, 0, n FROM ({should}) AS found
) AS both_sides
GROUP BY {keys} HAVING SUM(stands) <> SUM(should) ORDER BY {keys}"""  # noqa: S608 (our own words)


def _pockets_against(column: str, state: ReservationState) -> str:
    """Compare a figure of each pocket with its live reservations."""
    return _differences(
        keys=_POCKET,
        name=_NAME_OF_POCKET,
        stands=f"SELECT {_POCKET}, {column} AS n FROM inventory_balance"  # noqa: S608 (our own words)
        f" WHERE {column} <> 0",
        should=f"SELECT {_POCKET}, SUM(quantity) AS n FROM inventory_reservation"  # noqa: S608 (our own words)
        f" WHERE state = '{state}' GROUP BY {_POCKET}",
    )


RULES: tuple[tuple[str, str], ...] = (
    (
        "balance is the sum of its entries",
        _differences(
            keys=f"{_POCKET}, account",
            name=f"{_NAME_OF_POCKET} || ' ' || account",
            stands=" UNION ALL ".join(
                f"SELECT {_POCKET}, '{account}' AS account, {account} AS n"  # noqa: S608 (our own words)
                f" FROM inventory_balance WHERE {account} <> 0"
                for account in Account
            ),
            should=f"SELECT {_POCKET}, account, SUM(quantity) AS n"  # noqa: S608 (our own words)
            f" FROM inventory_entry GROUP BY {_POCKET}, account",
        ),
    ),
    (
        "a movement has lines that sum to zero",
        (
            "SELECT 'movement ' || movement_id AS name, SUM(quantity) AS stands,"
            " 0 AS should FROM inventory_entry GROUP BY movement_id"
            " HAVING SUM(quantity) <> 0 ORDER BY movement_id"
        ),
    ),
    (
        "a movement has lines",
        (
            "SELECT 'movements' AS name, a.n AS stands, b.n AS should"
            " FROM (SELECT COUNT(*) AS n FROM inventory_movement) AS a,"
            " (SELECT COUNT(*) AS n FROM"
            " (SELECT movement_id FROM inventory_entry GROUP BY movement_id) AS moved) AS b"
            " WHERE a.n <> b.n"
        ),
    ),
    (
        "the books sum to zero",
        (
            f"SELECT 'all' AS name, SUM({_ALL}) AS stands, 0 AS should"  # noqa: S608 (our own words)
            f" FROM inventory_balance HAVING SUM({_ALL}) <> 0"
        ),
    ),
    (
        "nothing inside is below zero",
        " UNION ALL ".join(
            f"SELECT {_NAME_OF_POCKET} || ' {account}' AS name, {account} AS stands,"  # noqa: S608 (our own words)
            f" 0 AS should FROM inventory_balance WHERE {account} < 0"
            for account in sorted(INSIDE)
        ),
    ),
    (
        "held pieces are those of live holds",
        _pockets_against("held", ReservationState.HELD),
    ),
    (
        "promises of a pocket are live",
        _pockets_against("promised", ReservationState.PROMISED),
    ),
    (
        "what is left of a layer is the sum of its entries",
        _differences(
            keys="layer_id",
            name="'layer ' || layer_id",
            stands="SELECT id AS layer_id, quantity - taken AS n"
            " FROM inventory_costlayer WHERE quantity <> taken",
            should="SELECT layer_id, SUM(quantity) AS n FROM inventory_entry"  # noqa: S608 (our own words)
            f" WHERE layer_id IS NOT NULL AND account IN ({_ON_HAND})"
            " GROUP BY layer_id",
        ),
    ),
    (
        "layers cover the pieces on hand",
        _differences(
            keys="store_id, part_id",
            name="'store ' || store_id || ' part ' || part_id",
            stands="SELECT store_id, part_id, SUM(quantity - taken) AS n"
            " FROM inventory_costlayer GROUP BY store_id, part_id",
            should="SELECT store_id, part_id, SUM(on_hand) AS n"
            " FROM inventory_balance GROUP BY store_id, part_id",
        ),
    ),
)
"""Each rule of the books, and the statement that gives what breaks it."""


def faults_of_the_books() -> list[Fault]:
    """Work out every balance anew and give what differs; an empty list is proof.

    Balance = sum of its entries; each movement and all books together sum to zero;
    nothing inside the store is below zero; held pieces = live holds; promises of a
    pocket = live promises; what is left of the layers = their entries = the pieces on
    hand. All of it is read at one instant where the caller's transaction sees one.
    """
    faults: list[Fault] = []
    with transaction.atomic(), connection.cursor() as cursor:
        _pin(cursor, "off")
        for rule, statement in RULES:
            cursor.execute(statement)
            faults += [
                Fault(rule=rule, row=name, stands=int(stands), should_be=int(should))
                for name, stands, should in cursor.fetchall()
            ]
        _pin(cursor, "DEFAULT")
    return faults


def _pin(cursor: CursorWrapper, setting: str) -> None:
    """Keep PostgreSQL's planner from its way to these sums, or let it be again.

    It takes walking an index for dear and hashes ten million rows; the walk is three
    times as fast. The prices it then puts on a plan would make it compile each
    statement (jit), which takes longer than a small proof.
    """
    if connection.vendor != "postgresql":
        return
    for name in ("enable_hashagg", "enable_seqscan", "jit"):
        cursor.execute(f"SET LOCAL {name} = {setting}")
