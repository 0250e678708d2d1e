"""Which rows are held, and in which order; that others wait is seen on PostgreSQL."""

import threading

import pytest
from django.db import connections, transaction

from inventory.domain.ledger import ensure_pockets
from inventory.domain.locks import lock_layers, lock_pockets
from inventory.domain.promises import hold_pockets, live_of
from inventory.domain.reserving import reserve
from inventory.domain.spare import hold_spare
from inventory.models import Balance, CostLayer
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import CostLayerFactory, EarmarkFactory, PartFactory
from tests.inventory.books import deliver, later


@pytest.mark.django_db
def test_pockets_of_these_parts_come_in_the_order_of_their_rows():
    store, other_store = StoreFactory.create_batch(2)
    part = PartFactory.create(number="Z-1")
    second = PartFactory.create(number="A-1")
    other, mark = PartFactory.create(), EarmarkFactory.create()
    for where, what, earmark in (
        (store, part, None),
        (store, second, None),
        (store, part, mark.pk),
        (store, other, None),
        (other_store, part, None),
    ):
        ensure_pockets(store=where, pockets=[(what.pk, earmark)])
    with transaction.atomic():
        held = lock_pockets(store=store, part_ids=[second.pk, part.pk])
    assert [(one.part_id, one.earmark_id) for one in held] == [
        (part.pk, None),
        (second.pk, None),
        (part.pk, mark.pk),
    ]
    assert [one.pk for one in held] == sorted(one.pk for one in held)


@pytest.mark.django_db
def test_layers_with_pieces_left_come_in_the_order_of_their_rows():
    store, other_store = StoreFactory.create_batch(2)
    part, other = PartFactory.create_batch(2)
    facts = {"store": store, "part": part, "quantity": 5}
    wanted = [
        CostLayerFactory.create(received_on=later(-1), **facts),
        CostLayerFactory.create(received_on=later(-9), taken=4, **facts),
    ]
    CostLayerFactory.create(taken=5, **facts)
    CostLayerFactory.create(**{**facts, "part": other})
    CostLayerFactory.create(**{**facts, "store": other_store})
    with transaction.atomic():
        assert lock_layers(store=store, part_ids=[part.pk]) == wanted


def rows_that_others_wait_for(model):
    """Ask from another connection which rows it cannot have at once."""
    found = []

    def look():
        try:
            with transaction.atomic():
                rows = model.objects.select_for_update(skip_locked=True)
                free = set(rows.values_list("pk", flat=True))
            everything = set(model.objects.values_list("pk", flat=True))
            found.append(everything - free)
        finally:
            connections.close_all()

    thread = threading.Thread(target=look)
    thread.start()
    thread.join(30)
    return found[0]


@pytest.mark.postgres
@pytest.mark.committing
@pytest.mark.usefixtures("committing_db")
def test_others_wait_for_what_is_held_and_for_nothing_else():
    store, other_store = StoreFactory.create_batch(2)
    part, other = PartFactory.create_batch(2)
    for where, what in ((store, part), (store, other), (other_store, part)):
        deliver(where, what, 5)
    reserve(
        key="k",
        store=store,
        part=part,
        quantity=1,
        earmarks=[None],
        subject="w",
        needed_on=TODAY,
        today=TODAY,
        by=None,
        at=NOW,
    )
    mine = set(Balance.objects.filter(store=store, part=part).values_list("pk", flat=1))
    acts = [
        lambda: lock_pockets(store=store, part_ids=[part.pk]),
        lambda: hold_pockets(store, [part], [None]),
        lambda: live_of(store=store, subject="w"),
        lambda: hold_spare(store=store, earmark=None, lines={part: 1}, today=TODAY),
    ]
    for act in acts:
        with transaction.atomic():
            act()
            assert rows_that_others_wait_for(Balance) == mine
            assert rows_that_others_wait_for(CostLayer) == set()
    with transaction.atomic():
        layers = lock_layers(store=store, part_ids=[part.pk])
        assert rows_that_others_wait_for(CostLayer) == {one.pk for one in layers}
        assert rows_that_others_wait_for(Balance) == set()
