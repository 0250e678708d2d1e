"""How many pieces of a part can be ordered: whole packs, and not too few."""

from __future__ import annotations


def orderable(wanted: int, *, pack: int, minimum: int) -> int:
    """Give the smallest number of pieces that can be ordered and is enough.

    Whole packs of ``pack`` pieces (one or more), at least ``minimum`` pieces.
    """
    return -(-max(wanted, minimum, 1) // pack) * pack
