"""Moving pieces between stores: where one is more likely to be missed than used.

A piece moves from i to j while cu [P(D_j >= y_j + 1) - P(D_i >= y_i)] is above zero,
y being the pieces there for the window; and a journey must bring more than its freight.
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """One part at one store: what is there for the window, and what may be wanted.

    ``have`` counts what arrives within the window and is below zero when customers
    wait; ``free`` pieces can leave today. ``tail[k]`` is P(D >= k + 1), k from 0.
    """

    store: str
    have: int
    free: int
    tail: tuple[float, ...]

    def wanted(self, piece: int) -> float:
        """Give the chance that this piece, counted from 1, is wanted in the window."""
        if piece <= 0:
            return 1.0
        return self.tail[piece - 1] if piece <= len(self.tail) else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A journey that pays: pieces, and the customers served on average by it.

    ``risk_before`` and ``risk_after`` are the chances to run out where it goes,
    ``giver_after`` where it comes from, once the pieces are gone.
    """

    giver: str
    taker: str
    pieces: int
    served: float
    risk_before: float
    risk_after: float
    giver_after: float


def find_moves(shelves: Sequence[Shelf], *, worth: float) -> list[Move]:
    """Find the journeys that pay, the best first; each changes what the next sees.

    ``worth`` is the customers that a journey must serve on average to pay for its
    freight: freight / cu.
    """
    have = {one.store: one.have for one in shelves}
    free = {one.store: one.free for one in shelves}
    found: list[Move] = []
    while True:
        journeys = [
            journey
            for giver in shelves
            for taker in shelves
            if giver is not taker
            and (journey := _journey(giver, taker, have, free)) is not None
            and journey[1] > worth
        ]
        if not journeys:
            return found
        pieces, served, giver, taker = max(
            journeys, key=lambda one: (round(one[1], 9), -one[0], one[2].store)
        )
        y = have[taker.store]
        have[giver.store] -= pieces
        free[giver.store] -= pieces
        have[taker.store] += pieces
        found.append(
            Move(
                giver=giver.store,
                taker=taker.store,
                pieces=pieces,
                served=served,
                risk_before=taker.wanted(y + 1),
                risk_after=taker.wanted(y + pieces + 1),
                giver_after=giver.wanted(have[giver.store] + 1),
            )
        )


def _journey(
    giver: Shelf, taker: Shelf, have: dict[str, int], free: dict[str, int]
) -> tuple[int, float, Shelf, Shelf] | None:
    """Give the best number of pieces from one to the other, and whom it serves."""
    pieces, served = 0, 0.0
    while pieces < free[giver.store]:
        gain = taker.wanted(have[taker.store] + pieces + 1) - giver.wanted(
            have[giver.store] - pieces
        )
        if gain <= 0:
            break
        pieces += 1
        served += gain
    return (pieces, served, giver, taker) if pieces else None
