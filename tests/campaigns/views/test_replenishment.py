"""Pages of proposals and what is pressed on them."""

import datetime as dt

import pypdfium2
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from campaigns.domain.reckoning import reconcile
from campaigns.models import Replenishment
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from dealership.models import Job
from dealership.rules.roles import Role
from inventory.models import GoodsReturn, PurchaseOrder, Transfer
from tests.factories.campaigns import ListedVinFactory, ReplenishmentFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def client(signed_in, store):
    return signed_in(Role.PARTS_MANAGER, store)


@pytest.fixture
def order(store):
    """Twenty vehicles are open, packs of five, an empty shelf."""
    campaign = campaign_with_remedy(PartFactory.create(pack=5))
    for _number in range(20):
        open_vehicle(campaign, store)
    reconcile(today=TODAY, at=NOW)
    return Replenishment.objects.get()


def url_of(proposal, act=""):
    return reverse(f"campaigns:{act}proposal", args=[proposal.pk])


def test_the_list_names_the_first_and_its_day(client, order):
    page = client.get(reverse("campaigns:proposals")).content.decode()
    act, _dot, _rest = order.sentence.partition(". ")
    assert (
        f"One part waits for your decision, due today: {order.part.number}. {act}."
        in page
    )


def test_the_list_costs_the_same_for_one_and_for_three(client, store):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            client.get(reverse("campaigns:proposals"))
        return len(caught)

    facts = {"store": store, "kind": ProposalKind.ORDER, "act_by": TODAY, "quantity": 5}
    client.get(reverse("campaigns:proposals"))
    ReplenishmentFactory.create(**facts)
    ReplenishmentFactory.create(store=store, kind=ProposalKind.NOTHING)
    one = queries()
    for _number in range(2):
        ReplenishmentFactory.create(**facts)
        ReplenishmentFactory.create(store=store, kind=ProposalKind.NOTHING)
    assert queries() == one


def test_the_page_has_sentence_table_runway_and_every_number(client, order):
    page = client.get(url_of(order)).content.decode()
    act, _dot, rest = order.sentence.partition(". ")
    assert f"{act}." in page
    assert rest in page
    assert "What other numbers would do" in page
    assert "share of outcomes to be covered" in page
    assert "<svg" in page
    assert page.count('class="is-act"') == 1


def test_accepting_places_the_order_and_a_second_press_none(client, order):
    for _press in range(2):
        answer = client.post(url_of(order, "accept_"), {"key": "k"})
        assert answer.status_code == 302
    assert PurchaseOrder.objects.get().lines.get().quantity == order.quantity
    page = client.get(url_of(order)).content.decode()
    assert "This proposal is closed" in page
    assert "Order 1" in page


def test_another_number_without_reason_is_asked_for_it(client, order):
    answer = client.post(
        url_of(order, "change_"), {"change-key": "k", "change-quantity": "10"}
    )
    assert answer.status_code == 409
    assert "This field is required." in answer.content.decode()
    assert not PurchaseOrder.objects.exists()


def test_a_broken_pack_is_refused_with_its_sentence(client, order):
    answer = client.post(
        url_of(order, "change_"),
        {"change-key": "k", "change-quantity": "7", "change-why": "few"},
    )
    assert answer.status_code == 409
    assert (
        f"{order.part.number} comes in packs of 5, at least 5 pieces an order; 7 cannot"
        " be ordered." in answer.content.decode()
    )


def test_another_number_with_reason_is_ordered_and_both_are_kept(client, order):
    client.post(
        url_of(order, "change_"),
        {"change-key": "k", "change-quantity": "10", "change-why": "Holiday week"},
    )
    order.refresh_from_db()
    assert (order.state, order.done_quantity) == (ProposalState.CHANGED, 10)
    page = client.get(reverse("campaigns:proposals") + "?show=decided").content.decode()
    assert "Holiday week" in page


