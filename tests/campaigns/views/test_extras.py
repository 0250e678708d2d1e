"""Pages of bills beside the work."""

import re

import pytest
from django.urls import reverse

from campaigns.models import ClaimLine, ExtraLimit, RepairExtra
from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop
from tests.factories.campaigns import ExtraLimitFactory, RepairExtraFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


def address(name, *args):
    return reverse(f"campaigns:{name}", args=args)


def text_of(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


@pytest.fixture
def shop():
    shop = Shop()
    shop.shelf(8)
    ExtraLimitFactory.create(campaign=shop.campaign)
    return shop


@pytest.fixture
def desk(shop, signed_in):
    return signed_in(Role.SERVICE_MANAGER, shop.store)


def test_a_loan_car_from_the_bill_to_the_claim(desk, shop):
    repair = shop.open()
    page = text_of(desk.get(address("repair_extras", repair.pk)))
    assert "the whole bill, $40.00 a day" in page
    assert "number and date of the tow bill" in page
    given = {"key": "k1", "kind": "loan_car", "cents": "90.00"}
    refused = desk.post(address("repair_extras", repair.pk), given)
    assert refused.status_code == 400
    assert "for how many days" in text_of(refused)
    page = desk.post(
        address("repair_extras", repair.pk), given | {"days": "2"}, follow=True
    )
    assert "90.00 80.00 10.00 missing Enter it" in text_of(page)
    shop.complete(repair)
    claim = text_of(desk.get(address("claim", repair.claim.pk)))
    assert "The claim has gaps" in claim
    assert "“loan car”: number or date of its paper" in claim
    listed = text_of(desk.get(address("claims")))
    assert "One claim here has a gap" in listed
    row = RepairExtra.objects.get()
    desk.post(
        address("extra_paper", repair.pk, row.pk),
        {"evidence": "LA-77", "dated": "2026-11-25"},
    )
    claim = text_of(desk.get(address("claim", repair.claim.pk)))
    assert "The claim has gaps" not in claim
    assert "LA-77, 2026-11-25" in claim
    assert ClaimLine.objects.get(extra=row).claimed_cents == 8_000


def test_what_a_campaign_pays_is_written_down(desk, shop):
    where = address("extra_limits", shop.campaign.code)
    assert "$" not in text_of(desk.get(where)).split("Say what the bulletin pays")[1]
    desk.post(where, {"towing_paid": "on", "towing_most": "100", "loan_car_day": "7"})
    assert list(ExtraLimit.objects.values_list("kind", "most_cents")) == [
        ("towing", 10_000)
    ]
    bad = desk.post(where, {"towing_paid": "on", "towing_most": "much"})
    assert bad.status_code == 400
    assert ExtraLimit.objects.count() == 1


def test_one_bill_or_three_take_the_same_queries(desk, shop, django_assert_num_queries):
    repair = shop.open()
    desk.get(address("repair_extras", repair.pk))
    for number in (1, 3):
        while repair.extras.count() < number:
            RepairExtraFactory.create(repair=repair)
        with django_assert_num_queries(9):
            desk.get(address("repair_extras", repair.pk))


def test_a_paper_is_changed_no_more_once_the_claim_was_sent(desk, shop):
    repair = shop.open()
    row = RepairExtraFactory.create(repair=repair, kind="loan_car", days=2)
    done = shop.complete(repair)
    done.claim.state = "submitted"
    done.claim.save()
    page = desk.post(
        address("extra_paper", repair.pk, row.pk), {"evidence": "X", "dated": ""}
    )
    assert page.status_code == 400
    assert "is not ready any more" in text_of(page)
