"""Moves between stores against hand-worked cases and trying every number of pieces."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.forecasting.distribution import poisson
from inventory.forecasting.moving import Shelf, find_moves


def tail(mean):
    demand = poisson(mean)
    return tuple(demand.at_least(k) for k in range(1, demand.largest + 1))


def shelf(store, have, mean, *, free=None):
    return Shelf(
        store=store, have=have, free=have if free is None else free, tail=tail(mean)
    )


def missing(have, mean):
    """Give E(D - y)+ outcome by outcome."""
    return sum(p * max(0, k - have) for k, p in enumerate(poisson(mean).chances))


def test_from_plenty_to_nothing_by_hand():
    """Poisson(3) at an empty shelf, nobody wants the eight elsewhere.

    All eight would help, each less: the eighth is wanted with P(D >= 8) = .0119.
    """
    (move,) = find_moves([shelf("A", 8, 0), shelf("B", 0, 3)], worth=0.3)
    assert (move.giver, move.taker, move.pieces) == ("A", "B", 8)
    assert move.served == pytest.approx(missing(0, 3) - missing(8, 3))
    assert move.risk_before == pytest.approx(0.950, abs=5e-4)
    assert move.risk_after == pytest.approx(0.0038, abs=5e-5)
    assert move.giver_after == 0


def test_waiting_customers_come_first():
    (move,) = find_moves([shelf("A", 2, 0.5), shelf("B", -1, 0, free=0)], worth=0.3)
    assert (move.pieces, move.risk_before, move.risk_after) == (1, 1.0, 0.0)


def test_held_pieces_stay_and_freight_must_pay():
    taker = shelf("B", 0, 3)
    assert find_moves([shelf("A", 8, 0, free=0), taker], worth=0.3) == []
    assert find_moves([shelf("A", 8, 0), taker], worth=4.0) == []
    assert find_moves([shelf("A", 4, 3), shelf("B", 4, 3)], worth=0.0) == []
    assert find_moves([], worth=0.3) == []


@settings(deadline=None, max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(-2, 9), st.floats(0, 6), st.integers(0, 9)),
        min_size=2,
        max_size=2,
    )
)
def test_no_other_number_of_pieces_serves_more(rows):
    shelves = [
        shelf(name, have, mean, free=min(free, max(0, have)))
        for name, (have, mean, free) in zip("AB", rows, strict=True)
    ]
    moves = find_moves(shelves, worth=1e-9)

    def served(giver, taker, pieces):
        (a, mean_a, _f), (b, mean_b, _g) = rows[giver], rows[taker]
        before = missing(a, mean_a) + missing(b, mean_b)
        return before - missing(a - pieces, mean_a) - missing(b + pieces, mean_b)

    best = max(
        served(giver, 1 - giver, pieces)
        for giver in (0, 1)
        for pieces in range(shelves[giver].free + 1)
    )
    assert sum(move.served for move in moves) == pytest.approx(best, abs=1e-6)
