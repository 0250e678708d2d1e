"""The pages of where money is tied up."""

import datetime as dt

import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop, put_on_shelf
from tests.campaigns.views.test_account import text_of
from tests.factories.dealership import TODAY, PostFactory, StoreFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

WHERE = "campaigns:exposure"
LINES = "campaigns:exposure_lines"


@pytest.fixture
def shop():
    shop = Shop(cents=1_000, pieces_each=1)
    shop.shelf(5, on=TODAY - dt.timedelta(days=95))
    shop.complete()
    return shop


@pytest.fixture
def desk(shop, signed_in):
    return signed_in(Role.OWNER, shop.store)


def test_what_is_old_is_said_first_and_opens(shop, desk):
    page = desk.get(reverse(WHERE))
    assert "$50.00 is tied up, $40.00 of it for more than 90 days" in text_of(page)
    old = desk.get(page.context["old_url"])
    assert "One line, $40.00 at cost." in text_of(old)


@pytest.mark.parametrize("by", ["campaign", "store", "part"])
def test_every_figure_opens_to_lines_that_add_up_to_it(shop, desk, by):
    page = desk.get(reverse(WHERE), {"by": by})
    (row,) = page.context["rows"]
    opened = 0
    for _words, cents, url in (*row["states"], *row["bands"]):
        if cents:
            assert desk.get(url).context["cents"] == cents
            opened += 1
    assert opened == 4
    assert desk.get(row["url"]).context["cents"] == row["sum"].total == 5_000


def test_a_filter_is_said_and_dropped(shop, desk):
    asked = {"state": "on_hand", "campaign": shop.campaign.code}
    page = desk.get(reverse(LINES), asked)
    said = dict(page.context["parts_of_filter"])
    assert list(said) == [f"campaign {shop.campaign.code}", "on hand"]
    dropped = desk.get(said["on hand"])
    assert dropped.context["cents"] == 5_000


def test_all_stores_and_only_ones_own(shop, signed_in):
    second, third = (StoreFactory.create(code=code) for code in ("X2", "X3"))
    for store in (second, third):
        put_on_shelf(
            store=store, part=shop.part, pieces=2, cents=1_000, campaign=shop.campaign
        )
    desk = signed_in(Role.OWNER, shop.store)
    PostFactory.create(staff=desk.staff, store=second, role=Role.OWNER)
    PostFactory.create(staff=desk.staff, store=third, role=Role.TECHNICIAN)
    page = desk.get(reverse(WHERE), {"stores": "all", "by": "store"})
    assert [row["sum"].key for row in page.context["rows"]] == [
        shop.store.code,
        second.code,
    ]


def test_nothing_tied_up(signed_in):
    desk = signed_in(Role.OWNER)
    assert "No money is tied up here" in text_of(desk.get(reverse(WHERE)))
    assert "No line fits" in text_of(desk.get(reverse(LINES)))


def test_the_pages_take_the_queries_of_one(shop, desk, django_assert_num_queries):
    for shops in (1, 3):
        for _each in range(shops - 1):
            Shop(store=shop.store).shelf(1)
        for where in (WHERE, LINES):
            with django_assert_num_queries(23):
                desk.get(reverse(where))
