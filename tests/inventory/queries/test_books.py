"""The proof of the books against the same rules said slowly, over rows one by one."""

import random
from collections import Counter, defaultdict
from contextlib import suppress

import pytest
from django.db import IntegrityError, connection, transaction

from inventory.domain.reserving import reserve_kit, settle
from inventory.models import Balance, CostLayer, Entry, Movement, Reservation
from inventory.queries.books import RULES, faults_of_the_books
from inventory.rules.accounts import INSIDE, ON_HAND, Account
from tests.conftest import without_guards
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later
from tests.inventory.domain.test_holding import ask


pytestmark = pytest.mark.django_db


def slowly():
    """Give (rule, number of rows that break it): one loop a rule, no sum in SQL."""
    found = Counter()
    sums, by_movement, by_layer = Counter(), Counter(), Counter()
    lines = set()
    for one in Entry.objects.all():
        sums[one.store_id, one.part_id, one.earmark_id, one.account] += one.quantity
        by_movement[one.movement_id] += one.quantity
        lines.add(one.movement_id)
        if one.layer_id and one.account in ON_HAND:
            by_layer[one.layer_id] += one.quantity
    stands = Counter()
    on_hand, total = Counter(), 0
    holds = {"held": Counter(), "promised": Counter()}
    for row in Balance.objects.all():
        pocket = row.store_id, row.part_id, row.earmark_id
        for account in Account:
            stands[*pocket, account.value] = getattr(row, account)
            total += getattr(row, account)
            if account in INSIDE and getattr(row, account) < 0:
                found["nothing inside is below zero"] += 1
        on_hand[pocket[:2]] += row.free + row.held + row.quarantine
        holds["held"][pocket] += row.held
        holds["promised"][pocket] += row.promised
    live = {"held": Counter(), "promised": Counter()}
    for row in Reservation.objects.filter(state__in=live):
        live[row.state][row.store_id, row.part_id, row.earmark_id] += row.quantity
    left = defaultdict(int)
    for layer in CostLayer.objects.all():
        left[layer.store_id, layer.part_id] += layer.quantity - layer.taken
        if layer.quantity - layer.taken != by_layer[layer.pk]:
            found["what is left of a layer is the sum of its entries"] += 1
    for rule, one, other in (
        ("balance is the sum of its entries", stands, sums),
        ("held pieces are those of live holds", holds["held"], live["held"]),
        ("promises of a pocket are live", holds["promised"], live["promised"]),
        ("layers cover the pieces on hand", Counter(left), on_hand),
        ("a movement has lines that sum to zero", by_movement, Counter()),
    ):
        found[rule] += sum(one[key] != other[key] for key in {*one, *other})
    found["the books sum to zero"] += total != 0
    found["a movement has lines"] += (
        set(Movement.objects.values_list("pk", flat=True)) != lines
    )
    return {rule: count for rule, count in found.items() if count}


def quickly():
    return dict(Counter(fault.rule for fault in faults_of_the_books()))


def some_history():
    store, part = StoreFactory.create(), PartFactory.create()
    earmark = EarmarkFactory.create()
    deliver(store, part, 9, earmark=earmark, damaged=1)
    deliver(store, part, 5)
    expect(store, part, 4, on=later(2), earmark=earmark)
    ask(reserve_kit, store, {part: 3}, key="a", earmarks=(earmark, None))
    ask(
        reserve_kit,
        store,
        {part: 13},
        key="b",
        earmarks=(earmark, None),
        needed_on=later(9),
    )
    settle(
        subject="visit_job:a",
        store=store,
        used={part: 2},
        earmarks=[earmark, None],
        key="s",
        effective_on=TODAY,
        by=None,
        at=NOW,
    )


def test_sound_books_have_no_faults():
    some_history()
    assert faults_of_the_books() == []
    assert slowly() == {}


def newest(count):
    return list(Movement.objects.order_by("-pk").values_list("pk", flat=True)[:count])


NEVER_GETS_IN = "nothing inside is below zero"  # each account has its constraint

SPOILS = {
    "free": lambda n: Balance.objects.filter(free__gte=1).update(free=n),
    "held": lambda n: Balance.objects.filter(free__gte=n).update(held=n),
    "promised": lambda n: Balance.objects.update(promised=n),
    "sold": lambda n: Balance.objects.update(sold=n),
    "taken": lambda n: CostLayer.objects.update(taken=n),
    "size": lambda n: CostLayer.objects.filter(taken__lte=n).update(quantity=n + 1),
    "hold": lambda n: Reservation.objects.filter(used__lte=n + 1).update(
        quantity=n + 1
    ),
    "state": lambda n: Reservation.objects.filter(used__lte=n).update(state="held"),
    "entry": lambda n: Entry.objects.filter(account="free").update(quantity=n + 1),
    "account": lambda n: Entry.objects.filter(quantity=n).update(account="sold"),
    "layer": lambda n: Entry.objects.filter(quantity__lte=n).update(layer=None),
    "lines": lambda n: Entry.objects.filter(movement__in=newest(n)).delete(),
}


def test_whatever_is_spoiled_both_find_the_same():
    some_history()
    chance, seen = random.Random(5), set()
    with without_guards():
        for _case in range(40):
            with transaction.atomic():
                for name in chance.sample(sorted(SPOILS), chance.randint(1, 3)):
                    # what a constraint refuses cannot be spoiled that way
                    with suppress(IntegrityError), transaction.atomic():
                        SPOILS[name](chance.randint(0, 4))
                found = slowly()
                assert quickly() == found
                seen |= found.keys()
                transaction.set_rollback(True)
    assert seen == {rule for rule, _statement in RULES} - {NEVER_GETS_IN}


def test_fault_names_the_row_and_both_figures():
    some_history()
    balance = Balance.objects.get(earmark=None)
    Balance.objects.filter(pk=balance.pk).update(sold=3)
    first = faults_of_the_books()[0]
    assert str(first) == (
        f"balance is the sum of its entries: store {balance.store_id}"
        f" part {balance.part_id} earmark none sold is 3, should be 0"
    )


def test_pins_of_the_planner_end_with_the_proof():
    faults_of_the_books()
    if connection.vendor == "sqlite":
        return
    with connection.cursor() as cursor:
        for setting in ("enable_hashagg", "enable_seqscan", "jit"):
            cursor.execute(f"SHOW {setting}")
            assert cursor.fetchone() == ("on",)
