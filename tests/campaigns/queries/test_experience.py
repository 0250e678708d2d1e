"""Closed campaigns by store and class, and the experience that is nearest."""

import pytest

from campaigns.queries.experience import (
    closed_marks,
    courses,
    experience_for,
    read_experience,
    seen_of,
)
from campaigns.rules.lifecycle import CampaignClass, CampaignState
from inventory.forecasting.response import Seen, built_in
from tests.factories.campaigns import ClosedResponseFactory, LearnedResponseFactory
from tests.factories.dealership import StoreFactory


def test_days_become_weeks():
    assert seen_of([[4, [0, 35], 70, True]]) == (
        Seen(vehicles=4, letters=(0.0, 5.0), until=10.0, asked=True),
    )


@pytest.mark.django_db
def test_only_sets_that_are_large_enough_and_closed():
    store = StoreFactory.create()
    for campaign_class in (CampaignClass.SAFETY, CampaignClass.SAFETY, "emissions"):
        ClosedResponseFactory.create(
            store=store, campaign__campaign_class=campaign_class
        )
    ClosedResponseFactory.create(
        store=store, campaign__state=CampaignState.RUNNING, campaign__closed_at=None
    )
    ClosedResponseFactory.create(campaign__campaign_class="emissions")

    found = closed_marks()
    assert {scope: len(rows) for scope, rows in found.items()} == {
        (store.pk, ""): 3,
        (None, ""): 4,
    }
    first = found[store.pk, ""][0]
    assert {one.vehicles for one in courses([first.id]).values()} == {40}


@pytest.mark.django_db
def test_one_campaign_at_three_stores_is_one_campaign():
    campaign = ClosedResponseFactory.create().campaign
    ClosedResponseFactory.create_batch(2, campaign=campaign)
    assert closed_marks() == {}


@pytest.mark.django_db
def test_the_nearest_experience_is_taken():
    mine = LearnedResponseFactory.create(campaign_class="")
    LearnedResponseFactory.create(store=None, campaign_class=CampaignClass.SAFETY)
    LearnedResponseFactory.create(store=None, campaign_class="")
    known = read_experience()
    assert known[None, ""] == built_in()

    def taken(store_id, campaign_class):
        found = experience_for(known, store_id=store_id, campaign_class=campaign_class)
        return next(scope for scope, one in known.items() if one is found)

    assert taken(mine.store_id, "safety") == (mine.store_id, "")
    assert taken(mine.store_id + 1, "safety") == (None, "safety")
    assert taken(mine.store_id + 1, "emissions") == (None, "")
    assert experience_for({}, store_id=1, campaign_class="safety") is None
