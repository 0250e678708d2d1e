import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from inventory.models import Credit, GoodsReturn
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import ReturnState
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import (
    EarmarkFactory,
    GoodsReturnFactory,
    PartFactory,
    ReturnLineFactory,
)
from tests.inventory.books import deliver, later, stand


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

LIST_QUERIES = 9


@pytest.mark.parametrize("rows", [1, 3])
def test_list_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    for _row in range(rows):
        ReturnLineFactory.create(goods_return__store=client.store)
    client.get(reverse("inventory:returns"))
    with django_assert_num_queries(LIST_QUERIES):
        page = client.get(reverse("inventory:returns"))
    assert len(page.context["page_obj"].object_list) == rows


def test_pieces_are_boxed_shipped_and_credited(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part, earmark = PartFactory.create(), EarmarkFactory.create()
    deliver(client.store, part, 20, earmark=earmark)
    address = reverse("inventory:new_return")
    assert client.get(address, {"part": part.number}).status_code == 200
    data = {
        "key": "k",
        "part": part.number,
        "earmark": earmark.pk,
        "quantity": 18,
        "last_date": later(30),
        "restocking_basis_points": "15",
    }
    page = client.post(address, data).url
    assert client.post(address, data).url == page
    row = GoodsReturn.objects.get()
    assert stand(client.store, part, earmark) == (2, 0, 18, 0)
    # 18 x 42.50 less 15 per cent: 650.25
    assert "$650.25" in client.get(page).content.decode()
    ship = reverse("inventory:ship_return", args=[row.pk])
    for _press in range(2):
        assert client.post(ship, {"shipped_on": later(1)}).status_code == 302
    assert stand(client.store, part, earmark) == (2, 0, 0, 0)
    assert client.get(page).status_code == 200
    credit = reverse("inventory:credit_return", args=[row.pk])
    note = {"number": "C-7", "dated": later(9), "freight_cents": "10"}
    for _press in range(2):
        assert client.post(credit, note).status_code == 302
    told = Credit.objects.values_list("at_cost_cents", "amount_cents")
    assert list(told) == [(76_500, 64_025)]
    row.refresh_from_db()
    assert row.state == ReturnState.CREDITED
    assert client.get(page).status_code == 200
    assert faults_of_the_books() == []


def test_boxed_pieces_are_unboxed(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    deliver(client.store, part, 5)
    data = {
        "key": "k",
        "part": part.number,
        "quantity": 4,
        "restocking_basis_points": 15,
    }
    client.post(reverse("inventory:new_return"), data)
    row = GoodsReturn.objects.get()
    for _press in range(2):
        client.post(reverse("inventory:cancel_return", args=[row.pk]))
    assert stand(client.store, part) == (5, 0, 0, 0)
    ship = reverse("inventory:ship_return", args=[row.pk])
    assert client.post(ship, {"shipped_on": later(1)}).status_code == 409
    assert faults_of_the_books() == []


@pytest.mark.parametrize(
    ("quantity", "words"),
    [(6, "6 pieces are wanted, 5 are free"), (0, "greater than or equal to 1")],
)
def test_wrong_return_is_refused(signed_in, quantity, words):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    deliver(client.store, part, 5)
    data = {
        "key": "k",
        "part": part.number,
        "quantity": quantity,
        "restocking_basis_points": 15,
    }
    page = client.post(reverse("inventory:new_return"), data)
    assert words in page.content.decode()
    assert not GoodsReturn.objects.exists()


@pytest.mark.parametrize("name", ["ship_return", "cancel_return", "credit_return"])
def test_return_of_another_store_is_not_found(signed_in, name):
    client = signed_in(Role.PARTS_MANAGER)
    row = GoodsReturnFactory.create(store=StoreFactory.create())
    assert client.post(reverse(f"inventory:{name}", args=[row.pk])).status_code == 404
    page = client.get(reverse("inventory:goods_return", args=[row.pk]))
    assert page.status_code == 404


def test_owner_looks_and_touches_nothing(signed_in):
    client = signed_in(Role.OWNER)
    row = ReturnLineFactory.create(goods_return__store=client.store).goods_return
    page = client.get(reverse("inventory:goods_return", args=[row.pk]))
    assert "Ship the return" not in page.content.decode()
    ship = reverse("inventory:ship_return", args=[row.pk])
    assert client.post(ship, {"shipped_on": later(1)}).status_code == 403
