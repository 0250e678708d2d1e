"""Whole packs by trying one number after the other (no outside source)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.rules.packs import orderable


@pytest.mark.parametrize(
    ("wanted", "pack", "minimum", "ordered"),
    [(1, 1, 1, 1), (7, 5, 1, 10), (10, 5, 1, 10), (3, 5, 12, 15), (0, 4, 1, 4)],
)
def test_examples(wanted, pack, minimum, ordered):
    assert orderable(wanted, pack=pack, minimum=minimum) == ordered


@given(st.integers(0, 300), st.integers(1, 40), st.integers(1, 60))
def test_it_is_the_first_number_that_fits(wanted, pack, minimum):
    fits = (n for n in range(1, 1_000) if n % pack == 0 and n >= max(wanted, minimum))
    assert orderable(wanted, pack=pack, minimum=minimum) == next(fits)