def test_declining_keeps_the_reason_and_orders_nothing(client, order):
    client.post(
        url_of(order, "decline_"), {"decline-key": "k", "decline-why": "Maker sends"}
    )
    order.refresh_from_db()
    assert (order.state, order.done_why) == (ProposalState.DECLINED, "Maker sends")
    assert not PurchaseOrder.objects.exists()


def test_a_proposal_that_was_replaced_is_refused_and_the_newer_one_linked(
    client, order
):
    reconcile(today=TODAY + dt.timedelta(days=1), at=NOW)
    newer = Replenishment.objects.get(state=ProposalState.OPEN)
    answer = client.post(url_of(order, "accept_"), {"key": "k"})
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "A newer proposal has taken the place of this one" in page
    assert url_of(newer) in page
    assert "a day has passed" in client.get(url_of(newer)).content.decode()


def test_a_return_is_boxed_and_leads_to_its_page(client, store):
    part = PartFactory.create()
    campaign = campaign_with_remedy(part, returns_until=TODAY + dt.timedelta(days=10))
    put_on_shelf(store, part, 12, campaign.earmark)
    reconcile(today=TODAY, at=NOW)
    proposal = Replenishment.objects.get()
    answer = client.post(url_of(proposal, "accept_"), {"key": "k"})
    boxed = GoodsReturn.objects.get()
    assert answer.url == reverse("inventory:goods_return", args=[boxed.pk])


def test_working_out_now_leaves_one_job_a_press(client, store):
    url = reverse("campaigns:work_out_proposals")
    first = client.post(url, {"key": "k"})
    assert client.post(url, {"key": "k"}).url == first.url
    job = Job.objects.get(kind="campaigns.reconcile")
    assert (job.arguments, job.store) == ({"store_id": store.pk}, store)
    assert client.post(url, {}).status_code == 403


def test_who_may_not_order_sees_and_cannot_press(signed_in, store, order):
    technician = signed_in(Role.TECHNICIAN, store)
    page = technician.get(url_of(order)).content.decode()
    assert url_of(order, "accept_") not in page
    assert technician.post(url_of(order, "accept_"), {"key": "k"}).status_code == 403


def test_a_proposal_of_another_store_is_not_found(signed_in, order):
    other = signed_in(Role.PARTS_MANAGER)
    assert other.get(url_of(order)).status_code == 404
    assert other.post(url_of(order, "accept_"), {"key": "k"}).status_code == 404


def test_the_paper_shows_what_the_page_shows(client, order):
    answer = client.get(reverse("campaigns:proposal_paper", args=[order.pk]))
    assert answer["Content-Type"] == "application/pdf"
    text = "".join(
        page.get_textpage().get_text_range()
        for page in pypdfium2.PdfDocument(answer.getvalue())
    )
    act, _dot, _rest = order.sentence.partition(". ")
    assert f"{act}." in text
    assert order.part.number in text
    assert "How was this worked out" in text
    assert "What each number costs" not in text


def test_page_and_paper_show_the_course_and_what_makes_it_doubtful(client, store):
    """An old list and an empty shelf are said on both; the paper has two pages."""
    part = PartFactory.create(pack=5)
    campaign = campaign_with_remedy(
        part, letters_on=TODAY - dt.timedelta(days=70), announced_on=dt.date(2026, 8, 1)
    )
    for _number in range(20):
        open_vehicle(campaign, store)
    ListedVinFactory.create(
        campaign=campaign, store=store, listed_on=TODAY - dt.timedelta(days=60)
    )
    reconcile(today=TODAY, at=NOW)
    proposal = Replenishment.objects.get()
    page = client.get(url_of(proposal)).content.decode()
    answer = client.get(reverse("campaigns:proposal_paper", args=[proposal.pk]))
    sheets = pypdfium2.PdfDocument(answer.getvalue())
    text = " ".join(
        sheet.get_textpage().get_text_range().replace("\r\n", " ") for sheet in sheets
    )
    assert len(sheets) == 2
    for told in (page, text):
        assert "In 10 of the last 10 weeks the shelf was empty" in told
        assert f"{campaign.code}: the last list of vehicles is of 2026-09-26" in told
        assert f"How {campaign.code} runs" in told
    assert "weeks since the letter" in text


