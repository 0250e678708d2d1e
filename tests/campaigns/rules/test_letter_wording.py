"""The shipped texts: whole in both languages, and with fields that can be filled in."""

import re
from dataclasses import fields
from itertools import product

import pytest

from campaigns.rules import letter_english, letter_spanish
from campaigns.rules.letter_frame import Frame, Wording
from campaigns.rules.letter_text import check_fields
from campaigns.rules.letter_wording import LANGUAGES, frame_of, shipped_text
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind


ALL = list(product(CampaignClass, RoundKind, PostedBy))


def used(texts):
    return sorted(re.findall(r"\{\w+\}", " ".join(texts)))


@pytest.mark.parametrize("one", ALL, ids=str)
def test_both_languages_fill_in_the_same_fields(one):
    english, spanish = (shipped_text(*one, language) for language, _words in LANGUAGES)

    for text in (*english, *spanish):
        check_fields(text)
    assert used(english) == used(spanish)
    assert english[0] != spanish[0]
    assert len(english[1].split("\n\n")) == len(spanish[1].split("\n\n"))


def test_nothing_is_left_untranslated():
    for language in (letter_english, letter_spanish):
        assert isinstance(language.WORDING, Wording)
        assert isinstance(language.FRAME, Frame)
    same = [
        field.name
        for field in fields(Frame)
        if getattr(letter_english.FRAME, field.name)
        == getattr(letter_spanish.FRAME, field.name)
    ]
    assert same == ["vin"]
    assert len(letter_english.FRAME.answers) == len(letter_spanish.FRAME.answers)


def test_a_language_that_is_not_kept_gets_english_words():
    assert frame_of("fr") == frame_of("en")
    assert frame_of("es").dear == "Estimado/a {name}:"
