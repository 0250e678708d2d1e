import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from inventory.domain.reserving import reserve
from tests.factories.campaigns import VisitJobFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later, stand


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

BOARD_QUERIES = 11
CARD_QUERIES = 21


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
    # nobody booked it, so that nobody can say more of it
    assert "visit_job:7" in text


def test_card_shows_nothing_of_other_stores(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    deliver(StoreFactory.create(), part, 5)
    page = client.get(reverse("inventory:part", args=[part.pk]))
    assert "0 on hand" in page.content.decode()
    assert page.context["journal"] == []


def test_card_links_each_purpose_and_paper_to_its_page(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    job = VisitJobFactory.create(visit__vehicle__store=client.store)
    part = PartFactory.create()
    deliver(client.store, part, 5)
    reserve(
        key="k",
        store=client.store,
        part=part,
        quantity=2,
        earmarks=[None],
        subject=job.subject,
        needed_on=later(3),
        today=TODAY,
        by=None,
        at=NOW,
    )
    coming = expect(client.store, part, 3, on=later(2))
    text = client.get(reverse("inventory:part", args=[part.pk])).content.decode()
    assert text.count(f'href="/visits/{job.visit_id}/"') == 2
    assert f'href="/parts/shipments/{coming.pk}/"' in text
    assert client.get(f"/visits/{job.visit_id}/").status_code == 200


def test_card_draws_the_promise_line_of_each_stock(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part, earmark = PartFactory.create(), EarmarkFactory.create()
    deliver(client.store, part, 5)
    address = reverse("inventory:part", args=[part.pk])
    assert client.get(address).context["own_runways"] == []
    deliver(client.store, part, 3, earmark=earmark)
    drawn = client.get(address).context["own_runways"]
    assert [(one, picture.balance[0]) for one, picture in drawn] == [
        (None, 5),
        (earmark, 3),
    ]


def test_card_shows_the_chain_of_numbers(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    newest = PartFactory.create()
    newer = PartFactory.create(superseded_by=newest)
    old = PartFactory.create(superseded_by=newer, old_stock_serves=False)
    text = client.get(reverse("inventory:part", args=[old.pk])).content.decode()
    assert newer.number in text
    assert newest.number in text
    assert "is not fitted any more" in text
    text = client.get(reverse("inventory:part", args=[newer.pk])).content.decode()
    assert "still serves" in text
    assert "old stock not fitted" in text


def test_a_number_is_replaced_and_the_mistake_mended(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    old, new = PartFactory.create_batch(2)
    address = reverse("inventory:part_chain", args=[old.pk])
    assert client.get(address).status_code == 200
    data = {"new": new.number, "since": TODAY, "old_stock_serves": ""}
    assert client.post(address, data).status_code == 302
    old.refresh_from_db()
    assert (old.superseded_by, old.old_stock_serves) == (new, False)
    page = client.post(
        reverse("inventory:part_chain", args=[new.pk]), data | {"new": old.number}
    )
    assert "cannot go round" in page.content.decode()
    client.post(address, {"end": "1"})
    old.refresh_from_db()
    assert old.superseded_by is None
    assert signed_in(Role.TECHNICIAN).get(address).status_code == 403


def sale(client, part, **facts):
    data = {"key": "s", "quantity": 2, "ticket": "T-7", **facts}
    return client.post(reverse("inventory:sell_part", args=[part.pk]), data)


def test_pieces_are_sold_once(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part = PartFactory.create()
    deliver(client.store, part, 5)
    page = client.get(reverse("inventory:sell_part", args=[part.pk])).content.decode()
    assert "5 pieces of the common stock can be sold" in page
    for _press in range(2):
        assert sale(client, part).status_code == 302
    assert stand(client.store, part) == (3, 0, 0, 0)
    refused = sale(client, part, key="t", quantity=4).content.decode()
    assert "4 pieces are wanted, 3 are free" in refused


def test_what_is_set_apart_is_sold_by_the_service_manager_alone(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    part, earmark = PartFactory.create(), EarmarkFactory.create()
    deliver(client.store, part, 5, earmark=earmark)
    facts = {"earmark": earmark.pk, "why_set_apart": "stranded family"}
    assert sale(client, part, **facts).status_code == 200
    assert stand(client.store, part, earmark) == (5, 0, 0, 0)
    chief = signed_in(Role.SERVICE_MANAGER, client.store)
    unsaid = sale(chief, part, **facts | {"why_set_apart": ""}).content.decode()
    assert "is set apart for Seat rail bolts" in unsaid
    assert sale(chief, part, **facts).status_code == 302
    assert stand(client.store, part, earmark) == (3, 0, 0, 0)


def test_unknown_part_is_not_found(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    assert client.get(reverse("inventory:part", args=[999_999])).status_code == 404
