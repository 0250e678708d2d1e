"""Rows about a vehicle that came before, against a plain dictionary."""

from hypothesis import given
from hypothesis import strategies as st

from vehicles.rules.repeats import SeenRows


ROWS = st.lists(st.tuples(st.integers(-5, 5), st.integers(0, 2)), max_size=12)


@given(st.lists(ROWS, max_size=5))
def test_the_first_row_with_a_key_is_found(chunks):
    seen, known, number = SeenRows(), {}, 1
    for chunk in chunks:
        numbers = range(number, number + len(chunk))
        told = seen.look([k for k, _m in chunk], [m for _k, m in chunk], numbers)
        for place, (key, mark) in enumerate(chunk):
            first = known.setdefault(key, (number + place, mark))
            again = first[0] != number + place
            assert told.rows[place] == (first[0] if again else 0)
            if again:
                assert told.same[place] == (first[1] == mark)
        number += len(chunk)
