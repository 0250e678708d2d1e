import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from inventory.domain.ordering import OrderedLine, place_order
from inventory.domain.receiving import Counted, receive_shipment
from inventory.domain.sending import announce_for_order
from inventory.models import Bill, CostLayer, PurchaseOrder, Shipment
from inventory.rules.accounts import OrderState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import (
    OrderLineFactory,
    PartFactory,
    PurchaseOrderFactory,
)
from tests.inventory.books import later


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

LIST_QUERIES = 12


def placed(store, part=None):
    part = part or PartFactory.create()
    order = PurchaseOrderFactory.create(
        store=store, supplier=part.supplier, state=OrderState.SENT
    )
    line = OrderLineFactory.create(order=order, part=part, expected_on=later(5))
    return order, line


@pytest.mark.parametrize("rows", [1, 3])
def test_list_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    for _row in range(rows):
        placed(client.store)
    client.get(reverse("inventory:orders"))
    with django_assert_num_queries(LIST_QUERIES):
        page = client.get(reverse("inventory:orders"))
    assert len(page.context["page_obj"].object_list) == rows


def test_order_is_placed_once(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    old = PartFactory.create(number="OW-OLD")
    new = PartFactory.create(number="OW-NEW", supplier=old.supplier)
    old.superseded_by = new
    old.save()
    address = reverse("inventory:new_order")
    assert client.get(address, {"part": "OW-OLD"}).status_code == 200
    data = {"key": "k", "part": "ow-old", "quantity": 20}
    first, second = client.post(address, data), client.post(address, data)
    order = PurchaseOrder.objects.get()
    assert first.url == second.url == reverse("inventory:order", args=[order.pk])
    line = order.lines.get()
    assert (order.state, line.part, line.quantity) == (OrderState.DRAFT, new, 20)
    page = client.get(first.url).content.decode()
    assert "nothing is expected before it is sent" in page
    for _press in range(2):
        sent = client.post(reverse("inventory:send_order", args=[order.pk]))
        assert sent.url == first.url
    order.refresh_from_db()
    line.refresh_from_db()
    # 25 November and ten days of delivery
    assert (order.state, line.expected_on) == (OrderState.SENT, later(10))


def drafted(client, part, pieces=10):
    client.post(
        reverse("inventory:new_order"),
        {"key": "k", "part": part.number, "quantity": pieces},
    )
    return PurchaseOrder.objects.get()


def test_odd_pieces_are_offered_in_whole_packs(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create(pack=5, minimum_order=10)
    address = reverse("inventory:new_order")
    data = {"key": "k", "part": part.number, "quantity": 7}
    page = client.post(address, data).content.decode()
    assert "comes in packs of 5, at least 10 pieces: 7 cannot be ordered" in page
    assert "Order 10 pieces" in page
    assert not PurchaseOrder.objects.exists()
    client.post(address, data | {"offered": 10})
    assert PurchaseOrder.objects.get().lines.get().quantity == 10


def test_several_parts_stand_on_one_order(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    other = PartFactory.create(supplier=part.supplier, pack=4)
    order = drafted(client, part)
    address = reverse("inventory:add_order_line", args=[order.pk])
    odd = client.post(address, {"part": other.number, "quantity": 3})
    assert "Add 4 pieces" in odd.content.decode()
    client.post(address, {"part": other.number, "quantity": 3, "offered": 4})
    twice = client.post(address, {"part": other.number, "quantity": 4})
    assert "is on this order already" in twice.content.decode()
    elsewhere = client.post(
        address, {"part": PartFactory.create().number, "quantity": 4}
    )
    assert "does not come from" in elsewhere.content.decode()
    line = order.lines.get(part=other)
    change = reverse("inventory:change_order_line", args=[order.pk, line.pk])
    client.post(change, {"quantity": 8})
    assert order.lines.get(part=other).quantity == 8
    refused = client.post(change, {"quantity": 9}, follow=True)
    assert "Order 12." in refused.content.decode()
    client.post(change, {"quantity": "x"})
    client.post(change, {"quantity": 0})
    assert [one.part for one in order.lines.all()] == [part]
    listed = client.get(reverse("inventory:orders")).content.decode()
    assert part.number in listed
    assert part.name in listed
    assert "One order is a draft" in listed


def test_an_order_sent_is_not_changed(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    order, line = placed(client.store)
    change = reverse("inventory:change_order_line", args=[order.pk, line.pk])
    client.post(change, {"quantity": 8})
    assert order.lines.get().quantity == 20
    add = reverse("inventory:add_order_line", args=[order.pk])
    page = client.post(add, {"part": line.part.number, "quantity": 1})
    assert page.status_code == 200
    assert order.lines.count() == 1


def test_back_ordered_lines_are_not_counted_on(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    order, line = placed(client.store)
    address = reverse("inventory:confirm_order", args=[order.pk])
    assert client.post(address, {f"behind_{line.pk}": "on"}).status_code == 302
    order.refresh_from_db()
    line.refresh_from_db()
    assert (order.state, line.expected_on) == (OrderState.BACK_ORDERED, None)
    page = client.get(reverse("inventory:order", args=[order.pk])).content.decode()
    assert "One line is back-ordered and no promise counts on it" in page
    client.post(address, {f"day_{line.pk}": later(30)})
    order.refresh_from_db()
    assert order.state == OrderState.CONFIRMED


def test_the_rest_of_an_order_is_closed_with_a_reason(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    order, line = placed(client.store)
    line.received = 5
    line.save()
    address = reverse("inventory:close_order", args=[order.pk])
    assert client.post(address, {"why": ""}).status_code == 200
    assert client.post(address, {"why": "out of production"}).status_code == 302
    order.refresh_from_db()
    assert order.state == OrderState.CLOSED
    page = client.get(reverse("inventory:order", args=[order.pk])).content.decode()
    assert "This order is closed; nothing more to do." in page


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"part": "NONE"}, "No part has the number NONE"),
        ({"quantity": -4}, "greater than or equal to 1"),
    ],
)
def test_wrong_order_is_refused(signed_in, facts, words):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    data = {"key": "k", "part": part.number, "quantity": 20, **facts}
    page = client.post(reverse("inventory:new_order"), data)
    assert words in page.content.decode()
    assert not PurchaseOrder.objects.exists()


def test_days_are_confirmed(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    order, line = placed(client.store)
    address = reverse("inventory:confirm_order", args=[order.pk])
    assert client.post(address, {f"day_{line.pk}": later(8)}).status_code == 302
    order.refresh_from_db()
    line.refresh_from_db()
    assert (order.state, line.expected_on) == (OrderState.CONFIRMED, later(8))
    for wrong in (
        {f"day_{line.pk}": ""},
        {f"day_{line.pk}": later(8), f"behind_{line.pk}": "on"},
    ):
        page = client.post(address, wrong)
        assert "Give the day, or say that it is back-ordered" in page.content.decode()


def test_packing_slip_with_its_bill_makes_a_delivery(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    order, line = placed(client.store)
    address = reverse("inventory:announce_delivery", args=[order.pk])
    data = {
        "slip-number": "PS-9",
        "slip-expected_on": later(2),
        f"slip-sent_{line.pk}": 12,
        "slip-bill_number": "B-9",
        "slip-bill_dated": later(0),
    }
    for _press in range(2):
        shipment_url = client.post(address, data).url
    shipment = Shipment.objects.get()
    assert shipment_url == reverse("inventory:shipment", args=[shipment.pk])
    sent = shipment.lines.get()
    assert (sent.sent, sent.order_line, sent.bill_line.bill) == (
        12,
        line,
        Bill.objects.get(),
    )
    client.post(
        shipment_url,
        {"key": "k", f"good_{sent.pk}": 12, f"damaged_{sent.pk}": 0},
    )
    order.refresh_from_db()
    line.refresh_from_db()
    assert (order.state, line.received) == (OrderState.PART_RECEIVED, 12)
    cancelled = client.post(reverse("inventory:cancel_order", args=[order.pk]))
    assert cancelled.status_code == 409


def test_slip_without_a_piece_is_refused(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    order, line = placed(client.store)
    data = {
        "slip-number": "PS-9",
        "slip-expected_on": later(2),
        f"slip-sent_{line.pk}": 0,
    }
    page = client.post(reverse("inventory:announce_delivery", args=[order.pk]), data)
    assert "The slip has no piece" in page.content.decode()
    assert not Shipment.objects.exists()


def test_order_is_cancelled(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    order, _line = placed(client.store)
    client.post(reverse("inventory:cancel_order", args=[order.pk]))
    order.refresh_from_db()
    assert order.state == OrderState.CANCELLED


@pytest.mark.parametrize("name", ["confirm_order", "announce_delivery", "cancel_order"])
def test_order_of_another_store_is_not_found(signed_in, name):
    client = signed_in(Role.PARTS_MANAGER)
    order, _line = placed(StoreFactory.create())
    assert client.post(reverse(f"inventory:{name}", args=[order.pk])).status_code == 404
    page = client.get(reverse("inventory:order", args=[order.pk]))
    assert page.status_code == 404


def test_technician_orders_nothing(signed_in):
    client = signed_in(Role.TECHNICIAN)
    order, _line = placed(client.store)
    assert client.get(reverse("inventory:new_order")).status_code == 403
    page = client.get(reverse("inventory:order", args=[order.pk]))
    assert "Enter the packing slip" not in page.content.decode()


def test_a_bill_at_another_price_is_entered_after_the_delivery(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create(unit_cost_cents=4_250)
    order = place_order(
        key="o", store=client.store, supplier=part.supplier, earmark=None,
        lines=[OrderedLine(part=part, quantity=10)], by=None, at=NOW,
    )  # fmt: skip
    line = order.lines.get()
    shipment = announce_for_order(
        order=order, number="PS-1", sent={line.pk: 10}, expected_on=TODAY,
        bill_number="", bill_dated=None, by=None, at=NOW,
    )  # fmt: skip
    counts = {shipment.lines.get().pk: Counted(good=10)}
    receive_shipment(key="k", shipment=shipment, counts=counts, by=None, at=NOW)
    page = client.get(reverse("inventory:order", args=[order.pk])).content.decode()
    assert "A bill has come" in page

    url = reverse("inventory:order_bill", args=[order.pk])
    form = client.get(url).context["form"]
    assert form[f"pieces_{line.pk}"].value() == 10
    wrong = {
        "number": "B-1",
        "dated": "2026-11-24",
        f"pieces_{line.pk}": "11",
        f"price_{line.pk}": "43.10",
    }
    assert "only 10 of this order" in client.post(url, wrong).content.decode()
    for _press in range(2):
        said = client.post(url, wrong | {f"pieces_{line.pk}": "10"}, follow=True)
    page = said.content.decode()
    assert [word in page for word in ("B-1 of", "2026-11-24", "431.00")] == [True] * 3
    assert "A bill has come" not in said.content.decode()
    assert CostLayer.objects.latest("pk").unit_cost_cents == 4_310
