"""What has to be known of a round before its letters are filled in."""

import pytest

from campaigns.queries.round_samples import (
    characters_of,
    letters_to_compare,
    sample_letters,
)
from tests.campaigns.domain.rounds import drawn, owned, with_text
from tests.factories.campaigns import CampaignFactory
from tests.factories.dealership import StoreFactory


pytestmark = pytest.mark.django_db


@pytest.fixture
def a_round():
    campaign, store = CampaignFactory.create(), StoreFactory.create()
    people = (
        ("Ada", "Corvane"),
        ("Zoe\u0308 Ży", "Helix"),  # composed into one letter before it is set
        ("Bram", "Corvane"),
        ("Wilhelmina Fenwright", "Corvane"),
    )
    for number, (name, line) in enumerate(people):
        # letters stand in the order of their postal codes
        place = {"postal_code": f"0019{number}"}
        row = owned(campaign, store, name=name, address=place)
        row.vehicle.line = line
        row.vehicle.save()
    return drawn(campaign, store)


def names(letters):
    return sorted(one.party.name for one in letters)


def test_characters_are_composed_and_in_both_cases(a_round):
    found = characters_of(a_round)
    assert {"ë", "Ë", "Ż", "ż", "A", "a"} <= found
    assert "\u0308" not in found


def test_one_letter_for_each_text_year_and_line(a_round):
    assert len(sample_letters(a_round)) == 2


def test_a_text_that_names_the_owner_has_no_sample(a_round):
    with_text(a_round, body="Dear {owner_name}")
    assert sample_letters(a_round) == []


def test_the_longest_names_are_compared(a_round, monkeypatch):
    monkeypatch.setattr("campaigns.queries.round_samples.COMPARED_EVENLY", 1)
    monkeypatch.setattr("campaigns.queries.round_samples.COMPARED_LONGEST", 1)
    assert names(letters_to_compare(a_round)) == ["Ada", "Wilhelmina Fenwright"]


def test_the_same_queries_for_one_letter_and_for_many(
    a_round, django_assert_num_queries
):
    with django_assert_num_queries(4):
        letters_to_compare(a_round)
    with django_assert_num_queries(1):
        characters_of(a_round)
