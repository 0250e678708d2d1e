"""Fields are a closed list; what is filled in cannot break out or hide."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules.letter_text import (
    UnknownField,
    check_fields,
    clean,
    fill,
    paragraphs,
)
from campaigns.rules.letter_wording import shipped_text
from campaigns.rules.lifecycle import CampaignClass, RoundKind


EVERY = [(one, kind) for one in CampaignClass for kind in RoundKind]


def test_an_unknown_field_is_named():
    with pytest.raises(UnknownField) as refused:
        check_fields("Dear {owner}, {vehicle} {")
    assert refused.value.fields == ("owner", "{")


def test_what_is_filled_in_is_not_read_for_fields_again():
    assert fill("{risk}", {"risk": "{maker}", "maker": "x"}) == "{maker}"


@given(st.text())
def test_clean_leaves_one_printable_line(text):
    cleaned = clean(text)
    assert cleaned == cleaned.strip()
    assert all(c.isprintable() or c in "\u200c\u200d" for c in cleaned)
    assert len(cleaned) <= 2_000


def test_clean_drops_marks_that_turn_the_direction():
    """Unicode TR 36, 2.5: bidirectional overrides can show another text."""
    assert clean("Ash\u202edown\x07\nLane") == "Ashdown Lane"


@pytest.mark.parametrize(("campaign_class", "kind"), EVERY)
def test_shipped_texts_use_known_fields_and_say_what_they_must(campaign_class, kind):
    subject, body = shipped_text(campaign_class, kind)
    check_fields(subject + body)
    for wanted in (
        "{store_name}",
        "{store_phone}",
        "{campaign_number}",
        "{maker_number}",
        "You pay nothing",
        "VIN look-up of the federal regulator",
        "not the notice of {maker}",
    ):
        assert wanted in " ".join(body.split())


@pytest.mark.parametrize(("campaign_class", "kind"), EVERY)
def test_safety_words_stand_in_the_safety_class_only(campaign_class, kind):
    """49 CFR 577 binds safety notices; other classes must not borrow its words."""
    said = " ".join(shipped_text(campaign_class, kind)).lower()
    assert ("safety" in said) == (campaign_class is CampaignClass.SAFETY)
    recall = campaign_class in {CampaignClass.SAFETY, CampaignClass.EMISSIONS}
    assert ("recall" in said) == recall


@pytest.mark.parametrize("kind", RoundKind)
def test_no_word_plays_the_risk_down(kind):
    """49 CFR 577.8, from memory; "may exist" and "possible defect" were refused in
    letters of interpretation, "no accidents" counts as a disclaimer.
    """
    said = " ".join(shipped_text(CampaignClass.SAFETY, kind)).lower()
    for word in ("may exist", "possible defect", "no accidents", "precaution"):
        assert word not in said


def test_paragraphs_are_split_at_empty_lines():
    assert paragraphs("a\nb\r\n\r\n c ") == ("a b", "c")
