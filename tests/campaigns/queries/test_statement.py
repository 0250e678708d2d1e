"""The statement against the account: it opens, runs and closes to the cent."""

import datetime as dt

import pytest

from campaigns.queries.account import campaign_account
from campaigns.queries.statement import statement_of
from inventory.domain.billing import BilledLine, enter_bill
from tests.campaigns.domain.shop import Shop
from tests.campaigns.queries.test_account import (
    arrive_unbilled,
    give_back,
    paid,
    repaired,
    sent,
)
from tests.factories.dealership import NOW, TODAY


pytestmark = pytest.mark.django_db

DAY = dt.timedelta(days=1)


def account_of(shop):
    return campaign_account(shop.campaign, store_ids=[shop.store.pk])


@pytest.fixture
def shop():
    """120 pieces at 64.10, billed 20 days ago; 52 paid, 18 credited today."""
    shop = Shop(cents=6_410, pieces_each=1)
    shop.part.supplier = shop.campaign.supplier
    shop.part.save()
    shop.shelf(120, on=TODAY - 20 * DAY)
    give_back(shop, 18, credited=True)
    paid(sent(repaired(shop)))
    return shop


def test_it_runs_from_nothing_to_the_exposure(shop):
    """By hand: 7,692.00 - 1,153.80 - 64.10 = 6,474.10."""
    found = account_of(shop)
    told = statement_of(found)
    assert (told.opening_cents, told.closing_cents) == (0, 647_410)
    assert told.closing_cents == found.account.held.total
    assert [(line.on, line.cents, line.balance_cents) for line in told.lines] == [
        (TODAY - 20 * DAY, 769_200, 769_200),
        (TODAY, -6_410, 762_790),
        (TODAY, -115_380, 647_410),
    ]
    assert (told.more_cents, told.less_cents) == (769_200, 121_790)


def test_one_period_ends_where_the_next_begins(shop):
    found = account_of(shop)
    first = statement_of(found, until=TODAY - DAY)
    second = statement_of(found, since=TODAY)
    assert (first.opening_cents, first.closing_cents) == (0, 769_200)
    assert second.opening_cents == first.closing_cents
    assert second.closing_cents == 647_410
    assert [line.cents for line in second.lines] == [-6_410, -115_380]
    assert statement_of(found, since=TODAY + DAY).lines == ()


def test_what_was_here_before_its_bill_is_owed_from_its_day():
    shop = Shop(cents=1_000)
    shop.part.supplier = shop.campaign.supplier
    shop.part.save()
    arrive_unbilled(shop, 4)
    enter_bill(
        store=shop.store,
        supplier=shop.part.supplier,
        number="late",
        dated=TODAY + 5 * DAY,
        lines=[BilledLine(part=shop.part, quantity=4, unit_cost_cents=1_000)],
        earmark=shop.campaign.earmark,
        by=None,
        at=NOW,
    )
    told = statement_of(account_of(shop))
    assert [(line.on, line.cents) for line in told.lines] == [
        (TODAY, 4_000),
        (TODAY + 5 * DAY, 4_000),
        (TODAY + 5 * DAY, -4_000),
    ]
    assert statement_of(account_of(shop), until=TODAY).closing_cents == 4_000
    assert told.closing_cents == 4_000
