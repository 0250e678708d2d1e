"""The pages of unsold new vehicles, and the letter."""

import datetime as dt

import pypdfium2
import pytest
from django.urls import reverse

from campaigns.models import HoldingClaim, UnsoldVehicle
from dealership.rules.roles import Role
from tests.campaigns.domain.test_holding import keep, new_vehicle
from tests.campaigns.views.test_account import text_of
from tests.factories.campaigns import CampaignFactory
from tests.factories.dealership import TODAY


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def desk(signed_in):
    return signed_in(Role.SERVICE_MANAGER)


@pytest.fixture
def campaign():
    return CampaignFactory.create(announced_on=dt.date(2026, 1, 10))


def where(campaign, name="unsold", *more):
    return reverse(f"campaigns:{name}", args=[campaign.code, *more])


def done(desk, campaign):
    return new_vehicle(desk.store, campaign, done_on=dt.date(2026, 3, 26))


def test_nothing_is_held(desk, campaign):
    assert "nothing to claim" in text_of(desk.get(where(campaign)))


def test_from_the_price_to_the_letter_and_the_payment(desk, campaign):
    row = done(desk, campaign)
    page = desk.get(where(campaign))
    assert "One vehicle has no price yet" in text_of(page)
    edit = where(campaign, "edit_unsold", row.pk)
    assert edit in page.content.decode()
    assert 'value="2026-01-10"' in desk.get(edit).content.decode()
    facts = {"selling_price_cents": "30,000.00", "notice_on": "2026-01-10"}
    assert desk.post(edit, facts).url == where(campaign)
    words = text_of(desk.get(where(campaign)))
    assert "One vehicle can be claimed now, $754.84" in words
    assert "It is a floor, not the amount due" in words
    drawn = desk.post(
        where(campaign, "draw_claim"), {"key": "k", "dated": TODAY.isoformat()}
    )
    claim = HoldingClaim.objects.get()
    assert drawn.url == reverse("campaigns:holding_claim", args=[claim.pk])
    assert "$754.84 is asked for" in text_of(desk.get(drawn.url))
    paper = desk.get(reverse("campaigns:holding_claim_pdf", args=[claim.pk]))
    pdf = pypdfium2.PdfDocument(paper.content)
    letter = " ".join(pdf[0].get_textpage().get_text_range().split())
    assert "We ask for $754.84 for one new vehicle" in letter
    assert "2.5161 30,000.00 754.84" in letter
    assert "49 USC 30116" in letter
    assert "The amount is set by our agreement with you and by law" in letter
    paid = {"paid_cents": "700", "dated": TODAY.isoformat(), "advice": "PA-7"}
    desk.post(drawn.url, paid)
    assert "$700.00 of $754.84 was paid" in text_of(desk.get(drawn.url))
    again = desk.post(drawn.url, paid | {"paid_cents": "1"})
    assert "was settled on 2026-11-25" in text_of(again)


def test_nothing_to_claim_is_said_on_the_page(desk, campaign):
    new_vehicle(desk.store, campaign)
    asked = {"key": "k", "dated": TODAY.isoformat()}
    page = desk.post(where(campaign, "draw_claim"), asked)
    assert "can be claimed now: each still waits" in text_of(page)
    assert not HoldingClaim.objects.exists()


def test_contradicting_days_are_told_in_the_form(desk, campaign):
    row = done(desk, campaign)
    page = desk.post(
        where(campaign, "edit_unsold", row.pk), {"notice_on": "2026-05-01"}
    )
    assert "it is counted from 2026-05-01, but ended on 2026-03-26" in text_of(page)
    assert not UnsoldVehicle.objects.exists()


def test_another_class_than_safety_names_no_act_as_a_ground(desk):
    other = CampaignFactory.create(campaign_class="satisfaction")
    new_vehicle(desk.store, other)
    assert "may not apply" in text_of(desk.get(where(other)))


def test_the_page_takes_the_queries_of_one(desk, campaign, django_assert_num_queries):
    for vehicles in (1, 3):
        for _each in range(vehicles):
            keep(done(desk, campaign))
        with django_assert_num_queries(9):
            desk.get(where(campaign))
