"""Which cost layer a piece is taken from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.rules.accounts import Account


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

SHELF = frozenset({Account.FREE, Account.HELD})
"""A hold does not choose its pieces: free and held ones share their layers."""


class LayersDoNotCover(Exception):
    """The books hold more pieces than their layers: the books are broken."""


@dataclass(slots=True, kw_only=True)
class LayerLeft:
    """What is left of one layer, in pieces, on the shelf and in quarantine."""

    layer: int
    earmark: int | None
    received_on: dt.date
    shelf: int
    quarantine: int

    def move(self, source: Account, target: Account, pieces: int) -> None:
        """Take pieces from one place and put them to the other."""
        for account, change in ((source, -pieces), (target, pieces)):
            if account in SHELF:
                self.shelf += change
            elif account is Account.QUARANTINE:
                self.quarantine += change

    def at(self, account: Account) -> int:
        """Give the pieces of this layer at an account's place."""
        return self.quarantine if account is Account.QUARANTINE else self.shelf


def share_out(
    layers: Iterable[LayerLeft],
    *,
    earmark: int | None,
    account: Account,
    quantity: int,
) -> list[tuple[int, int]]:
    """Take pieces from the layers: the earmark's own first, then the oldest.

    Gives pairs (layer, pieces) and changes nothing. Raises LayersDoNotCover.
    """
    in_order = sorted(
        layers, key=lambda one: (one.earmark != earmark, one.received_on, one.layer)
    )
    shares = []
    wanted = quantity
    for one in in_order:
        pieces = min(wanted, one.at(account))
        if pieces > 0:
            shares.append((one.layer, pieces))
            wanted -= pieces
        if not wanted:
            return shares
    raise LayersDoNotCover(f"{wanted} of {quantity} pieces have no layer")
