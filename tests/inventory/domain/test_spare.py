"""Pieces that may be given away: free, and counted on by no promise."""

import pytest

from inventory.domain.ledger import NotEnough, NotPieces
from inventory.domain.reserving import reserve
from inventory.domain.spare import OfferedToOthers, hold_spare
from inventory.rules.accounts import Account
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def spare(store, lines, earmark=None):
    hold_spare(store=store, earmark=earmark, lines=lines, today=TODAY)


def test_all_that_is_free_is_spare_and_not_a_piece_more(store, part):
    deliver(store, part, 3, damaged=1)
    spare(store, {part: 2})
    spare(store, {part: 1})
    with pytest.raises(NotEnough) as refusal:
        spare(store, {part: 3})
    told = refusal.value
    assert (told.part, told.account, told.wanted, told.there) == (
        part,
        Account.FREE,
        3,
        2,
    )


def test_each_line_is_looked_at(store, part):
    other = PartFactory.create()
    deliver(store, part, 2)
    for lines in ({part: 2, other: 1}, {other: 1, part: 2}):
        with pytest.raises(NotEnough) as refusal:
            spare(store, lines)
        assert refusal.value.part == other


@pytest.mark.parametrize("pieces", [0, -1])
def test_a_line_is_of_whole_pieces(store, part, pieces):
    deliver(store, part, 2)
    with pytest.raises(NotPieces):
        spare(store, {part: pieces})


def test_each_pocket_is_looked_at_by_itself(store, part):
    earmark = EarmarkFactory.create()
    deliver(store, part, 3, number="A")
    deliver(store, part, 2, earmark=earmark, number="B")
    spare(store, {part: 3})
    spare(store, {part: 2}, earmark)
    with pytest.raises(NotEnough):
        spare(store, {part: 3}, earmark)


def test_what_a_promise_counts_on_is_not_spare(store, part):
    """Two come and five are promised: three of the four that are free must stay."""
    deliver(store, part, 4)
    expect(store, part, 2, on=later(2))
    reserve(
        key="k",
        store=store,
        part=part,
        quantity=5,
        earmarks=[None],
        subject="w",
        needed_on=later(9),
        today=TODAY,
        by=None,
        at=NOW,
    )
    spare(store, {part: 1})
    with pytest.raises(NotEnough) as refusal:
        spare(store, {part: 2})
    assert refusal.value.there == 1


def test_refusal_says_how_many_are_offered_to_others(part):
    told = OfferedToOthers(part, 3, 1, 2)
    assert str(told) == (
        f"{part.number}: 3 wanted, 1 can be spared; 2 are offered to people on the"
        " waiting list. Take fewer, or withdraw an offer first."
    )
    assert (told.part, told.wanted, told.spare, told.kept) == (part, 3, 1, 2)
