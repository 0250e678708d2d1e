"""Pieces that may be given away: free, and counted on by no promise."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.domain.ledger import NotEnough, NotPieces, ensure_pockets
from inventory.domain.locks import lock_pockets
from inventory.queries.stock import promise_line
from inventory.rules.accounts import Account


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import Store
    from inventory.models import Earmark, Part


def hold_spare(
    *,
    store: Store,
    earmark: Earmark | None,
    lines: Mapping[Part, int],
    today: dt.date,
) -> None:
    """Hold the pockets and see that no promise counts on these pieces.

    Call it in the transaction that moves them. Raises NotPieces, NotEnough.
    """
    for part, pieces in lines.items():
        if pieces < 1:
            raise NotPieces(part, pieces)
    earmark_id = earmark.pk if earmark else None
    ensure_pockets(store=store, pockets=[(part.pk, earmark_id) for part in lines])
    lock_pockets(store=store, part_ids=[part.pk for part in lines])
    for part, pieces in lines.items():
        picture = promise_line(
            store=store, part=part, earmarks=[earmark], today=today, days=1
        )
        if picture.free_now < pieces:
            raise NotEnough(part, Account.FREE, pieces, picture.free_now)