def test_with_costs_page_and_paper_draw_the_same_curve(client, store):
    store.second_visit_cents, store.labour_margin_cents = 9_000, 6_000
    store.save()
    campaign = campaign_with_remedy(PartFactory.create(pack=5))
    for _number in range(20):
        open_vehicle(campaign, store)
    reconcile(today=TODAY, at=NOW)
    proposal = Replenishment.objects.get()
    page = client.get(url_of(proposal)).content.decode()
    said = f"Ordering {proposal.quantity} costs"
    assert f"<p>{said}" in page
    assert f'aria-label="{said}' in page
    answer = client.get(reverse("campaigns:proposal_paper", args=[proposal.pk]))
    pages = pypdfium2.PdfDocument(answer.getvalue())
    text = " ".join(
        page.get_textpage().get_text_range().replace("\r\n", " ") for page in pages
    )
    assert said in text
    assert "customers without a part" in text


@pytest.fixture
def thirty_elsewhere(client, store):
    """Forty vehicles wait here for a part of which another store has thirty."""
    other = StoreFactory.create()
    part = PartFactory.create(pack=1)
    campaign = campaign_with_remedy(part)
    for _number in range(40):
        open_vehicle(campaign, store)
    put_on_shelf(other, part, 30)
    client.force_login(make_staff(Role.PARTS_MANAGER, store, other))
    reconcile(today=TODAY, at=NOW)
    return other


def test_moves_stand_on_their_page_and_on_the_proposal(client, store, thirty_elsewhere):
    page = client.get(reverse("campaigns:moves"))
    (found,) = page.context["moves"]
    assert (found.of.giver, found.of.taker) == (thirty_elsewhere, store)
    assert "One journey to or from" in page.content.decode()
    here = Replenishment.objects.get(store=store)
    assert client.get(url_of(here)).context["moves"] == [found]


def test_a_move_leads_to_the_form_that_sends_it_in_the_store_that_gives(
    client, store, thirty_elsewhere
):
    """From here over the choice of the store; then the filled form is sent as it is."""
    (found,) = client.get(reverse("campaigns:moves")).context["moves"]
    assert found.elsewhere
    answer = client.post(reverse("dealership:choose_store"), dict(found.fields))
    assert answer["Location"] == found.send_url
    there = client.get(reverse("campaigns:moves"))
    assert not there.context["moves"][0].elsewhere
    assert f"Send {found.of.pieces} pieces" in there.content.decode()
    form = client.get(found.send_url).context["form"]
    filled = {
        one.name: value.strftime("%Y-%m-%d") if hasattr(value, "strftime") else value
        for one in form
        if (value := one.value()) is not None
    }
    client.post(reverse("inventory:new_transfer"), filled)
    sent = Transfer.objects.get()
    assert (sent.store, sent.to_store) == (thirty_elsewhere, store)
    assert sent.lines.get().quantity == found.of.pieces
    # the next working day: the fourth Thursday of November is free, 5 USC 6103(a)
    assert (TODAY, sent.expected_on) == (dt.date(2026, 11, 25), dt.date(2026, 11, 27))


def test_who_may_not_send_is_told_which_store_does(signed_in, client, store):
    other = StoreFactory.create()
    part = PartFactory.create(pack=1)
    campaign = campaign_with_remedy(part)
    for _number in range(40):
        open_vehicle(campaign, store)
    put_on_shelf(other, part, 30)
    reconcile(today=TODAY, at=NOW)
    client.force_login(make_staff(Role.SERVICE_MANAGER, store, other))
    page = client.get(reverse("campaigns:moves"))
    (found,) = page.context["moves"]
    assert found.send_url == ""
    assert not page.context["may_send"]


def test_nothing_to_move_between(client):
    page = client.get(reverse("campaigns:moves")).content.decode()
    assert "You work in one store only" in page
