from dataclasses import fields

from campaigns.queries.account_words import ADDED, HELD_WORDS, OWED_WORDS
from campaigns.rules.exposure import Held, Owed


def test_every_figure_of_both_sides_has_its_words_in_order():
    assert list(OWED_WORDS) == [one.name for one in fields(Owed)]
    assert list(HELD_WORDS) == [one.name for one in fields(Held)]


def test_the_signs_on_the_page_are_those_of_the_sum():
    for name in OWED_WORDS:
        assert Owed(**{name: 1}).total == (1 if name in ADDED else -1)
