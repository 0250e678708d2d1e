"""A thing said is found however it is spelt, spaced or negated."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules import letter_cues_english, letter_cues_spanish
from campaigns.rules.letter_cues import compiled, cues, find, says, sentences_of


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        ("safety recall", "SAFETY\u00a0 RECALL"),
        ("safety recall", "safety-recall"),
        ("safety recall", "saf\u00adety recall"),
        ("safety recall", "S A F E T Y  R E C A L L"),
        ("safety recall", "a S A F E T Y recall"),
        ("safety (recall|act)", "the s a f e t y a c t"),
        ("problem", "a p r o b l e m"),
        ("accident", "a c c i d e n t"),
        ("safety recall", "Safety\nrecall"),
        ("podria existir", "Podría existir"),
        ("defect* ~3 (may|might) exist", "The defects, they say, may exist."),
        ("until DATE", "until June 30, 2027"),
        ("until DATE", "until 2027-06-30."),
        ("hasta ~1 DATE", "hasta el 30 de junio de 2027"),
        ("only MONEY", "only $ 49.50"),
        ("NUM % off", "10% off"),
        ("here (we|you (do|may) both)? go", "Here you may both go"),
        ("don't", "don\u2019t"),
    ],
)
def test_found(pattern, text):
    assert says(text, cues(pattern))


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        ("safety recall", "Safety. Recall"),
        ("safety recall", "safety first, then a recall"),
        ("defect* ~1 exist", "a defect that some say may exist"),
        ("recall", "recalls"),
        ("only MONEY", "only 49 people"),
    ],
)
def test_not_found(pattern, text):
    assert not says(text, cues(pattern))


@pytest.mark.parametrize(
    ("text", "denied"),
    [
        ("This is a recall.", False),
        ("This is not a recall.", True),
        ("This isn't a recall.", True),
        ("Not now, this is a recall.", False),
        ("We did not write but this is a recall.", False),
        ("Esto no es un recall.", True),
    ],
)
def test_negation_reaches_its_own_clause(text, denied):
    assert says(text, cues("recall", denied=denied))
    assert not says(text, cues("recall", denied=not denied))


def test_every_pattern_can_be_read():
    for language in (letter_cues_english, letter_cues_spanish):
        for told in language.CUES.values():
            assert [compiled(one.pattern) for one in told]
    assert set(letter_cues_english.CUES) == set(letter_cues_spanish.CUES)
    with pytest.raises(ValueError, match="half open"):
        compiled("half open)")


@given(st.text(max_size=80))
def test_a_hit_lies_within_the_text_it_was_found_in(noise):
    text = f"{noise} a defect may exist {noise}"

    hits = list(find(sentences_of(text), cues("defect may exist")))

    for hit in hits:
        assert 0 <= hit.start < hit.end <= len(text)
    assert "defect" in "".join(text[hit.start : hit.end] for hit in hits).casefold()
