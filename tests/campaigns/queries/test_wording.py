"""Each thing that the rules may say has its words."""

import pytest

from campaigns.queries.wording import (
    COVER_WORDS,
    HAND_OVER_WORDS,
    REASON_WORDS,
    URGENCY_WORDS,
)
from campaigns.rules.deadlines import HandOverReason
from campaigns.rules.eligibility import Cover, Reason
from campaigns.rules.lifecycle import CampaignClass


@pytest.mark.parametrize(
    ("words", "members"),
    [
        (COVER_WORDS, Cover),
        (REASON_WORDS, Reason),
        (URGENCY_WORDS, CampaignClass),
        (HAND_OVER_WORDS, HandOverReason),
    ],
)
def test_every_member_has_its_own_words(words, members):
    assert set(words) == set(members)
    assert len({str(one) for one in words.values()}) == len(words)


def test_what_stops_a_delivery_says_so_at_its_beginning():
    for reason in (HandOverReason.NEW_NOT_REMEDIED, HandOverReason.STOP_SALE):
        assert str(HAND_OVER_WORDS[reason]).startswith("Do not deliver")
