import pytest
from django.urls import reverse

from dealership.models import AuditEntry, Job
from dealership.rules.roles import Role
from inventory.models import Dispute, Movement, Shipment
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import DisputeKind, DisputeState
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import (
    BillFactory,
    BillLineFactory,
    DisputeFactory,
    PartFactory,
    ShipmentFactory,
    ShipmentLineFactory,
)
from tests.inventory.books import later, stand


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

LIST_QUERIES = 10


def announced(store, *, sent=40, billed=True):
    part = PartFactory.create()
    bill = BillFactory.create(store=store, supplier=part.supplier)
    shipment = ShipmentFactory.create(store=store, supplier=part.supplier, bill=bill)
    bill_line = BillLineFactory.create(bill=bill, part=part) if billed else None
    line = ShipmentLineFactory.create(
        shipment=shipment, part=part, sent=sent, bill_line=bill_line
    )
    return shipment, line


def count(client, shipment, line, good, damaged=0, *, place=""):
    return client.post(
        reverse("inventory:shipment", args=[shipment.pk]),
        {
            "key": "k",
            f"good_{line.pk}": good,
            f"damaged_{line.pk}": damaged,
            f"bin_{line.pk}": place,
        },
    )


@pytest.mark.parametrize("rows", [1, 3])
def test_list_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    for _row in range(rows):
        _shipment, line = announced(client.store)
        DisputeFactory.create(shipment_line=line)
    client.get(reverse("inventory:shipments"))
    with django_assert_num_queries(LIST_QUERIES):
        page = client.get(reverse("inventory:shipments"))
    assert len(page.context["page_obj"].object_list) == rows


