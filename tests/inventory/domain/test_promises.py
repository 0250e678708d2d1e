"""Keeping promises: who is first, who waits on, what is written."""

import pytest
from django.db import connection

from dealership.models import AuditEntry
from inventory.domain.promises import draw, free_of, ids_of, keep_promises, live_of
from inventory.domain.reserving import reserve
from inventory.models import Balance, Entry, Movement, Reservation
from inventory.queries.books import faults_of_the_books
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later, stand


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def wait(store, part, pieces, who, *, on=9, earmarks=(None,)):
    """Let somebody wait for pieces of a delivery that has not come."""
    (row,) = reserve(
        key=who,
        store=store,
        part=part,
        quantity=pieces,
        earmarks=list(earmarks),
        subject=who,
        needed_on=later(on),
        today=TODAY,
        by=None,
        at=NOW,
    )
    assert row.state == "promised"
    return row


def keep(store, part):
    return keep_promises(store=store, part=part, by=None, at=NOW, today=TODAY)


def promised(store, part, earmark=None):
    rows = Balance.objects.filter(store=store, part=part, earmark=earmark)
    return rows.values_list("promised", flat=True).get()


def states():
    return dict(Reservation.objects.values_list("key", "state"))


def test_the_earliest_need_comes_first_whoever_asked_first(store, part):
    expect(store, part, 6, on=later(2))
    wait(store, part, 3, "asked first", on=9)
    wait(store, part, 3, "needs it first", on=8)
    deliver(store, part, 3)
    kept = keep(store, part)
    assert [(row.key, row.state) for row in kept] == [("needs it first/0", "held")]
    assert states() == {"asked first/0": "promised", "needs it first/0": "held"}
    assert stand(store, part)[:2] == (0, 3)
    assert promised(store, part) == 3
    assert faults_of_the_books() == []


def test_who_cannot_have_all_yet_keeps_the_claim_on_what_is_there(store, part):
    """Five are wanted first and three are there: the two wanted later wait as well."""
    expect(store, part, 7, on=later(2))
    wait(store, part, 5, "five", on=8)
    wait(store, part, 2, "two", on=9)
    deliver(store, part, 3, number="A")
    assert keep(store, part) == ()
    assert stand(store, part)[:2] == (3, 0)
    deliver(store, part, 2, number="B")
    assert [row.key for row in keep(store, part)] == ["five/0"]
    deliver(store, part, 2, number="C")
    assert [row.key for row in keep(store, part)] == ["two/0"]
    assert keep(store, part) == ()
    assert stand(store, part)[:2] == (0, 7)


def test_other_parts_and_stores_are_not_touched(store, part):
    """They could have their pieces too, and are needed earlier: it is not their turn."""
    other_store, other_part = StoreFactory.create(), PartFactory.create()
    places = [(store, part), (store, other_part), (other_store, part)]
    for number, (where, what) in enumerate(places):
        expect(where, what, 2, on=later(2), number=f"PS-{number}")
        wait(where, what, 2, f"{number}", on=9 - number)
        deliver(where, what, 6, number=f"CAME-{number}")
    assert [row.key for row in keep(store, part)] == ["0/0"]
    assert states() == {"0/0": "held", "1/0": "promised", "2/0": "promised"}
    assert [row.key for row in keep(other_store, part)] == ["2/0"]
    assert promised(store, other_part) == 2


def test_a_promise_that_draws_on_two_pockets_is_two_holds(store, part):
    earmark = EarmarkFactory.create()
    expect(store, part, 5, on=later(2), earmark=earmark)
    wait(store, part, 5, "w", earmarks=[earmark, None])
    deliver(store, part, 2, earmark=earmark)
    deliver(store, part, 4)
    own, common = keep(store, part)
    assert (own.key, own.earmark, own.quantity) == ("w/0", earmark, 2)
    assert (common.key, common.earmark, common.quantity) == (
        f"kept:{own.pk}/1",
        None,
        3,
    )
    assert own.pk < common.pk
    rows = Reservation.objects.order_by("pk").values_list(
        "quantity", "state", "subject", "needed_on", "earmark"
    )
    assert list(rows) == [
        (2, "held", "w", later(9), earmark.pk),
        (3, "held", "w", later(9), None),
    ]
    assert (stand(store, part, earmark)[:2], stand(store, part)[:2]) == (
        (0, 2),
        (1, 3),
    )
    assert promised(store, part, earmark) == 0
    movement = Movement.objects.get(kind="reserve")
    assert (movement.key, movement.subject) == (f"kept:{own.pk}", "w")
    lines = movement.entries.order_by("pk")
    assert list(lines.values_list("earmark", "account", "quantity")) == [
        (earmark.pk, "free", -2),
        (earmark.pk, "held", 2),
        (None, "free", -3),
        (None, "held", 3),
    ]
    trail = AuditEntry.objects.get(act="reservation.held")
    assert (trail.subject, trail.after) == (
        f"inventory.reservation:{own.pk}",
        {"pieces": 5},
    )
    assert faults_of_the_books() == []


