import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from inventory.domain.reserving import reserve
from inventory.models import Balance, BinLocation
from tests.factories.campaigns import VisitJobFactory
from tests.factories.dealership import NOW, TODAY
from tests.factories.inventory import BinLocationFactory, PartFactory
from tests.inventory.books import deliver, later


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

BINS_QUERIES = 8
PICKS_QUERIES = 8


@pytest.fixture
def part():
    return PartFactory.create()


def fill(client, place, part):
    address = reverse("inventory:fill_bin", args=[place.pk])
    return client.post(address, {"part": part.number})


@pytest.mark.parametrize("rows", [1, 3])
def test_bins_ask_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    for place in BinLocationFactory.create_batch(rows, store=client.store):
        filled, nowhere = PartFactory.create_batch(2)
        deliver(client.store, filled, 5)
        deliver(client.store, nowhere, 5)
        fill(client, place, filled)
    client.get(reverse("inventory:bins"))
    with django_assert_num_queries(BINS_QUERIES):
        page = client.get(reverse("inventory:bins"))
    assert [(one.parts, one.pieces) for one in page.context["page_obj"]] == [
        (1, 5)
    ] * rows
    assert len(page.context["nowhere"]) == rows


def test_a_bin_is_made_filled_renamed_and_taken_down(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    made = client.post(reverse("inventory:new_bin"), {"code": " a-07 "})
    place = BinLocation.objects.get()
    assert (place.code, made.url) == (
        "A-07",
        reverse("inventory:bin", args=[place.pk]),
    )
    assert "This bin is empty" in client.get(made.url).content.decode()
    fill(client, place, part)
    assert Balance.objects.get().bin == place
    assert "One part lies here, 5 on hand" in client.get(made.url).content.decode()
    gone = reverse("inventory:take_down_bin", args=[place.pk])
    assert client.post(gone).status_code == 409
    other = BinLocationFactory.create(store=client.store, code="B-01")
    rename = reverse("inventory:rename_bin", args=[place.pk])
    taken = client.post(rename, {"code": "b-01"}).content.decode()
    assert "There is a bin B-01 already" in taken
    assert client.post(rename, {"code": "C-01"}).status_code == 302
    fill(client, other, part)
    assert client.post(gone).status_code == 302
    assert [one.code for one in BinLocation.objects.all()] == ["B-01"]


@pytest.mark.parametrize("code", ["", "棚", "\x00"])
def test_a_code_that_cannot_be_printed_is_refused(signed_in, code):
    client = signed_in(Role.PARTS_MANAGER)
    assert client.post(reverse("inventory:new_bin"), {"code": code}).status_code == 200
    assert not BinLocation.objects.exists()


def book(client, part, pieces, day):
    job = VisitJobFactory.create(visit__vehicle__store=client.store)
    reserve(
        key=job.subject,
        store=client.store,
        part=part,
        quantity=pieces,
        earmarks=[None],
        subject=job.subject,
        needed_on=day,
        today=TODAY,
        by=None,
        at=NOW,
    )
    return job


@pytest.mark.parametrize("rows", [1, 3])
def test_pick_list_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.TECHNICIAN)
    for _row in range(rows):
        part = PartFactory.create()
        deliver(client.store, part, 5)
        book(client, part, 2, TODAY)
    client.get(reverse("inventory:picks"))
    with django_assert_num_queries(PICKS_QUERIES):
        page = client.get(reverse("inventory:picks"))
    assert len(page.context["picks"]) == rows


def test_pick_list_is_of_the_day_and_in_the_order_of_the_bins(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    first, second, nowhere = PartFactory.create_batch(3)
    for part in (first, second, nowhere):
        deliver(client.store, part, 5)
    fill(client, BinLocationFactory.create(store=client.store, code="B-01"), first)
    fill(client, BinLocationFactory.create(store=client.store, code="A-01"), second)
    for part in (first, second, nowhere):
        book(client, part, 2, later(1))
    book(client, first, 1, later(2))
    assert client.get(reverse("inventory:picks")).context["pieces"] == 0
    day = {"day": later(1)}
    page = client.get(reverse("inventory:picks"), day)
    assert [one.part for one in page.context["picks"]] == [second, first, nowhere]
    assert page.context["pieces"] == 6
    sheet = client.get(reverse("inventory:pick_list"), day)
    assert sheet["Content-Disposition"] == (
        f'inline; filename="pick-list-{later(1)}.pdf"'
    )
    assert client.get(reverse("inventory:picks"), {"day": "x"}).status_code == 200


def test_labels_of_all_bins_or_of_one(signed_in):
    client = signed_in(Role.TECHNICIAN)
    BinLocationFactory.create_batch(2, store=client.store)
    address = reverse("inventory:bin_labels")
    whole, one = client.get(address), client.get(address, {"bin": "A-01"})
    for paper in (whole, one):
        assert paper["Content-Type"] == "application/pdf"
    assert len(whole.content) > len(one.content)
