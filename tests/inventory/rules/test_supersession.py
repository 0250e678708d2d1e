import pytest

from inventory.rules.supersession import SupersessionGoesRound, current_of


@pytest.mark.parametrize(
    ("part", "chain", "current"),
    [(1, {}, 1), (1, {1: 2}, 2), (1, {1: 2, 2: 3}, 3), (2, {1: 2, 3: None}, 2)],
)
def test_last_number_of_the_chain(part, chain, current):
    assert current_of(part, chain) == current


def test_chain_without_end_is_refused():
    with pytest.raises(SupersessionGoesRound):
        current_of(1, {1: 2, 2: 1})