def test_common_stock_alone_can_keep_what_an_earmark_was_promised(store, part):
    earmark = EarmarkFactory.create()
    expect(store, part, 2, on=later(2), earmark=earmark)
    wait(store, part, 2, "w", earmarks=[earmark, None])
    deliver(store, part, 2)
    (row,) = keep(store, part)
    assert (row.key, row.earmark, row.quantity) == ("w/0", None, 2)
    assert Reservation.objects.count() == 1
    assert faults_of_the_books() == []


def test_what_is_set_apart_is_not_lent_to_others(store, part):
    earmark = EarmarkFactory.create()
    expect(store, part, 2, on=later(2))
    wait(store, part, 2, "w")
    deliver(store, part, 2, earmark=earmark)
    assert keep(store, part) == ()
    assert stand(store, part, earmark)[:2] == (2, 0)


def test_live_promises_of_a_subject_in_the_order_they_were_made(store, part):
    other_store, other_part = StoreFactory.create(), PartFactory.create()
    expect(store, part, 9, on=later(2))
    deliver(store, other_part, 9)
    deliver(other_store, part, 9)
    late = wait(store, part, 2, "mine", on=20)
    facts = {
        "earmarks": [None],
        "quantity": 1,
        "needed_on": TODAY,
        "today": TODAY,
        "by": None,
        "at": NOW,
    }
    (held,) = reserve(key="b", store=store, part=other_part, subject="mine", **facts)
    reserve(key="c", store=store, part=other_part, subject="other", **facts)
    reserve(key="d", store=other_store, part=part, subject="mine", **facts)
    assert live_of(store=store, subject="mine") == [late, held]
    Reservation.objects.filter(pk=late.pk).update(state="released", resolved_at=NOW)
    assert live_of(store=store, subject="mine") == [held]


def test_drawing_takes_pocket_by_pocket_and_passes_empty_ones():
    free = {None: 4, 1: 0, 2: 3}
    assert draw(free, [2, 1, None], 5) == [(2, 3), (None, 2)]
    assert draw(free, [2, 1, None], 3) == [(2, 3)]
    assert draw(free, [1, 2], 9) == [(2, 3)]
    assert draw(free, [None], 1) == [(None, 1)]
    assert draw(free, [None], 0) == []


def test_free_pieces_are_counted_by_pocket_and_for_one_part(store, part):
    earmark, other = EarmarkFactory.create(), PartFactory.create()
    deliver(store, part, 4, damaged=1, number="A")
    deliver(store, part, 2, earmark=earmark, number="B")
    deliver(store, other, 9, number="C")
    assert free_of(Balance.objects.all(), part) == {None: 3, earmark.pk: 2}
    assert ids_of([earmark, None]) == [earmark.pk, None]


@pytest.mark.committing
@pytest.mark.usefixtures("committing_db")
def test_keeping_is_one_transaction_of_its_own():
    """Each statement, from the first look to the last line of the trail."""
    store, part = StoreFactory.create(), PartFactory.create()
    expect(store, part, 2, on=later(2))
    wait(store, part, 2, "w")
    deliver(store, part, 2)
    inside = set()

    def note(execute, sql, *words):
        if not sql.startswith(("BEGIN", "SAVEPOINT", "RELEASE")):
            inside.add(connection.in_atomic_block)
        return execute(sql, *words)

    with connection.execute_wrapper(note):
        assert len(keep(store, part)) == 1
    assert inside == {True}
    assert Entry.objects.filter(account="held").count() == 1
