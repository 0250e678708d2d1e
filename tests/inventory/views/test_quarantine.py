import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from inventory.domain.givingback import prepare_return
from inventory.domain.reserving import reserve
from inventory.models import GoodsReturn, Part, QuarantineLot, WriteOff
from inventory.rules.accounts import LotKind
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, later, stand


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

PAGE_QUERIES = 11


@pytest.fixture
def part():
    return PartFactory.create()


def aside(client, part, **facts):
    data = {"key": "a", "kind": "doubtful", "quantity": 2, "why": "bent", **facts}
    return client.post(reverse("inventory:put_aside", args=[part.pk]), data)


def act(client, name, lot, **facts):
    data = {"key": name, "quantity": 1, "why": "looked at", **facts}
    return client.post(reverse(f"inventory:{name}", args=[lot.pk]), data)


@pytest.mark.parametrize("rows", [1, 3])
def test_page_asks_the_same_number_of_questions(
    signed_in, django_assert_num_queries, rows
):
    client = signed_in(Role.PARTS_MANAGER)
    for row in range(rows):
        part = PartFactory.create()
        deliver(client.store, part, 9, damaged=1)
        aside(client, part, key=f"a{row}")
        prepare_return(
            key=f"r{row}",
            store=client.store,
            supplier=part.supplier,
            earmark=None,
            lines={part: 1},
            last_date=later(9),
            restocking_basis_points=0,
            by=None,
            at=NOW,
        )
        lot = QuarantineLot.objects.order_by("pk").last()
        act(client, "scrap_lot", lot, key=f"s{row}")
    client.get(reverse("inventory:quarantine"))
    with django_assert_num_queries(PAGE_QUERIES):
        page = client.get(reverse("inventory:quarantine"))
    shown = [len(page.context[name]) for name in ("lots", "disputed", "boxed", "lost")]
    assert shown == [rows] * 4
    # one damaged, one boxed, one left of the lot, each time
    assert page.context["pieces"] == 3 * rows


def test_empty_quarantine_says_so(signed_in):
    client = signed_in(Role.TECHNICIAN)
    page = client.get(reverse("inventory:quarantine")).content.decode()
    assert "Quarantine is empty; nothing to do here." in page
    assert "30120(j)" in page
    assert "Take in removed parts" not in page


def test_pieces_are_put_aside_once(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    earmark = EarmarkFactory.create()
    deliver(client.store, part, 5, earmark=earmark)
    assert client.get(reverse("inventory:put_aside", args=[part.pk])).status_code == 200
    for _press in range(2):
        answer = aside(client, part, earmark=earmark.pk)
        assert answer.status_code == 302
    assert stand(client.store, part, earmark) == (3, 0, 2, 0)
    lot = QuarantineLot.objects.get()
    page = client.get(answer.url).content.decode()
    assert lot.why in page
    assert "2 pieces are left" in page


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"quantity": 9}, "9 pieces are wanted, 5 are free"),
        ({"quantity": -1}, "greater than or equal to 1"),
        ({"key": "a\x00b"}, "Null characters are not allowed"),
        ({"key": "k" * 61}, "at most 60 characters"),
        ({"quantity": "9" * 40}, "less than or equal to"),
    ],
)
def test_wrong_facts_are_refused(signed_in, part, facts, words):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    answer = aside(client, part, **facts)
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert stand(client.store, part) == (5, 0, 0, 0)


def test_who_put_it_aside_scraps_and_sends_back_but_does_not_free(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 9)
    aside(client, part, quantity=6)
    lot = QuarantineLot.objects.get()
    assert act(client, "free_lot", lot).status_code == 403
    assert act(client, "scrap_lot", lot).status_code == 302
    boxed = act(client, "return_lot", lot, restocking_basis_points="15", quantity=2)
    made = GoodsReturn.objects.get()
    assert boxed.url == reverse("inventory:goods_return", args=[made.pk])
    assert made.restocking_basis_points == 1_500
    chief = signed_in(Role.SERVICE_MANAGER, client.store)
    assert (
        "Free the pieces"
        in chief.get(reverse("inventory:lot", args=[lot.pk])).content.decode()
    )
    assert act(chief, "free_lot", lot, quantity=2).status_code == 302
    lot.refresh_from_db()
    assert (lot.left, stand(client.store, part)) == (1, (5, 0, 3, 0))
    for name in ("scrap_lot", "return_lot"):
        facts = {"key": "more", "quantity": 4, "restocking_basis_points": "0"}
        refused = act(client, name, lot, **facts).content.decode()
        assert "4 pieces are wanted, 1 are in quarantine" in refused


def test_recalled_and_removed_parts_are_never_freed(signed_in, part):
    """49 USC 30120(j)."""
    client = signed_in(Role.ADMINISTRATOR)
    deliver(client.store, part, 5)
    aside(client, part, kind="recalled")
    lot = QuarantineLot.objects.get()
    page = act(client, "free_lot", lot)
    assert page.status_code == 409
    assert "It may be sent back or scrapped" in page.content.decode()
    client.post(
        reverse("inventory:take_in_removed"),
        {"key": "m", "part": part.number, "quantity": 1, "why": "order M-17"},
    )
    out = QuarantineLot.objects.get(kind=LotKind.REMOVED)
    shown = client.get(reverse("inventory:lot", args=[out.pk])).content.decode()
    assert "is never freed" in shown
    assert "Free the pieces" not in shown
    assert "order M-17" in client.get(reverse("inventory:quarantine")).content.decode()
    assert stand(client.store, part) == (3, 0, 3, 0)


def test_a_part_is_recalled_and_the_mark_taken_off(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    deliver(StoreFactory.create(), part, 2)
    reserve(
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
    address = reverse("inventory:recall_part", args=[part.pk])
    shown = client.get(address).content.decode()
    assert "puts 5 free and 2 held pieces into quarantine, in every store" in shown
    assert client.post(address, {"why": ""}).status_code == 200
    told = client.post(address, {"why": "maker's notice"}, follow=True).content.decode()
    assert "No part is left for visit_job:77" in told
    assert stand(client.store, part) == (0, 0, 5, 0)
    assert Part.objects.get().recalled
    client.get(address)
    client.post(address, {"why": "remedied stock", "lift": "1"})
    assert not Part.objects.get().recalled


def test_the_cost_of_lost_pieces_is_written_off(signed_in, part):
    client = signed_in(Role.PARTS_MANAGER)
    deliver(client.store, part, 5)
    aside(client, part)
    act(client, "scrap_lot", QuarantineLot.objects.get(), quantity=2)
    (lost,) = client.get(reverse("inventory:quarantine")).context["lost"]
    assert (lost.pieces, lost.cents) == (2, 8_500)
    address = reverse("inventory:give_up_pieces", args=[lost.movement.pk])
    assert "2 pieces of" in client.get(address).content.decode()
    assert client.post(address, {"why": ""}).status_code == 200
    assert client.post(address, {"why": "crushed"}).status_code == 302
    assert WriteOff.objects.get().cents == 8_500
    assert client.get(reverse("inventory:quarantine")).context["lost"] == []
    assert "Nothing of this is left" in client.get(address).content.decode()


def test_advisor_moves_no_parts(signed_in, part):
    client = signed_in(Role.SERVICE_ADVISOR)
    assert aside(client, part).status_code == 403
    page = client.get(reverse("inventory:part", args=[part.pk])).content.decode()
    assert "Put into quarantine" not in page
