"""The short way and the long way are one verb: same pieces, same rows, same refusals.

The long way runs on every database and is tried against a model of its own in
test_books_machine; here the statement of PostgreSQL is held against it, row by row.
"""

import itertools

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import Q

from dealership.models import AuditEntry
from inventory.domain.holding import can_hold_at_once, hold_at_once
from inventory.domain.reserving import (
    NothingFree,
    reserve_by_looking,
    reserve_kit,
)
from inventory.models import Balance, Entry, Movement, Reservation
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import Account, ReservationState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later, stand


pytestmark = pytest.mark.django_db


def facts(store, wanted, *, key="k", earmarks=(None,), needed_on=TODAY):
    return {
        "key": key,
        "store": store,
        "wanted": wanted,
        "earmarks": list(earmarks),
        "subject": f"visit_job:{key}",
        "needed_on": needed_on,
        "by": None,
        "at": NOW,
    }


def ask(verb, *args, **more):
    return verb(today=TODAY, **facts(*args, **more))


def written():
    """Give all that an act leaves behind, without the numbers of its rows.

    A pocket in which nothing ever was is as good as none.
    """
    first = Reservation.objects.order_by("pk").values_list("pk", flat=True)
    numbers = {f"inventory.reservation:{pk}": place for place, pk in enumerate(first)}
    reservation = [f.attname for f in Reservation._meta.fields if f.attname != "id"]
    movement = [f.attname for f in Movement._meta.fields if f.attname != "id"]
    entry = ["movement__key", "store_id", "part_id", "earmark_id", "account"]
    trail = ["at", "by_id", "store_id", "act", "before", "after", "why", "subject"]
    accounts = [str(account) for account in Account]
    moved = Q(promised__gt=0)
    for account in accounts:
        moved |= ~Q(**{account: 0})
    pocket = ["store_id", "part_id", "earmark_id", "promised", *accounts]
    return {
        "balances": list(
            Balance.objects.filter(moved).order_by("pk").values_list(*pocket)
        ),
        "holds": list(Reservation.objects.order_by("pk").values_list(*reservation)),
        "movements": list(Movement.objects.order_by("pk").values_list(*movement)),
        "entries": list(
            Entry.objects.order_by("pk").values_list(*entry, "quantity", "layer_id")
        ),
        "trail": [
            (*row[:-1], numbers.get(row[-1], row[-1]))
            for row in AuditEntry.objects.order_by("pk").values_list(*trail)
        ],
    }


def outcome(verb, *args, **more):
    """Do it, look at all that it left, and undo it."""
    with transaction.atomic():
        try:
            rows = ask(verb, *args, **more)
            said = [
                (row.key, row.part_id, row.earmark_id, row.quantity, row.state)
                for row in rows
            ]
        except NothingFree as refusal:
            said = (refusal.part, refusal.wanted, refusal.free_now, refusal.earliest)
        left = written()
        assert faults_of_the_books() == []
        transaction.set_rollback(True)
    return said, left


def test_both_ways_leave_the_same_behind():
    store, other = StoreFactory.create(), StoreFactory.create()
    parts = PartFactory.create_batch(2)
    earmarks = [EarmarkFactory.create(), EarmarkFactory.create()]
    for part, own, common in zip(parts, (2, 0), (3, 4), strict=True):
        if own:
            deliver(store, part, own, earmark=earmarks[0])
        deliver(store, part, common)
        deliver(store, part, 5, earmark=earmarks[1])
        deliver(other, part, 9)
    chains = [(None,), (earmarks[0],), (earmarks[0], None), (None, earmarks[0])]
    asked = itertools.product(chains, range(5), range(7))
    for chain, first, second in asked:
        wanted = {
            part: pieces
            for part, pieces in zip(parts, (first, second), strict=True)
            if pieces
        }
        if wanted:
            short = outcome(reserve_kit, store, wanted, earmarks=chain)
            long = outcome(reserve_by_looking, store, wanted, earmarks=chain)
            assert short == long


def test_who_waits_for_a_delivery_is_seen_by_both_ways():
    store, part = StoreFactory.create(), PartFactory.create()
    earmark = EarmarkFactory.create()
    deliver(store, part, 5)
    expect(store, part, 2, on=later(1), earmark=earmark)
    # 2 from the delivery, so that 4 of the common stock are spoken for
    ask(reserve_kit, store, {part: 6}, earmarks=(earmark, None), needed_on=later(9))
    for pieces in range(1, 7):
        short = outcome(reserve_kit, store, {part: pieces}, key="b")
        long = outcome(reserve_by_looking, store, {part: pieces}, key="b")
        assert short == long
        assert (type(short[0]) is list) == (pieces <= 1)


