"""Movements of a part with what stood after each, and the layers that are left."""

import datetime as dt
import itertools

import pytest

from inventory.domain.reserving import reserve, settle
from inventory.models import CostLayer
from inventory.queries.journal import journal, layers_left, movements_of
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.inventory.books import deliver


pytestmark = pytest.mark.django_db


@pytest.fixture
def told():
    """Ten pieces come, three are held, two of them fitted."""
    store, part = StoreFactory.create(), PartFactory.create()
    deliver(store, part, 10, damaged=1)
    reserve(
        key="r",
        store=store,
        part=part,
        quantity=3,
        earmarks=[None],
        subject="visit_job:1",
        needed_on=TODAY,
        today=TODAY,
        by=None,
        at=NOW,
    )
    settle(
        key="s",
        store=store,
        subject="visit_job:1",
        used={part: 2},
        earmarks=[None],
        effective_on=TODAY,
        by=None,
        at=NOW + dt.timedelta(hours=1),
    )
    return store, part


def rows_of(store, part):
    return journal(store=store, part=part, ids=movements_of(store=store, part=part))


def test_the_newest_comes_first_with_its_running_balance(told):
    rows = rows_of(*told)

    assert [row.after for row in rows][-1] == 10
    assert rows[0].after == 8
    assert rows[0].free_after == 7
    changes = [row.change for row in rows]
    assert sum(changes) == 8
    for newer, older in itertools.pairwise(rows):
        assert newer.after == older.after + newer.change


def test_a_page_further_down_stands_on_the_same_balance(told):
    store, part = told
    ids = movements_of(store=store, part=part)
    whole = journal(store=store, part=part, ids=ids)

    for place, pk in enumerate(ids):
        (row,) = journal(store=store, part=part, ids=[pk])
        assert (row.after, row.free_after) == (
            whole[place].after,
            whole[place].free_after,
        )


def test_steps_that_go_the_same_way_are_joined(told):
    received = rows_of(*told)[-1]

    assert sorted(pieces for _from, _to, pieces in received.steps) == [1, 9]


def test_nothing_moved_is_an_empty_page(told):
    store, _part = told

    assert journal(store=store, part=PartFactory.create(), ids=[]) == []
    assert movements_of(store=StoreFactory.create(), part=told[1]) == []


def test_layers_left_have_their_pieces_and_cents(told):
    store, part = told
    layer = CostLayer.objects.get(store=store, part=part)

    (row,) = layers_left(store=store, part=part)

    assert (row.layer, row.left) == (layer, 8)
    assert row.cents == 8 * layer.unit_cost_cents
