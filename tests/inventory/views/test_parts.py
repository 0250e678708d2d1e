import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from inventory.domain.reserving import reserve
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later, stand


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

BOARD_QUERIES = 11
CARD_QUERIES = 18


def promise(store, part, pieces, day, key):
    return reserve(
        key=key,
        store=store,
        part=part,
        quantity=pieces,
        earmarks=[None],
        subject=f"visit_job:{key}",
        needed_on=day,
        today=TODAY,
        by=None,
        at=NOW,
    )


@pytest.mark.parametrize("rows", [1, 3])
def test_board_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    for number in range(rows):
        part = PartFactory.create()
        deliver(client.store, part, 5)
        promise(client.store, part, 2, later(3), str(number + 1))
    client.get(reverse("inventory:parts"))
    with django_assert_num_queries(BOARD_QUERIES):
        page = client.get(reverse("inventory:parts"))
    assert page.status_code == 200
    assert page.content.decode().count('class="is-act"') == 0
    assert len(page.context["page_obj"].object_list) == rows


def test_board_puts_what_runs_short_first(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    plenty, short = PartFactory.create_batch(2)
    deliver(client.store, plenty, 5)
    coming = expect(client.store, short, 3, on=later(2))
    promise(client.store, short, 2, later(6), "1")
    coming.expected_on = later(-1)
    coming.save()
    page = client.get(reverse("inventory:parts"))
    rows = page.context["page_obj"].object_list
    assert [(row.part, row.runs_out_on, row.short) for row in rows] == [
        (short, later(6), 2),
        (plenty, None, 0),
    ]
    assert f"{short.number} runs short on Tue 1 Dec 2026" in page.content.decode()


def test_board_finds_by_number(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    wanted, other = PartFactory.create(number="OW-SEAT"), PartFactory.create()
    for part in (wanted, other):
        deliver(client.store, part, 5)
    page = client.get(reverse("inventory:parts"), {"q": "seat"})
    # both are seat rail bolts by name
    assert {row.part for row in page.context["page_obj"]} == {wanted, other}
    page = client.get(reverse("inventory:parts"), {"q": "ow-seat"})
    assert [row.part for row in page.context["page_obj"]] == [wanted]
    page = client.get(reverse("inventory:parts"), {"q": "no such part"})
    assert "No part of this store has that" in page.content.decode()


def test_empty_board_names_the_first_step(signed_in):
    page = signed_in(Role.PARTS_MANAGER).get(reverse("inventory:parts"))
    assert "No part has come in" in page.content.decode()


@pytest.mark.parametrize("rows", [1, 3])
def test_card_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    for number in range(rows):
        deliver(client.store, part, 5, number=f"PS-{number}")
        expect(client.store, part, 5, on=later(4), number=f"PS-C{number}")
        promise(client.store, part, 2, later(3), str(number + 1))
    address = reverse("inventory:part", args=[part.pk])
    client.get(address)
    with django_assert_num_queries(CARD_QUERIES):
        page = client.get(address)
    assert page.status_code == 200


def test_card_tells_every_movement_with_its_balance(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    deliver(client.store, part, 5, damaged=1)
    promise(client.store, part, 2, later(3), "7")
    page = client.get(reverse("inventory:part", args=[part.pk]))
    told = [(r.change, r.after, r.free_after) for r in page.context["journal"]]
    assert told == [(0, 5, 2), (5, 5, 4)]
    text = page.content.decode()
    assert "5 on hand, 2 can be promised today" in text
    assert "visit job 7" in text


def test_card_shows_nothing_of_other_stores(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    deliver(StoreFactory.create(), part, 5)
    page = client.get(reverse("inventory:part", args=[part.pk]))
    assert "0 on hand" in page.content.decode()
    assert page.context["journal"] == []


def aside(client, part, **facts):
    data = {"key": "a-key", "act": "aside", "quantity": 2, "why": "recalled", **facts}
    return client.post(reverse("inventory:put_aside", args=[part.pk]), data)


def test_pieces_are_put_aside_once(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part, earmark = PartFactory.create(), EarmarkFactory.create()
    deliver(client.store, part, 5, earmark=earmark)
    address = reverse("inventory:put_aside", args=[part.pk])
    assert client.get(address).status_code == 200
    for _press in range(2):
        answer = aside(client, part, earmark=earmark.pk)
        assert answer.status_code == 302
    assert stand(client.store, part, earmark) == (3, 0, 2, 0)
    aside(client, part, key="b", act="scrap", quantity=1, earmark=earmark.pk)
    aside(client, part, key="c", act="back", quantity=1, earmark=earmark.pk)
    assert stand(client.store, part, earmark) == (4, 0, 0, 0)


@pytest.mark.parametrize(
    ("quantity", "words"),
    [(9, "9 pieces are wanted, 5 are free"), (-1, "greater than or equal to 1")],
)
def test_wrong_number_of_pieces_is_refused(signed_in, quantity, words):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    deliver(client.store, part, 5)
    answer = aside(client, part, quantity=quantity)
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert stand(client.store, part) == (5, 0, 0, 0)


def test_advisor_moves_no_parts(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    assert aside(client, part).status_code == 403
    page = client.get(reverse("inventory:part", args=[part.pk]))
    assert "Quarantine" not in page.content.decode()


def test_unknown_part_is_not_found(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    assert client.get(reverse("inventory:part", args=[999_999])).status_code == 404
