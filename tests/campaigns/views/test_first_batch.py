import pytest
from django.urls import reverse

from campaigns.models import Allocation
from dealership.rules.roles import Role
from inventory.domain.reserving import reserve
from inventory.models import Bill, Shipment
from inventory.queries.books import faults_of_the_books
from tests.factories.campaigns import (
    AllocationFactory,
    CampaignFactory,
    CampaignVehicleFactory,
    RemedyFactory,
    ReplenishmentFactory,
    VariantFactory,
    VariantPartFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.vehicles import VehicleFactory
from tests.inventory.books import deliver, later, stand


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

PAGE_QUERIES = 19


def announced(client, campaign, batch_part, **facts):
    data = {
        "part": batch_part.number,
        "quantity": 40,
        "unit_cost_cents": "42.50",
        "announced_on": "2026-11-25",
        **facts,
    }
    return client.post(reverse("campaigns:new_batch", args=[campaign.code]), data)


@pytest.fixture
def campaign():
    return CampaignFactory.create()


@pytest.fixture
def part(campaign):
    return PartFactory.create(supplier=campaign.supplier)


@pytest.fixture
def client(signed_in):
    return signed_in(Role.PARTS_MANAGER)


def page_of(client, campaign):
    return client.get(reverse("campaigns:campaign_parts", args=[campaign.code]))


def test_batch_from_announcement_to_bin(client, campaign, part):
    for number in range(30):
        CampaignVehicleFactory.create(
            campaign=campaign, vehicle=VehicleFactory.create(store=client.store)
        )
        del number
    variant = VariantFactory.create(remedy=RemedyFactory.create(campaign=campaign))
    VariantPartFactory.create(variant=variant, part=part, quantity=2)
    page = page_of(client, campaign)
    assert "No first batch of this campaign is entered" in page.content.decode()
    form = client.get(reverse("campaigns:new_batch", args=[campaign.code]))
    assert form.status_code == 200
    papers = {
        "bill_number": "B-1",
        "bill_dated": "2026-11-24",
        "slip_number": "PS-1",
        "expected_on": "2026-11-27",
    }
    for _press in range(2):
        assert announced(client, campaign, part, **papers).status_code == 302
    batch = Allocation.objects.get()
    assert (batch.bill.lines.get().line_cents, batch.shipment.number) == (
        170_000,
        "PS-1",
    )
    address = reverse("campaigns:batch_receive", args=[campaign.code, batch.pk])
    assert "40 pieces were sent" in client.get(address).content.decode()
    count = {"key": "k", "good": 35, "damaged": 2, "bin_code": "b-2"}
    for _press in range(2):
        assert client.post(address, count).status_code == 302
    assert stand(client.store, part, campaign.earmark) == (35, 0, 2, 0)
    page = page_of(client, campaign)
    found = page.context["found"]
    told = [
        (one.kind, one.pieces, one.cents, one.last_date) for one in found.differences
    ]
    assert sorted(told) == [
        ("damaged", 2, 8_500, later(10)),
        ("short", 3, 12_750, later(10)),
    ]
    cover = found.covers[0]
    # 35 pieces, two a vehicle, 30 vehicles open
    assert (cover.covered, cover.uncovered, cover.population) == (17, 13, 30)
    assert "cover 17 of 30 open vehicles" in page.content.decode()
    assert faults_of_the_books() == []


def test_papers_may_come_one_after_the_other(client, campaign, part):
    announced(client, campaign, part)
    batch = Allocation.objects.get()
    assert (batch.bill, batch.shipment) == (None, None)
    slip = reverse("campaigns:batch_slip", args=[campaign.code, batch.pk])
    bill = reverse("campaigns:batch_bill", args=[campaign.code, batch.pk])
    assert client.get(slip).status_code == client.get(bill).status_code == 200
    client.post(slip, {"number": "PS-1", "quantity": 36, "expected_on": "2026-11-27"})
    client.post(
        bill,
        {
            "number": "B-1",
            "dated": "2026-11-26",
            "quantity": 44,
            "unit_cost_cents": "43.00",
        },
    )
    line = Shipment.objects.get().lines.get()
    assert line.bill_line == Bill.objects.get().lines.get()
    told = page_of(client, campaign).context["found"].differences
    assert [(one.kind, one.pieces, one.cents) for one in told] == [
        ("billed_more", 4, 17_200),
        ("price", 44, 2_200),
        ("sent_less", 8, 34_400),
    ]


@pytest.mark.parametrize("rows", [1, 3])
def test_page_asks_the_same_number_of_questions(
    client, campaign, django_assert_num_queries, rows
):
    for number in range(rows):
        part = PartFactory.create(supplier=campaign.supplier)
        announced(client, campaign, part, slip_number=f"PS-{number}")
        batch = Allocation.objects.get(part=part)
        address = reverse("campaigns:batch_receive", args=[campaign.code, batch.pk])
        client.post(address, {"key": f"k{number}", "good": 38, "damaged": 1})
        reserve(
            key=f"r{number}",
            store=client.store,
            part=part,
            quantity=2,
            earmarks=[campaign.earmark, None],
            subject=f"visit_job:{number}",
            needed_on=later(3),
            today=TODAY,
            by=None,
            at=NOW,
        )
        ReplenishmentFactory.create(store=client.store, part=part)
    page_of(client, campaign)
    with django_assert_num_queries(PAGE_QUERIES):
        page = page_of(client, campaign)
    assert len(page.context["found"].batches) == rows
    assert len(page.context["found"].proposals) == rows


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"quantity": -40}, "greater than or equal to 1"),
        ({"unit_cost_cents": "-3"}, "below zero"),
        ({"part": "NONE"}, "No part has the number NONE"),
        ({"bill_number": "B-1"}, "Give the date that stands on the bill"),
    ],
)
def test_wrong_announcement_is_refused(client, campaign, part, facts, words):
    page = announced(client, campaign, part, **facts)
    assert page.status_code == 200
    assert words in page.content.decode()
    assert not Allocation.objects.exists()


