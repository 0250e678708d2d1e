import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from inventory.models import Transfer
from inventory.rules.accounts import TransferState
from tests.factories.dealership import StoreFactory, make_staff
from tests.factories.inventory import (
    PartFactory,
    TransferFactory,
    TransferLineFactory,
)
from tests.inventory.books import deliver, later, stand


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

LIST_QUERIES = 9


@pytest.fixture
def part():
    return PartFactory.create()


@pytest.fixture
def there():
    return StoreFactory.create()


def send(client, part, there, /, **facts):
    data = {
        "key": "t",
        "part": part.number,
        "quantity": 3,
        "to_store": there.pk,
        "expected_on": later(2),
        **facts,
    }
    return client.post(reverse("inventory:new_transfer"), data)


@pytest.mark.parametrize("rows", [1, 3])
def test_list_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    for _row in range(rows):
        TransferLineFactory.create(transfer__to_store=client.store)
    client.get(reverse("inventory:transfers"))
    with django_assert_num_queries(LIST_QUERIES):
        page = client.get(reverse("inventory:transfers"))
    assert len(page.context["page_obj"].object_list) == rows


def test_empty_list_names_the_first_step(signed_in):
    page = signed_in(Role.PARTS_MANAGER).get(reverse("inventory:transfers"))
    assert "Nothing was sent between this store" in page.content.decode()
    assert "Send pieces to another store" in page.content.decode()


def test_pieces_are_sent_once_and_counted_there(signed_in, part, there):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    for _press in range(2):
        answer = send(client, part, there)
    row = Transfer.objects.get()
    assert answer.url == reverse("inventory:transfer", args=[row.pk])
    assert stand(client.store, part) == (2, 0, 0, 0)
    line = row.lines.get()
    arrived = {f"good_{line.pk}": 2, f"damaged_{line.pk}": 1}
    receive = reverse("inventory:receive_transfer", args=[row.pk])
    # who works in the sending store alone does not count it in the other
    assert client.post(receive, arrived).status_code == 403
    other = signed_in(Role.PARTS_MANAGER, there)
    page = other.get(answer.url).content.decode()
    assert "3 pieces are on their way from" in page
    wrong = other.post(receive, {f"good_{line.pk}": 4, f"damaged_{line.pk}": 0})
    assert "together no more than that" in wrong.content.decode()
    assert other.post(receive, arrived).status_code == 302
    assert stand(there, part) == (2, 0, 1, 0)
    assert "This transfer is arrived" in client.get(answer.url).content.decode()


def test_who_works_in_both_stores_does_both(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    there = StoreFactory.create()
    both = make_staff(Role.PARTS_MANAGER, client.store, there)
    client.force_login(both)
    deliver(client.store, part, 5)
    send(client, part, there)
    row = Transfer.objects.get()
    line = row.lines.get()
    answer = client.post(
        reverse("inventory:receive_transfer", args=[row.pk]),
        {f"good_{line.pk}": 2, f"damaged_{line.pk}": 0},
    )
    assert answer.status_code == 302
    shown = client.get(answer.url).content.decode()
    assert "1 piece was lost on the way" in shown


def test_a_transfer_is_called_back_by_who_sent_it(signed_in, part, there):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    send(client, part, there)
    row = Transfer.objects.get()
    address = reverse("inventory:call_back_transfer", args=[row.pk])
    assert signed_in(Role.PARTS_MANAGER, there).post(address).status_code == 403
    assert client.post(address, {"back-why": ""}).status_code == 200
    assert client.post(address, {"back-why": "van broke down"}).status_code == 302
    row.refresh_from_db()
    assert row.state == TransferState.CALLED_BACK
    assert stand(client.store, part) == (5, 0, 0, 0)


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"quantity": 9}, "9 pieces are wanted, 5 are free"),
        ({"part": "NONE"}, "No part has the number NONE"),
        ({"to_store": ""}, "This field is required"),
    ],
)
def test_wrong_facts_are_refused(signed_in, part, there, facts, words):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    asked = client.get(reverse("inventory:new_transfer"), {"part": part.number})
    assert part.number in asked.content.decode()
    assert words in send(client, part, there, **facts).content.decode()
    assert stand(client.store, part) == (5, 0, 0, 0)


def test_a_third_store_sees_nothing(signed_in):
    row = TransferFactory.create()
    client = signed_in(Role.PARTS_MANAGER)
    assert client.get(reverse("inventory:transfer", args=[row.pk])).status_code == 404
    shown = client.get(reverse("inventory:transfers"))
    assert list(shown.context["page_obj"]) == []
