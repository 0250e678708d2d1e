"""How letters are cut up, and how long they take."""

import pytest

from campaigns.rules.letter_pace import HANDS, hands_wanted, seconds_to_set


@pytest.mark.parametrize(
    ("letters", "whole", "seconds"),
    [(0, False, 1), (1, True, 1), (10_000, False, 10), (10_000, True, 1_000)],
)
def test_seconds(letters, whole, seconds):
    assert seconds_to_set(letters, whole=whole) == seconds


def test_few_chunks_need_no_help_and_many_no_more_than_there_are_hands():
    assert [hands_wanted(chunks) for chunks in (0, 3, 4, 9, 1_000)] == [
        0,
        0,
        1,
        2,
        HANDS,
    ]
