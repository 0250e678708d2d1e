"""A sign-off that takes more than was held, beside those who wait and are promised."""

import datetime as dt

import pytest

from campaigns.domain.extras import KeptForOthers
from campaigns.domain.requests import offer_waiting
from campaigns.rules.lifecycle import RepairState
from inventory.domain.reserving import reserve
from inventory.models import Balance
from tests.campaigns.domain.shop import Shop, put_on_shelf
from tests.factories.campaigns import CampaignFactory, PartRequestFactory
from tests.factories.dealership import NOW, TODAY
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
)


pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return Shop()


def used_of(shop):
    pockets = Balance.objects.filter(store=shop.store, part=shop.part)
    return sum(pockets.values_list("used", flat=True))


def offer(shop):
    return offer_waiting(store=shop.store, by=None, at=NOW, today=TODAY)


def test_an_extra_piece_that_is_offered_to_somebody_stays(shop):
    shop.shelf(4)
    repair = shop.open()
    PartRequestFactory.create(campaign_vehicle=shop.row())
    assert len(offer(shop)) == 1

    with pytest.raises(KeptForOthers) as refused:
        shop.complete(repair, used={shop.part: 3})

    repair.refresh_from_db()
    assert (refused.value.wanted, refused.value.spare) == (1, 0)
    assert (repair.state, used_of(shop)) == (RepairState.OPEN, 0)
    shop.complete(repair)
    assert used_of(shop) == 2


def test_what_nobody_waits_for_may_be_taken(shop):
    shop.shelf(5)
    repair = shop.open()
    PartRequestFactory.create(campaign_vehicle=shop.row())
    offer(shop)
    shop.complete(repair, used={shop.part: 3})
    assert used_of(shop) == 3


def test_an_offer_to_another_campaign_counts_where_it_draws_on_the_common_stock(shop):
    put_on_shelf(store=shop.store, part=shop.part, pieces=3, cents=1_825)
    repair = shop.open()
    other = campaign_with_remedy(shop.part)
    PartRequestFactory.create(campaign_vehicle=open_vehicle(other, shop.store))
    assert len(offer(shop)) == 1
    with pytest.raises(KeptForOthers):
        shop.complete(repair, used={shop.part: 3})


def test_a_piece_that_a_promise_counts_on_stays(shop):
    """Three are there and two come on Friday; four are promised for the week after."""
    shop.shelf(3)
    repair = shop.open()
    announce(shop.store, shop.part, 3, on=dt.date(2026, 11, 27),
             earmark=shop.campaign.earmark)  # fmt: skip
    reserve(
        key="later", store=shop.store, part=shop.part, quantity=4,
        earmarks=[shop.campaign.earmark, None], subject="visit_job:999",
        needed_on=dt.date(2026, 12, 4), today=TODAY, by=None, at=NOW,
    )  # fmt: skip
    with pytest.raises(KeptForOthers):
        shop.complete(repair, used={shop.part: 3})


def test_pieces_of_no_campaign_are_judged_by_their_own_pocket(shop):
    """Pieces set apart for another campaign are not there for this repair at all."""
    shop.shelf(2)
    put_on_shelf(
        store=shop.store, part=shop.part, pieces=1, cents=1_825,
        campaign=CampaignFactory.create(),
    )  # fmt: skip
    put_on_shelf(store=shop.store, part=shop.part, pieces=1, cents=1_825)
    shop.complete(used={shop.part: 3})
    free = Balance.objects.filter(part=shop.part).values_list("free", flat=True)
    assert sorted(free) == [0, 0, 1]
