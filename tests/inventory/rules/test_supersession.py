import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.rules.supersession import (
    Number,
    Shelf,
    SupersessionGoesRound,
    current_of,
    served_by,
    share_numbers,
    that_serve,
)


@pytest.mark.parametrize(
    ("part", "chain", "current"),
    [(1, {}, 1), (1, {1: 2}, 2), (1, {1: 2, 2: 3}, 3), (2, {1: 2, 3: None}, 2)],
)
def test_last_number_of_the_chain(part, chain, current):
    assert current_of(part, chain) == current


def test_chain_without_end_is_refused():
    with pytest.raises(SupersessionGoesRound):
        current_of(1, {1: 2, 2: 1})


def chain(**facts: tuple[int | None, bool]) -> dict[int, Number]:
    """Make numbers of "n1": (what replaces it, whether what is left serves)."""
    return {
        int(name[1:]): Number(newer=newer, serves=serves)
        for name, (newer, serves) in facts.items()
    }


@pytest.mark.parametrize(
    ("numbers", "older", "serving"),
    [
        ({}, True, (2,)),
        (chain(n1=(2, True)), True, (1, 2)),
        (chain(n1=(2, True)), False, (2,)),
        (chain(n1=(2, False)), True, (2,)),
        # the remedy names an old number: the newest always serves, and is ordered
        (chain(n2=(3, True)), False, (2, 3)),
        (chain(n2=(3, False)), True, (3,)),
        # one step that does not serve shuts off all before it
        (chain(n1=(2, True), n2=(3, False)), True, (3,)),
        (chain(n1=(2, False), n2=(3, True)), True, (2, 3)),
        (chain(n1=(2, True), n2=(3, True)), True, (1, 2, 3)),
        # two numbers replaced by the same one
        (chain(n1=(2, True), n5=(2, True)), True, (1, 5, 2)),
        # another chain, read along with it
        (chain(n1=(2, True), n8=(9, True)), True, (1, 2)),
    ],
)
def test_numbers_that_serve_for_the_second(numbers, older, serving):
    assert that_serve(2, numbers, older=older) == serving


def test_what_is_recalled_itself_never_serves():
    barred = Number(newer=2, barred=True)
    assert that_serve(2, {1: barred}, older=True) == (2,)
    newest = {1: Number(newer=2), 2: Number(newer=None, barred=True)}
    assert that_serve(2, newest, older=True) == (1,)
    alone = {2: Number(newer=None, barred=True)}
    assert that_serve(2, alone, older=True) == (2,), "named, so that it is refused"


def test_stock_counts_as_far_as_each_step_lets_it_serve():
    numbers = chain(n1=(2, True), n2=(3, False), n4=(3, True))
    assert [served_by(one, numbers) for one in (1, 2, 3, 4)] == [2, 2, 3, 3]
    with pytest.raises(SupersessionGoesRound):
        served_by(1, chain(n1=(2, True), n2=(1, True)))


@pytest.mark.parametrize(
    ("pieces", "shelves", "shares"),
    [
        (1, [(1, 1), (5, 5)], [1, 0]),
        # one number alone before a mix
        (2, [(1, 1), (5, 5)], [0, 2]),
        (2, [(1, 1), (1, 1)], [1, 1]),
        # on the shelf before on its way
        (2, [(1, 9), (1, 9)], [1, 1]),
        # what comes: the new number, alone if it can be
        (2, [(1, 1), (0, 4)], [0, 2]),
        (3, [(1, 2), (0, 1)], [2, 1]),
        # too little of all: the newest bears the rest, and will be refused
        (4, [(1, 1), (0, 1)], [1, 3]),
        (2, [(0, 0)], [2]),
    ],
)
def test_pieces_are_shared_over_old_and_new(pieces, shelves, shares):
    shelf = [Shelf(free=free, promise=promise) for free, promise in shelves]
    assert share_numbers(pieces, shelf) == shares


@given(
    pieces=st.integers(1, 9),
    shelves=st.lists(
        st.tuples(st.integers(0, 6), st.integers(0, 9)), min_size=1, max_size=4
    ),
)
def test_shares_add_up_and_take_no_more_than_there_is(pieces, shelves):
    shelf = [Shelf(free=min(one), promise=max(one)) for one in shelves]
    shares = share_numbers(pieces, shelf)
    assert sum(shares) == pieces
    if sum(one.promise for one in shelf) >= pieces:
        assert all(
            0 <= share <= one.promise for share, one in zip(shares, shelf, strict=True)
        )
    if sum(one.free for one in shelf) >= pieces:
        assert all(share <= one.free for share, one in zip(shares, shelf, strict=True))