def test_statement_gives_way_where_somebody_waits():
    if not can_hold_at_once():
        assert connection.vendor == "sqlite"
        return
    store, part = StoreFactory.create(), PartFactory.create()
    deliver(store, part, 5)
    expect(store, part, 9, on=later(1))
    ask(reserve_kit, store, {part: 9}, needed_on=later(9))
    before = written()
    trail = {"act": "reservation.made", "after": {}}
    assert hold_at_once(**facts(store, {part: 1}, key="b"), **trail) is None
    assert written() == before


def test_statement_refuses_a_used_key_and_spoils_nothing():
    if not can_hold_at_once():
        assert connection.vendor == "sqlite"
        return
    store, part = StoreFactory.create(), PartFactory.create()
    deliver(store, part, 5)
    ask(reserve_kit, store, {part: 1})
    before = written()
    with pytest.raises(IntegrityError):
        hold_at_once(**facts(store, {part: 1}), act="reservation.made", after={})
    assert written() == before


def test_key_of_a_promise_answers_with_the_promise_though_pieces_are_free_now():
    store, part = StoreFactory.create(), PartFactory.create()
    expect(store, part, 3, on=later(1), number="PS-1")
    first = ask(reserve_kit, store, {part: 3}, needed_on=later(9))
    assert [row.state for row in first] == [ReservationState.PROMISED]
    Reservation.objects.update(state=ReservationState.RELEASED)
    Balance.objects.update(promised=0)
    deliver(store, part, 9)
    again = ask(reserve_kit, store, {part: 3}, needed_on=later(9))
    assert [row.pk for row in again] == [row.pk for row in first]
    assert stand(store, part) == (9, 0, 0, 0)


def test_kit_is_held_as_one_movement_with_one_line_in_the_trail():
    store = StoreFactory.create()
    parts = PartFactory.create_batch(3)
    for part in parts:
        deliver(store, part, 4)
    before = Movement.objects.count()
    made = ask(reserve_kit, store, dict.fromkeys(reversed(parts), 2))
    assert [(row.part, row.quantity) for row in made] == [(one, 2) for one in parts]
    assert [row.key for row in made] == ["k/0", "k/1", "k/2"]
    assert Movement.objects.count() == before + 1
    trail = AuditEntry.objects.get(act="reservation.made")
    assert [line["part"] for line in trail.after["parts"]] == [p.pk for p in parts]
    assert ask(reserve_kit, store, dict.fromkeys(parts, 2)) == made
    assert faults_of_the_books() == []


def test_kit_is_promised_whole_or_not_at_all():
    store = StoreFactory.create()
    there, missing = PartFactory.create_batch(2)
    deliver(store, there, 4)
    with pytest.raises(NothingFree) as refusal:
        ask(reserve_kit, store, {there: 1, missing: 1})
    assert refusal.value.part == missing
    assert not Reservation.objects.exists()
    assert stand(store, there) == (4, 0, 0, 0)


def test_kit_of_what_is_there_and_what_is_coming():
    store = StoreFactory.create()
    there, coming = PartFactory.create_batch(2)
    deliver(store, there, 4)
    expect(store, coming, 4, on=later(1))
    made = ask(reserve_kit, store, {there: 1, coming: 2}, needed_on=later(9))
    assert [(row.part, row.state) for row in made] == [
        (there, ReservationState.HELD),
        (coming, ReservationState.PROMISED),
    ]
    assert faults_of_the_books() == []


def test_held_pieces_are_not_lent_until_a_delivery_replaces_them():
    store, part = StoreFactory.create(), PartFactory.create()
    deliver(store, part, 5)
    ask(reserve_kit, store, {part: 4}, key="a", needed_on=later(10))
    expect(store, part, 20, on=later(1))
    with pytest.raises(NothingFree) as refusal:
        ask(reserve_kit, store, {part: 3}, key="b")
    # tomorrow is a holiday: the delivery counts from the day after
    assert (refusal.value.free_now, refusal.value.earliest) == (1, later(2))
