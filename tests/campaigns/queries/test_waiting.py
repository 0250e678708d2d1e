"""What is kept for others, and from which day the rest can be promised."""

import datetime as dt

import pytest

from campaigns.queries.waiting import (
    availability,
    before,
    kept_for,
    place_of,
    waiting_list,
)
from inventory.queries.stock import stock_of
from tests.factories.campaigns import PartRequestFactory
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
)


pytestmark = pytest.mark.django_db


def asked(campaign, store, days_ago, **facts):
    return PartRequestFactory.create(
        campaign_vehicle=open_vehicle(campaign, store),
        asked_on=TODAY - dt.timedelta(days=days_ago),
        **facts,
    )


def test_offers_stand_first_then_who_asked_first():
    store = StoreFactory.create()
    campaign = campaign_with_remedy()
    late, early = asked(campaign, store, 1), asked(campaign, store, 9)
    offered = asked(campaign, store, 0, state="offered")
    asked(campaign, store, 20, state="withdrawn")
    asked(campaign, StoreFactory.create(), 20)

    listed = waiting_list(store=store, today=TODAY)

    assert [one.request for one in listed] == [offered, early, late]
    assert place_of(listed, late.campaign_vehicle) == 3
    ahead = before(listed, early.campaign_vehicle)
    assert [one.request for one in ahead] == [offered]
    newcomer = open_vehicle(campaign, store)
    assert before(listed, newcomer) == listed
    assert place_of(listed, newcomer) is None


def test_who_is_ahead_is_taken_off_before_a_day_is_promised():
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=2)
    asked(campaign, store, 3)
    put_on_shelf(store, part, 3)
    announce(store, part, 1, on=TODAY)
    stock = stock_of(store=store, part_ids=[part.pk])
    listed = waiting_list(store=store, today=TODAY)
    kept = kept_for(listed, campaign=campaign, stock=stock)

    there = availability(
        {part: 2}, campaign=campaign, stock=stock, kept=kept, today=TODAY
    )

    assert kept == {part.pk: 2}
    assert (there.parts[0].free_now, there.is_here) == (1, False)
    # the delivery of Wednesday counts from Friday: Thursday 26 November 2026 is
    # Thanksgiving Day, 5 USC 6103(a)
    assert there.earliest == dt.date(2026, 11, 27)
    assert [one.part for one in there.missing] == [part]


def test_other_campaigns_keep_only_what_they_were_offered_of_the_common_stock():
    store, part = StoreFactory.create(), PartFactory.create()
    mine, other = campaign_with_remedy(part), campaign_with_remedy(part)
    asked(other, store, 5)
    asked(other, store, 5, state="offered")
    asked(other, store, 5, state="offered")
    put_on_shelf(store, part, 1, other.earmark)
    stock = stock_of(store=store, part_ids=[part.pk])
    listed = waiting_list(store=store, today=TODAY)

    assert kept_for(listed, campaign=mine, stock=stock) == {part.pk: 1}
    assert kept_for(listed, campaign=None, stock=stock) == {part.pk: 1}


def test_a_part_under_recall_is_never_promised():
    store, part = StoreFactory.create(), PartFactory.create(recalled=True)
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 5)
    stock = stock_of(store=store, part_ids=[part.pk])

    there = availability(
        {part: 1}, campaign=campaign, stock=stock, kept={}, today=TODAY
    )

    assert (there.is_here, there.earliest) == (False, None)


def test_work_without_parts_can_be_done_today():
    there = availability(
        {},
        campaign=None,
        stock=stock_of(store=StoreFactory.create(), part_ids=[]),
        kept={},
        today=TODAY,
    )

    assert (there.is_here, there.earliest) == (True, TODAY)