def test_part_of_another_supplier_is_refused(client, campaign):
    page = announced(client, campaign, PartFactory.create())
    assert "does not come from" in page.content.decode()


def test_second_batch_of_other_size_is_refused(client, campaign, part):
    announced(client, campaign, part)
    page = announced(client, campaign, part, quantity=60)
    assert "already has a first batch" in page.content.decode()
    assert Allocation.objects.get().quantity == 40


def test_papers_of_another_campaign_are_refused(client, campaign, part):
    papers = {"bill_number": "B-1", "bill_dated": "2026-11-24", "slip_number": "PS-1"}
    announced(client, campaign, part, **papers)
    other = CampaignFactory.create(supplier=campaign.supplier)

    bill = announced(client, other, part, **papers)
    slip = announced(client, other, part, **papers | {"bill_number": ""})

    assert "or for another campaign" in bill.content.decode()
    assert "another campaign or order" in slip.content.decode()
    assert Allocation.objects.get().campaign == campaign
    # the same papers of the same campaign are the same act
    assert announced(client, campaign, part, **papers).status_code == 302
    assert (Bill.objects.count(), Shipment.objects.count()) == (1, 1)


def test_more_than_sent_is_refused(client, campaign, part):
    announced(client, campaign, part, slip_number="PS-1")
    batch = Allocation.objects.get()
    address = reverse("campaigns:batch_receive", args=[campaign.code, batch.pk])
    page = client.post(address, {"key": "k", "good": 39, "damaged": 2})
    assert "39 in order and 2 damaged do not fit" in page.content.decode()
    assert stand(client.store, part, campaign.earmark) == (0, 0, 0, 0)


@pytest.mark.parametrize("name", ["batch_bill", "batch_slip", "batch_receive"])
def test_batch_of_another_store_is_not_found(client, campaign, name):
    batch = AllocationFactory.create(campaign=campaign, store=StoreFactory.create())
    address = reverse(f"campaigns:{name}", args=[campaign.code, batch.pk])
    assert client.get(address).status_code == 404
    assert page_of(client, campaign).context["found"].batches == []


def test_advisor_sees_and_enters_nothing(signed_in, campaign, part):
    client = signed_in(Role.SERVICE_ADVISOR)
    deliver(client.store, part, 3, earmark=campaign.earmark)
    assert page_of(client, campaign).status_code == 200
    assert announced(client, campaign, part).status_code == 403


def test_one_bill_and_one_slip_over_two_parts_name_what_differs(client, campaign):
    parts = [PartFactory.create(supplier=campaign.supplier) for _ in range(2)]
    for one in parts:
        announced(client, campaign, one)
    first, second = Allocation.objects.order_by("pk")
    page = page_of(client, campaign).content.decode()
    assert "Enter one bill over several parts" in page

    bill_url = reverse("campaigns:bill_over_parts", args=[campaign.code])
    assert client.get(bill_url).status_code == 200
    sent = {
        "number": "B-7",
        "dated": "2026-11-24",
        f"pieces_{first.pk}": "40",
        f"price_{first.pk}": "42.50",
        f"pieces_{second.pk}": "44",
        f"price_{second.pk}": "41.00",
    }
    for _press in range(2):
        answer = client.post(bill_url, sent, follow=True)
        assert answer.status_code == 200
    said = answer.content.decode()
    assert f"{parts[1].number}: billed more than announced, 4 pieces" in said
    assert f"{parts[1].number}: price billed is not the one announced" in said
    assert f"{parts[0].number}: " not in said
    assert Bill.objects.get().lines.count() == 2

    slip_url = reverse("campaigns:slip_over_parts", args=[campaign.code])
    slip = {"number": "PS-7", "expected_on": "2026-11-27"}
    rows = {f"pieces_{first.pk}": "40", f"pieces_{second.pk}": "41"}
    answer = client.post(slip_url, slip | rows, follow=True)
    assert "billed more than sent, 3 pieces" in answer.content.decode()
    shipment = Shipment.objects.get()
    receive = reverse("campaigns:batch_receive", args=[campaign.code, first.pk])
    assert client.get(receive)["Location"] == reverse(
        "inventory:shipment", args=[shipment.pk]
    )
    assert "nothing is left to enter" in client.get(slip_url).content.decode()


def test_a_paper_over_parts_without_a_piece_is_refused(client, campaign, part):
    announced(client, campaign, part)
    batch = Allocation.objects.get()
    empty = {
        "number": "B-7",
        "dated": "2026-11-24",
        f"pieces_{batch.pk}": "0",
        f"price_{batch.pk}": "42.50",
    }
    url = reverse("campaigns:bill_over_parts", args=[campaign.code])
    answer = client.post(url, empty)
    assert "No part has a piece" in answer.content.decode()
    assert not Bill.objects.exists()
