"""Finding the letter that somebody holds in hand, and what waits for a decision."""

import datetime as dt

import pytest

from campaigns.models import Letter
from campaigns.queries.letter_post import (
    contacts_of,
    letters_named,
    return_words,
    undecided,
)
from campaigns.rules.lifecycle import WorkState
from tests.factories.campaigns import ContactFactory, LetterFactory
from tests.factories.dealership import TODAY


pytestmark = pytest.mark.django_db


def named(text):
    return [one.code for one in letters_named(Letter.objects.all(), text)]


def test_a_code_means_one_letter_and_unposted_ones_are_not_found():
    LetterFactory.create(code="L1", posted_on=TODAY)
    LetterFactory.create(code="L12", posted_on=TODAY)
    LetterFactory.create(code="L2")

    assert named(" l1 ") == ["L1"]
    assert named("L2") == []
    assert named("  ") == []


def test_a_short_piece_of_a_vin_means_nothing():
    letter = LetterFactory.create(code="L1", posted_on=TODAY)
    vin = letter.campaign_vehicle.vehicle.vin

    assert named(vin[-6:]) == ["L1"]
    assert named(vin[-3:]) == []


def test_what_is_decided_or_done_waits_no_longer():
    back = {"posted_on": TODAY, "returned_on": TODAY, "returned_why": "moved"}
    waits = LetterFactory.create(**back)
    LetterFactory.create(**back, return_step="same_address")
    LetterFactory.create(**back, campaign_vehicle__work_state=WorkState.REMEDIED_HERE)

    assert list(undecided(Letter.objects.all())) == [waits]


def test_reasons_in_words():
    assert return_words("moved") == "moved, no new address left"
    assert return_words("") == ""


def test_what_was_said_comes_newest_first():
    old = ContactFactory.create(on=TODAY - dt.timedelta(days=2))
    new = ContactFactory.create(campaign_vehicle=old.campaign_vehicle)

    assert list(contacts_of(old.campaign_vehicle)) == [new, old]
