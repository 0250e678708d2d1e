import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from inventory.domain.quarantine import put_aside
from inventory.domain.reserving import reserve
from inventory.domain.shelving import put_in_bin
from inventory.models import BinLocation, Reservation, StockCount
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import CountState
from tests.factories.dealership import NOW, TODAY
from tests.factories.inventory import PartFactory, StockCountLineFactory
from tests.inventory.books import deliver, later, stand


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

LIST_QUERIES = 9


@pytest.fixture
def part():
    return PartFactory.create()


def prepared(client, **facts):
    client.post(reverse("inventory:new_count"), {"key": "c", **facts})
    return StockCount.objects.get()


def enter(client, count, found):
    line = count.lines.get()
    address = reverse("inventory:enter_count", args=[count.pk])
    return client.post(address, {f"found_{line.pk}": found})


def book(client, count, **facts):
    line = count.lines.get()
    data = {f"why_{line.pk}": "recount agrees", **facts}
    return client.post(reverse("inventory:book_count", args=[count.pk]), data)


@pytest.mark.parametrize("rows", [1, 3])
def test_list_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    for _row in range(rows):
        StockCountLineFactory.create(count__store=client.store)
    client.get(reverse("inventory:counts"))
    with django_assert_num_queries(LIST_QUERIES):
        page = client.get(reverse("inventory:counts"))
    assert len(page.context["page_obj"].object_list) == rows


@pytest.mark.parametrize(
    ("what", "lots", "about"),
    [
        ("", [False], "all bins"),
        ("both", [False, True], "all bins and quarantine"),
        ("quarantine", [True], "quarantine"),
    ],
)
def test_quarantine_is_counted_where_it_is_asked_for(
    signed_in, part, what, lots, about
):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 17)
    lot = put_aside(
        key="lot", store=client.store, part=part, earmark=None, quantity=4,
        by=None, at=NOW, why="a dented box",
    )  # fmt: skip
    client.post(reverse("inventory:new_count"), {"key": "c", "what": what})
    count = StockCount.objects.get()
    lines = list(count.lines.order_by("pk"))
    assert [line.lot is not None for line in lines] == lots
    assert count.about == about
    page = client.get(reverse("inventory:count", args=[count.pk])).content.decode()
    assert (f"quarantine, lot {lot.pk}" in page) is (True in lots)
    sheet = reverse("inventory:count_sheet", args=[count.pk])
    assert client.get(sheet)["Content-Type"] == "application/pdf"

    figures = {f"found_{line.pk}": 3 if line.lot else 13 for line in lines}
    client.post(reverse("inventory:enter_count", args=[count.pk]), figures)
    reasons = {f"why_{line.pk}": "not in its box" for line in lines if line.lot}
    client.post(reverse("inventory:book_count", args=[count.pk]), reasons)

    assert stand(client.store, part) == (13, 0, 3 if True in lots else 4, 0)
    assert faults_of_the_books() == []


def test_technician_counts_blind_and_the_manager_approves(signed_in, part):
    client = signed_in(Role.TECHNICIAN)
    deliver(client.store, part, 17)
    assert client.get(reverse("inventory:new_count")).status_code == 200
    count = prepared(client)
    page = client.get(reverse("inventory:count", args=[count.pk])).content.decode()
    assert "One line is to be counted" in page
    assert ">17<" not in page
    assert "is required" in enter(client, count, "").content.decode()
    assert enter(client, count, 15).status_code == 302
    page = client.get(reverse("inventory:count", args=[count.pk])).content.decode()
    assert "One line differs from the books and nothing is booked yet" in page
    assert ">17<" in page
    assert book(client, count).status_code == 403
    manager = signed_in(Role.PARTS_MANAGER, client.store)
    assert (
        "required"
        in book(manager, count, **{f"why_{count.lines.get().pk}": ""}).content.decode()
    )
    assert book(manager, count).status_code == 302
    assert stand(client.store, part) == (15, 0, 0, 0)
    page = client.get(reverse("inventory:count", args=[count.pk])).content.decode()
    assert "its differences are in the books" in page


def test_who_counted_does_not_approve_while_another_could(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    count = prepared(client)
    enter(client, count, 4)
    other = signed_in(Role.SERVICE_MANAGER, client.store)
    assert "You counted this yourself" in book(client, count).content.decode()
    other.staff.is_active = False
    other.staff.save()
    assert book(client, count).status_code == 302


def test_whose_promise_goes_is_chosen_and_told(signed_in, part):
    client = signed_in(Role.TECHNICIAN)
    deliver(client.store, part, 2)
    (held,) = reserve(
        key="p",
        store=client.store,
        part=part,
        quantity=2,
        earmarks=[None],
        subject="visit_job:77",
        needed_on=later(2),
        today=TODAY,
        by=None,
        at=NOW,
    )
    count = prepared(client)
    enter(client, count, 1)
    manager = signed_in(Role.PARTS_MANAGER, client.store)
    refused = book(manager, count).content.decode()
    assert "1 of the missing pieces are promised (2 for visit_job:77" in refused
    assert f'value="{held.pk}"' in refused
    address = reverse("inventory:book_count", args=[count.pk])
    line = count.lines.get()
    told = manager.post(
        address,
        {f"why_{line.pk}": "gone", "taken_back": [held.pk]},
        follow=True,
    ).content.decode()
    assert "No part is left for visit_job:77" in told
    assert Reservation.objects.live().count() == 0
    assert stand(client.store, part) == (1, 0, 0, 0)


def test_a_bin_or_a_part_is_counted_alone(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    other = PartFactory.create()
    for one, code in ((part, "A-01"), (other, "B-02")):
        deliver(client.store, one, 5)
        put_in_bin(
            store=client.store, part=one, earmark=None, code=code, by=None, at=NOW
        )
    place = BinLocation.objects.get(code="B-02")
    count = prepared(client, place=place.pk)
    assert count.about == "bin B-02"
    assert [line.part for line in count.lines.all()] == [other]
    client.post(reverse("inventory:new_count"), {"key": "d", "part": part.number})
    last = StockCount.objects.order_by("pk").last()
    assert [line.part for line in last.lines.all()] == [part]


def test_nothing_to_count_is_said(signed_in):
    client = signed_in(Role.PARTS_MANAGER)
    page = client.post(reverse("inventory:new_count"), {"key": "c"})
    assert "Nothing lies there by the books" in page.content.decode()


def test_counted_anew_or_dropped(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    count = prepared(client)
    enter(client, count, 4)
    client.post(reverse("inventory:count_again", args=[count.pk]))
    count.refresh_from_db()
    assert count.state == CountState.PREPARED
    client.post(reverse("inventory:drop_count", args=[count.pk]))
    count.refresh_from_db()
    assert count.state == CountState.DROPPED
    page = client.get(reverse("inventory:count", args=[count.pk])).content.decode()
    assert "This count was dropped" in page


def test_the_sheet_is_a_paper(signed_in, part):
    client = signed_in(Role.TECHNICIAN)
    deliver(client.store, part, 17)
    sheet = client.get(reverse("inventory:count_sheet", args=[prepared(client).pk]))
    assert sheet["Content-Type"] == "application/pdf"
    assert sheet.content.startswith(b"%PDF-")
