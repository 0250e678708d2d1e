"""The pages of claims, through the test client."""

import re

import pytest
from django.urls import reverse

from campaigns.domain.claims import submit
from campaigns.models import Claim, ClaimAct, Payment
from campaigns.rules.lifecycle import ClaimState
from dealership.rules.roles import Role
from inventory.models import WriteOff
from tests.campaigns.domain.shop import Shop
from tests.factories.campaigns import ClaimFactory, ClaimLineFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

DAY = TODAY.isoformat()


@pytest.fixture
def shop():
    shop = Shop()
    shop.shelf(20)
    return shop


@pytest.fixture
def desk(shop, signed_in):
    return signed_in(Role.SERVICE_MANAGER, shop.store)


@pytest.fixture
def claim(shop):
    return Claim.objects.get(repair=shop.complete())


def address(name, *args):
    return reverse(f"campaigns:{name}", args=args)


def text_of(response):
    html = response.content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def sent(claim):
    return submit(key=f"s{claim.pk}", claim=claim, dated=TODAY, by=None, at=NOW)


def fields(claim, *sums):
    lines = claim.lines.order_by("pk")
    return {f"line_{line.pk}": amount for line, amount in zip(lines, sums, strict=True)}


def test_a_ready_claim_is_noted_as_sent(desk, claim):
    page = text_of(desk.get(address("claim", claim.pk)))
    assert "$147.20 is ready to be asked for" in page
    data = {"key": "k", "dated": DAY, "reference": "R-1"}
    for _press in range(2):
        desk.post(address("submit_claim", claim.pk), data)
    claim.refresh_from_db()
    assert claim.state == ClaimState.SUBMITTED
    assert ClaimAct.objects.count() == 1
    assert "$147.20 is still to be paid" in text_of(
        desk.get(address("claim", claim.pk))
    )


def test_a_payment_offers_the_whole_and_takes_what_is_typed(desk, claim):
    sent(claim)
    form = desk.get(address("claim", claim.pk)).context["forms"]["pay"]
    assert [form[f"line_{line.pk}"].value() for line in form.lines] == [
        "47.45",
        "99.75",
    ]
    data = {"key": "k", "dated": DAY, **fields(claim, "47.45", "90")}
    for _press in range(2):
        desk.post(address("pay_claim", claim.pk), data)
    claim.refresh_from_db()
    assert claim.state == ClaimState.SHORT_PAID
    assert sum(Payment.objects.values_list("cents", flat=True)) == 13_745
    page = text_of(desk.get(address("claim", claim.pk)))
    assert "$137.45 of $147.20 is paid" in page
    assert "send the claim again for $9.75" in page


@pytest.mark.parametrize(
    ("sums", "words"),
    [
        (("1000", "0"), "is more than the 47.45 still open"),
        (("-1", "0"), "below zero"),
        (("x", "0"), "not a sum of money"),
        (("", ""), "No line of claim 1 is paid"),
    ],
)
def test_a_wrong_payment_is_told_and_keeps_what_was_typed(desk, claim, sums, words):
    sent(claim)
    data = {"key": "k", "dated": DAY, "advice": "PA-1", **fields(claim, *sums)}
    page = desk.post(address("pay_claim", claim.pk), data)
    assert words in text_of(page)
    assert page.context["forms"]["pay"]["advice"].value() == "PA-1"
    assert not Payment.objects.exists()


def test_refused_and_given_up(desk, claim):
    sent(claim)
    where = address("reject_claim", claim.pk)
    page = desk.post(where, {"key": "k", "dated": DAY, "why": ""})
    assert "Say why it was refused" in text_of(page)
    desk.post(where, {"key": "k", "dated": DAY, "why": "Photo missing"})
    assert "Refused: “Photo missing”" in text_of(desk.get(address("claim", claim.pk)))
    where = address("write_off_claim", claim.pk)
    desk.post(where, {"key": "w", "dated": DAY, "why": "No photo"})
    assert WriteOff.objects.get().cents == 3_650
    page = text_of(desk.get(address("claim", claim.pk)))
    assert "Given up: $147.20 of $147.20 was written off" in page


def test_a_step_that_cannot_be_taken_is_told(desk, claim):
    page = desk.post(
        address("reject_claim", claim.pk), {"key": "k", "dated": DAY, "why": "No"}
    )
    assert "it cannot become" in text_of(page)
    claim.refresh_from_db()
    assert claim.state == ClaimState.READY


def test_ticked_claims_are_sent_together_once(desk, shop):
    claims = [Claim.objects.get(repair=shop.complete()) for _each in range(3)]
    ticked = [claim.pk for claim in claims[:2]]
    data = {"key": "k", "dated": DAY, "claims": ticked}
    for _press in range(2):
        answer = desk.post(address("submit_claims"), data)
        assert answer.url == address("claims")
    assert ClaimAct.objects.count() == 2
    assert Claim.objects.filter(state=ClaimState.READY).get() == claims[2]


def test_nothing_ticked_is_told(desk, claim):
    page = desk.post(address("submit_claims"), {"key": "k", "dated": DAY})
    assert "Tick at least one claim" in text_of(page)


def test_the_list_says_what_is_ready_and_filters(desk, shop, claim):
    other = sent(Claim.objects.get(repair=shop.complete()))
    page = desk.get(address("claims"))
    assert "One claim is ready to send; $294.40 is still asked for in all." in text_of(
        page
    )
    found = desk.get(address("claims"), {"state": "submitted"}).context["page_obj"]
    assert list(found) == [other]
    assert not list(desk.get(address("claims"), {"state": "paid"}).context["page_obj"])


def test_the_list_takes_the_queries_of_one(desk, shop, django_assert_num_queries):
    for count in (1, 3):
        while Claim.objects.count() < count:
            shop.complete()
        with django_assert_num_queries(14):
            page = desk.get(address("claims"))
        assert len(page.context["page_obj"].object_list) == count


def test_a_claim_takes_the_same_queries_with_more_lines(
    desk, claim, django_assert_num_queries
):
    for lines in (2, 4):
        while claim.lines.count() < lines:
            ClaimLineFactory.create(claim=claim)
        with django_assert_num_queries(16):
            desk.get(address("claim", claim.pk))


def test_another_stores_claim_is_not_found(claim, signed_in):
    stranger = signed_in(Role.SERVICE_MANAGER, StoreFactory.create())
    assert stranger.get(address("claim", claim.pk)).status_code == 404
    for name in ("submit_claim", "pay_claim", "reject_claim", "write_off_claim"):
        assert stranger.post(address(name, claim.pk)).status_code == 404
    data = {"key": "k", "dated": DAY, "claims": [claim.pk]}
    stranger.post(address("submit_claims"), data)
    assert not ClaimAct.objects.exists()


def test_who_may_only_look_gets_no_form(claim, shop, signed_in):
    owner = signed_in(Role.OWNER, shop.store)
    assert owner.get(address("claim", claim.pk)).context["forms"] == {}
    assert owner.post(address("submit_claim", claim.pk)).status_code == 403
    technician = signed_in(Role.TECHNICIAN, shop.store)
    assert technician.get(address("claims")).status_code == 403
    assert technician.get(address("claim", claim.pk)).status_code == 403


@pytest.mark.parametrize("state", list(ClaimState))
def test_the_page_opens_in_each_state(desk, shop, state):
    claim = ClaimFactory.create(
        state=state, submitted_on=TODAY, settled_on=TODAY, repair__store=shop.store
    )
    ClaimLineFactory.create(claim=claim)
    assert desk.get(address("claim", claim.pk)).status_code == 200
