"""Empty shelves and old lists behind a proposal."""

import datetime as dt

import pytest

from campaigns.queries.doubts import EmptyWeeks, OldList, empty_weeks, old_lists
from campaigns.queries.working import doubts_of
from inventory.domain.ledger import Line, post
from inventory.models import CostLayer
from inventory.rules.accounts import Account, MovementKind
from tests.factories.campaigns import (
    CampaignFactory,
    ListedVinFactory,
    ReplenishmentFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import CostLayerFactory, PartFactory
from tests.factories.vehicles import VehicleListFactory


pytestmark = pytest.mark.django_db


def days_ago(days):
    return TODAY - dt.timedelta(days=days)


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


@pytest.fixture
def campaign():
    return CampaignFactory.create(announced_on=days_ago(40), letters_on=days_ago(30))


def move(store, part, pieces, days):
    """Take pieces in, or use them up, so many days ago."""
    came = pieces > 0
    layer = CostLayer.objects.filter(store=store, part=part).first()
    layer = layer or CostLayerFactory.create(store=store, part=part, quantity=50)
    post(
        key=f"{pieces} {days}",
        kind=MovementKind.RECEIVE if came else MovementKind.USE,
        store=store,
        lines=[
            Line(
                part=part,
                earmark=None,
                source=Account.SUPPLIER if came else Account.FREE,
                target=Account.FREE if came else Account.USED,
                quantity=abs(pieces),
                layer=layer,
            )
        ],
        by=None,
        at=NOW,
        effective_on=days_ago(days),
    )


def test_weeks_with_an_empty_shelf_are_counted_from_the_letters_on(
    store, part, campaign
):
    """Four whole weeks, day 28 to day 1: five pieces from day 26 on, none on 10 to 8.

    By hand: days 28 and 27 lie in the first week, 10 to 8 in the third.
    """
    move(store, part, 5, 26)
    move(store, part, -5, 10)
    move(store, part, 3, 7)
    found = empty_weeks(part=part, store=store, codes=[campaign.code], today=TODAY)
    assert found == EmptyWeeks(empty=2, weeks=4)


def test_a_shelf_that_never_was_empty(store, part, campaign):
    move(store, part, 5, 60)
    found = empty_weeks(part=part, store=store, codes=[campaign.code], today=TODAY)
    assert found == EmptyWeeks(empty=0, weeks=4)


def test_without_a_campaign_or_before_its_first_week_nothing_is_counted(store, part):
    young = CampaignFactory.create(announced_on=days_ago(6), letters_on=None)
    for codes in ([], [young.code]):
        found = empty_weeks(part=part, store=store, codes=codes, today=TODAY)
        assert found == EmptyWeeks(0, 0)


@pytest.mark.parametrize(("days", "old"), [(14, False), (15, True)])
def test_the_last_list_is_old_after_two_weeks(store, campaign, days, old):
    ListedVinFactory.create(campaign=campaign, store=store, listed_on=days_ago(40))
    ListedVinFactory.create(campaign=campaign, store=store, listed_on=days_ago(days))
    found = old_lists(store=store, codes=[campaign.code], today=TODAY)
    assert found == ([OldList(campaign.code, days_ago(15))] if old else [])


def test_a_fresh_list_of_the_stores_own_vehicles_will_do(store, campaign):
    ListedVinFactory.create(campaign=campaign, store=store, listed_on=days_ago(40))
    VehicleListFactory.create(store=store, applied_at=NOW - dt.timedelta(days=3))
    assert old_lists(store=store, codes=[campaign.code], today=TODAY) == []


def test_where_no_list_was_taken_in_none_is_old(store, campaign):
    assert old_lists(store=store, codes=[campaign.code], today=TODAY) == []


def test_both_doubts_in_words(store, part, campaign):
    ListedVinFactory.create(campaign=campaign, store=store, listed_on=days_ago(20))
    proposal = ReplenishmentFactory.create(
        store=store, part=part, facts={"campaigns": [campaign.code]}
    )
    assert doubts_of(proposal, store=store, today=TODAY) == [
        (
            "In 4 of the last 4 weeks the shelf was empty at the end of a day. Owners who"
            " saw that may not have asked, so more may be wanted than was counted."
        ),
        (
            f"{campaign.code}: the last list of vehicles is of {days_ago(20)}, 20 days old."
            " Vehicles that were done elsewhere or are gone since then still count as open."
            " Take in a new list."
        ),
    ]
