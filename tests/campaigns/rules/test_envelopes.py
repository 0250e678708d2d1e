"""Letters to one person at one place travel together where the class allows it."""

from campaigns.rules.envelopes import MOST_IN_ONE, may_share_envelope, put_in_envelopes
from campaigns.rules.lifecycle import CampaignClass, PostedBy


def test_only_the_manufacturers_safety_notice_goes_alone():
    alone = {
        (one, who)
        for one in CampaignClass
        for who in PostedBy
        if not may_share_envelope(one, who)
    }

    assert alone == {(CampaignClass.SAFETY, PostedBy.MANUFACTURER)}


def test_neighbours_to_one_person_share_and_no_envelope_gets_too_thick():
    to = ["a", "b", "b", "c", *["d"] * (MOST_IN_ONE + 1), "b"]

    assert put_in_envelopes(to, shared=True) == [1, 2, 2, 4, 5, 5, 5, 5, 9, 10]
    assert put_in_envelopes(to, shared=False) == list(range(1, 11))
    assert put_in_envelopes([], shared=True) == []
