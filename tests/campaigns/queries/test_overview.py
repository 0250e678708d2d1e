"""What the overview of a campaign says is next, each act with its page."""

import datetime as dt

import pytest
from django.urls import resolve

from campaigns.queries.completion import counts
from campaigns.queries.overview import key_dates, next_acts, place_url
from campaigns.rules.lifecycle import CampaignState, VersionState, WorkState
from tests.campaigns.domain.rounds import written_to
from tests.factories.campaigns import (
    CampaignFactory,
    CriteriaVersionFactory,
    LetterRoundFactory,
    ListedVinFactory,
)
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf
from vehicles.rules.standing import Standing


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


def acts_of(campaign, store):
    told = counts(campaign=campaign, store_ids=[store.pk])
    found = next_acts(campaign, store, told, TODAY)
    for one in found:
        resolve(one.url.partition("?")[0])  # each leads to a page
    return [one.act for one in found]


def test_days_come_in_order_and_last_days_are_marked():
    campaign = CampaignFactory.create(letters_on=None)

    days = key_dates(campaign, TODAY)

    assert [one.day for one in days] == sorted(one.day for one in days)
    assert [one.words for one in days if one.is_last] == [
        "parts returnable until",
        "claims until",
    ]
    assert "owner letters from" not in {one.words for one in days}


@pytest.mark.parametrize(
    ("state", "act"),
    [
        (VersionState.DRAFT, "Look at the criteria"),
        (VersionState.MATCHED, "Look at the changes"),
    ],
)
def test_while_it_is_entered_remedy_and_match_are_next(store, state, act):
    campaign = CampaignFactory.create(state=CampaignState.DRAFT)
    CriteriaVersionFactory.create(campaign=campaign, state=state)

    assert acts_of(campaign, store) == ["Write down the remedy", act]


def test_owners_are_written_to_once_they_may_be(store):
    campaign = campaign_with_remedy()
    open_vehicle(campaign, store)

    assert acts_of(campaign, store) == ["Go to the letters"]
    campaign.letters_on = TODAY + dt.timedelta(days=1)
    assert acts_of(campaign, store) == []
    campaign.letters_on = TODAY
    LetterRoundFactory.create(campaign=campaign, store=store)
    assert acts_of(campaign, store) == []


def test_a_reminder_that_pays_is_next(store):
    part = PartFactory.create()
    campaign = written_to(store, part)
    assert acts_of(campaign, store) == []
    put_on_shelf(store, part, 30)
    assert acts_of(campaign, store) == ["Go to the letters"]


def test_vehicles_that_want_a_decision_are_next(store):
    campaign = campaign_with_remedy(stop_sale=True, letters_on=TODAY.replace(year=2030))
    open_vehicle(campaign, store, work_state=WorkState.TO_VERIFY)
    stock = open_vehicle(campaign, store)
    stock.vehicle.standing = Standing.NEW
    stock.vehicle.save()
    ListedVinFactory.create(campaign=campaign, store=store)

    assert acts_of(campaign, store) == ["Verify them", "Plan them", "See them"]
    stock.planned_on = TODAY
    stock.save()
    assert acts_of(campaign, store) == ["Verify them", "See them"]


def test_another_stores_vehicles_are_not_next_here(store):
    campaign = campaign_with_remedy()
    open_vehicle(campaign, StoreFactory.create(), work_state=WorkState.TO_VERIFY)
    ListedVinFactory.create(campaign=campaign)

    assert acts_of(campaign, store) == []


def test_a_closed_campaign_asks_nothing(store):
    campaign = CampaignFactory.create(state=CampaignState.CLOSED)
    open_vehicle(campaign, store)

    assert acts_of(campaign, store) == []


def test_a_place_that_the_house_has_not_has_no_address():
    assert place_url("no_such_place", CampaignFactory.create()) == ""
