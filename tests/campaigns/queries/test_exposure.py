"""Where money is tied up, beside the accounts that it is read from."""

import datetime as dt

import pytest

from campaigns.domain.claims import submit
from campaigns.models import Claim
from campaigns.queries.account import campaign_account, held_rows
from campaigns.queries.exposure import By, Wanted, add_up, exposure_lines, whole
from campaigns.rules.exposure import AgeBand
from tests.campaigns.domain.shop import Shop, put_on_shelf
from tests.factories.dealership import NOW, TODAY, StoreFactory


pytestmark = pytest.mark.django_db

DAY = dt.timedelta(days=1)


@pytest.fixture
def shop():
    shop = Shop(cents=1_000, pieces_each=1)
    shop.shelf(5, on=TODAY - 40 * DAY)
    shop.campaign.returns_until = TODAY + 9 * DAY
    shop.campaign.claims_until = TODAY + 20 * DAY
    shop.campaign.save()
    shop.complete()
    submit(
        key="s",
        claim=Claim.objects.get(repair=shop.complete()),
        dated=TODAY,
        by=None,
        at=NOW,
    )
    return shop


def lines(*stores):
    return exposure_lines(store_ids=[store.pk for store in stores], today=TODAY)


def test_each_line_knows_its_state_age_and_last_day(shop):
    found = {
        (one.state, one.band, one.days, one.last_day, one.row.cents)
        for one in lines(shop.store)
    }
    assert found == {
        ("on_hand", AgeBand.UP_TO_60, 40, TODAY + 9 * DAY, 3_000),
        ("used_not_claimed", AgeBand.UP_TO_30, 0, TODAY + 20 * DAY, 1_000),
        ("claimed_not_paid", AgeBand.UP_TO_30, 0, TODAY + 20 * DAY, 1_000),
    }
    assert {one.part for one in lines(shop.store)} == {shop.part}


def test_it_adds_up_by_campaign_store_and_part_to_the_same_sum(shop):
    second = StoreFactory.create()
    put_on_shelf(
        store=second, part=shop.part, pieces=7, cents=1_100, campaign=shop.campaign
    )
    other = Shop(store=shop.store, cents=300)
    other.shelf(2)
    found = lines(shop.store, second)
    by_campaign, by_store, by_part = (add_up(found, by) for by in By)
    assert [(one.key, one.total) for one in by_campaign] == [
        (shop.campaign.code, 12_700),
        (other.campaign.code, 600),
    ]
    assert [(one.key, one.total) for one in by_store] == [
        (second.code, 7_700),
        (shop.store.code, 5_600),
    ]
    assert [(one.key, one.total) for one in by_part] == [
        (shop.part.number, 12_700),
        (other.part.number, 600),
    ]
    assert whole(found).total == 13_300
    assert whole(found).states["on_hand"] == 3_000 + 7_700 + 600
    assert sum(whole(found).bands.values()) == 13_300


def test_a_figure_opens_to_its_lines(shop):
    found = lines(shop.store)
    wanted = Wanted(state="on_hand", band="31-60", part=shop.part.number)
    assert [one.row.cents for one in found if wanted.takes(one)] == [3_000]
    assert not any(Wanted(store="ELSEWHERE").takes(one) for one in found)


def test_the_right_side_alone_is_that_of_the_account(shop):
    stores = [shop.store.pk]
    account = campaign_account(shop.campaign, store_ids=stores)
    alone = held_rows([shop.campaign], store_ids=stores)[shop.campaign.pk]
    assert {name: tuple(rows) for name, rows in alone.items()} == {
        name: account.rows[name] for name in alone
    }


def test_fifty_stores_take_the_queries_of_one(shop, django_assert_num_queries):
    stores = [shop.store]
    with django_assert_num_queries(18):
        lines(*stores)
    for _each in range(2):
        store = StoreFactory.create()
        put_on_shelf(
            store=store, part=shop.part, pieces=1, cents=100, campaign=shop.campaign
        )
        stores.append(store)
    Shop(store=shop.store).shelf(1)
    with django_assert_num_queries(18):
        assert len({one.store for one in lines(*stores)}) == 3
