"""The money pages, through the test client."""

import re

import pytest
from django.urls import reverse

from campaigns.domain.claims import record_payment, submit
from campaigns.models import Claim
from campaigns.rules.lifecycle import CampaignState
from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop, put_on_shelf
from tests.factories.dealership import NOW, TODAY, PostFactory, StoreFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def shop():
    shop = Shop(cents=1_000, pieces_each=1)
    shop.shelf(5)
    return shop


@pytest.fixture
def desk(shop, signed_in):
    return signed_in(Role.PARTS_MANAGER, shop.store)


def account(shop):
    return reverse("campaigns:account", args=[shop.campaign.code])


def text_of(response):
    html = response.content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def paid(shop):
    claim = Claim.objects.get(repair=shop.complete())
    facts = {"claim": claim, "dated": TODAY, "by": None, "at": NOW}
    submit(key=f"s{claim.pk}", **facts)
    lines = {line.pk: line.claimed_cents for line in claim.lines.all()}
    record_payment(key=f"p{claim.pk}", paid=lines, **facts)


def test_the_two_columns_are_equal_and_each_figure_opens(shop, desk):
    shop.complete()
    paid(shop)
    page = desk.get(account(shop))
    words = text_of(page)
    assert "$40.00 is tied up in parts of this campaign; both sides" in words
    found = page.context["found"].account
    assert found.owed.total == found.held.total == 4_000
    repair = Claim.objects.get(state="ready").repair
    html = page.content.decode()
    assert reverse("campaigns:repair", args=[repair.pk]) in html
    assert html.count("<details") >= 4
    assert words.count("Together 40.00") == 2


def test_a_difference_is_told_with_its_size(shop, desk):
    bill = shop.shelf(2).bill_line.bill
    bill.earmark = None
    bill.save()
    assert "The two sides of this account differ by \N{MINUS SIGN}$20.00" in text_of(
        desk.get(account(shop))
    )
    page = text_of(desk.get(reverse("campaigns:money")))
    assert "The account of one campaign does not balance" in page
    assert "differ by \N{MINUS SIGN}20.00" in page


def test_ages_stand_in_their_bands(shop, desk):
    page = desk.get(account(shop))
    ((words, cents, total),) = page.context["ages"]
    assert str(words) == "on hand"
    assert ([n for _band, n in cents], total) == ([5_000, 0, 0, 0], 5_000)


def test_all_campaigns_of_the_store_the_most_tied_up_first(shop, desk):
    other = Shop(store=shop.store, cents=9_000)
    other.shelf(3)
    draft = Shop(store=shop.store)
    draft.campaign.state = CampaignState.DRAFT
    draft.campaign.save()
    page = desk.get(reverse("campaigns:money"))
    assert [one.campaign for one in page.context["rows"]] == [
        other.campaign,
        shop.campaign,
    ]
    assert page.context["whole"].held.total == 32_000
    assert "$320.00 is tied up in parts of campaigns" in text_of(page)


def test_nothing_running_says_where_to_begin(signed_in):
    desk = signed_in(Role.PARTS_MANAGER)
    assert "No campaign is running" in text_of(desk.get(reverse("campaigns:money")))


def test_all_stores_of_a_person_together(shop, signed_in):
    second, third = (StoreFactory.create(code=code) for code in ("X2", "X3"))
    for store, pieces in ((second, 2), (third, 30)):
        put_on_shelf(
            store=store,
            part=shop.part,
            pieces=pieces,
            cents=1_000,
            campaign=shop.campaign,
        )
    desk = signed_in(Role.PARTS_MANAGER, shop.store)
    PostFactory.create(staff=desk.staff, store=second, role=Role.PARTS_MANAGER)
    PostFactory.create(staff=desk.staff, store=third, role=Role.TECHNICIAN)
    assert desk.get(account(shop)).context["found"].exposure_cents == 5_000
    everywhere = desk.get(account(shop), {"stores": "all"})
    assert everywhere.context["found"].exposure_cents == 7_000
    money = desk.get(reverse("campaigns:money"), {"stores": "all"})
    assert money.context["whole"].held.total == 7_000


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.OFFICE, Role.SERVICE_ADVISOR])
def test_who_may_not_see_money(shop, signed_in, role):
    person = signed_in(role, shop.store)
    for where in (
        account(shop),
        reverse("campaigns:money"),
    ):
        assert person.get(where).status_code == 403


def test_an_unknown_campaign_is_not_found(desk):
    where = reverse("campaigns:account", args=["NONE"])
    assert desk.get(where).status_code == 404


def test_the_pages_take_the_queries_of_one(shop, desk, django_assert_num_queries):
    for repairs in (1, 3):
        while Claim.objects.count() < repairs:
            paid(shop)
        with django_assert_num_queries(27):
            desk.get(account(shop))
        with django_assert_num_queries(28):
            desk.get(reverse("campaigns:money"))
    Shop(store=shop.store).shelf(1)
    with django_assert_num_queries(28):
        desk.get(reverse("campaigns:money"))
