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


def test_several_parts_leave_in_one_transfer(signed_in, part, there):
    client = signed_in(Role.PARTS_MANAGER)
    other = PartFactory.create()
    deliver(client.store, part, 5)
    deliver(client.store, other, 5)
    further = {"part_3": other.number, "quantity_3": 2}

    refused = send(client, part, there, **further | {"quantity_3": 9})
    assert "9 pieces are wanted, 5 are free" in refused.content.decode()
    assert list(refused.context["form"].errors) == ["quantity_3"]
    assert stand(client.store, part) == (5, 0, 0, 0), "all rows or none"

    send(client, part, there, **further)
    row = Transfer.objects.get()
    told = row.lines.order_by("pk").values_list("part", "quantity")
    assert list(told) == [(part.pk, 3), (other.pk, 2)]
    assert stand(client.store, other) == (3, 0, 0, 0)


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({"part_2": "again", "quantity_2": 1}, ("part_2", "stands in a row above")),
        ({"quantity_2": 1}, ("part_2", "Say which part.")),
        ({"part_2": "other"}, ("quantity_2", "Say how many pieces.")),
        ({"part": "", "quantity": ""}, ("part", "Say which part is sent.")),
    ],
)
def test_rows_that_are_not_whole_are_told(signed_in, part, there, facts, told):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    numbers = {"again": part.number, "other": PartFactory.create().number}
    typed = {name: numbers.get(str(value), value) for name, value in facts.items()}
    answer = send(client, part, there, **typed)
    field, words = told
    assert words in str(answer.context["form"].errors[field])
    assert not Transfer.objects.exists()


def test_more_rows_keep_what_was_typed(signed_in, part, there):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    page = send(client, part, there, rows=4, more="1")
    form = page.context["form"]
    assert (len(form.rows()), form["part"].value(), form["key"].value()) == (
        8,
        part.number,
        "t",
    )
    assert not Transfer.objects.exists()


def test_a_third_store_sees_nothing(signed_in):
    row = TransferFactory.create()
    client = signed_in(Role.PARTS_MANAGER)
    assert client.get(reverse("inventory:transfer", args=[row.pk])).status_code == 404
    shown = client.get(reverse("inventory:transfers"))
    assert list(shown.context["page_obj"]) == []