def test_delivery_is_counted_onto_its_bin(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(client.store)
    page = client.get(reverse("inventory:shipment", args=[shipment.pk]))
    assert "40 pieces were sent" in page.content.decode()
    answer = count(client, shipment, line, 35, 2, place="a-07")
    assert answer.status_code == 302
    assert stand(client.store, line.part) == (35, 0, 2, 0)
    line.refresh_from_db()
    assert (line.good, line.damaged, line.short, line.bin.code) == (35, 2, 3, "A-07")
    told = Dispute.objects.order_by("kind").values_list("kind", "quantity", "last_date")
    assert list(told) == [
        (DisputeKind.DAMAGED, 2, later(10)),
        (DisputeKind.SHORT, 3, later(10)),
    ]
    assert Job.objects.get(kind="inventory.received").arguments == {
        "shipment_id": shipment.pk
    }
    page = client.get(reverse("inventory:shipment", args=[shipment.pk]))
    assert "its pieces are in the books" in page.content.decode()
    assert faults_of_the_books() == []


def test_double_press_counts_once(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(client.store)
    assert count(client, shipment, line, 40).status_code == 302
    assert count(client, shipment, line, 40).status_code == 302
    assert stand(client.store, line.part) == (40, 0, 0, 0)
    assert Movement.objects.count() == 1
    assert Job.objects.filter(kind="inventory.received").count() == 1


@pytest.mark.parametrize(
    ("good", "damaged", "words"),
    [
        (-1, 0, "greater than or equal to 0"),
        (39, 2, "41 in order and damaged together are too many"),
        ("", 0, "This field is required"),
        ("forty", 0, "Enter a whole number"),
        (2_000_000, 0, "less than or equal to 1000000"),
    ],
)
def test_wrong_count_is_told_beside_its_field(signed_in, good, damaged, words):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(client.store)
    page = count(client, shipment, line, good, damaged)
    assert page.status_code == 200
    assert words in page.content.decode()
    assert Shipment.objects.get().received_at is None
    assert not Movement.objects.exists()


def test_delivery_of_another_store_is_not_found(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(StoreFactory.create())
    dispute = DisputeFactory.create(shipment_line=line)
    assert count(client, shipment, line, 40).status_code == 404
    address = reverse("inventory:dispute", args=[dispute.pk])
    assert client.get(address).status_code == 404
    address = reverse("inventory:redate_shipment", args=[shipment.pk])
    assert client.post(address, {"expected_on": later(3)}).status_code == 404


def test_advisor_sees_but_does_not_count(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    shipment, line = announced(client.store)
    page = client.get(reverse("inventory:shipment", args=[shipment.pk]))
    assert "Not counted yet" in page.content.decode()
    count(client, shipment, line, 40)
    assert Shipment.objects.get().received_at is None


def test_late_delivery_gets_a_new_day(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, _line = announced(client.store)
    address = reverse("inventory:redate_shipment", args=[shipment.pk])
    client.post(address, {"expected_on": later(9)})
    shipment.refresh_from_db()
    assert shipment.expected_on == later(9)
    client.post(address, {"expected_on": "soon"})
    shipment.refresh_from_db()
    assert shipment.expected_on == later(9)


def test_the_same_new_day_again_leaves_one_line_in_the_trail(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, _line = announced(client.store)
    address = reverse("inventory:redate_shipment", args=[shipment.pk])
    for _press in range(2):
        client.post(address, {"expected_on": later(9)})
    assert AuditEntry.objects.filter(act="shipment.redated").count() == 1


def settle(client, dispute, how, **facts):
    data = {"how": how, "dated": "2026-11-25", **facts}
    return client.post(reverse("inventory:dispute", args=[dispute.pk]), data)


def test_dispute_is_credited(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(client.store)
    count(client, shipment, line, 38)
    dispute = Dispute.objects.get()
    page = client.get(reverse("inventory:dispute", args=[dispute.pk]))
    assert "2 pieces for $85.00 are in dispute" in page.content.decode()
    answer = settle(client, dispute, "credited", number="C-1", amount_cents="85.00")
    assert answer.status_code == 302
    dispute.refresh_from_db()
    assert dispute.state == DisputeState.CREDITED
    assert (dispute.credit.at_cost_cents, dispute.credit.amount_cents) == (8_500, 8_500)


@pytest.mark.parametrize(
    ("how", "facts", "words"),
    [
        ("credited", {"amount_cents": "85.01"}, "more than the pieces cost"),
        ("written_off", {}, "Say why the money is given up"),
        ("lost", {}, "Select a valid choice"),
    ],
)
def test_wrong_end_of_a_dispute_is_refused(signed_in, how, facts, words):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(client.store)
    count(client, shipment, line, 38)
    page = settle(client, Dispute.objects.get(), how, **facts)
    assert words in page.content.decode()
    assert Dispute.objects.get().state == DisputeState.OPEN


def test_a_replacement_is_expected_and_ends_the_dispute(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(client.store)
    count(client, shipment, line, 38)
    dispute = Dispute.objects.get()
    address = reverse("inventory:expect_replacement", args=[dispute.pk])
    wrong = client.post(address, {"number": ""})
    assert "This field is required" in wrong.content.decode()
    taken = client.post(address, {"number": shipment.number})
    assert "is already announced with other lines" in taken.content.decode()
    answer = client.post(address, {"number": "PS-NEW", "expected_on": later(4)})
    coming = Shipment.objects.get(number="PS-NEW")
    assert answer.url == reverse("inventory:shipment", args=[coming.pk])
    page = client.get(reverse("inventory:dispute", args=[dispute.pk])).content.decode()
    assert "A replacement at no cost is expected with slip PS-NEW" in page
    count(client, coming, coming.lines.get(), 2)
    dispute.refresh_from_db()
    assert dispute.state == DisputeState.REPLACED


def test_the_last_date_of_a_dispute_is_moved(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(client.store)
    count(client, shipment, line, 38)
    dispute = Dispute.objects.get()
    address = reverse("inventory:move_last_date", args=[dispute.pk])
    assert client.post(address, {"last_date": "soon"}).status_code == 200
    assert client.post(address, {"last_date": later(30)}).status_code == 302
    dispute.refresh_from_db()
    assert dispute.last_date == later(30)


def test_a_bin_that_cannot_be_printed_is_refused_and_nothing_is_counted(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    shipment, line = announced(client.store)
    page = count(client, shipment, line, 38, place="棚")
    assert "code is made of letters, digits" in page.content.decode()
    shipment.refresh_from_db()
    assert shipment.received_at is None
