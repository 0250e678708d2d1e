"""Old and new numbers together, against a shelf of each."""

import datetime as dt

import pytest

from inventory.models import Part
from inventory.queries.numbers import (
    Needs,
    as_numbers,
    draw_together,
    numbers_of,
    ordered_as,
    part_ids_of,
    read_chains,
)
from inventory.queries.stock import stock_of
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import announce, put_on_shelf


pytestmark = pytest.mark.django_db

MONDAY = dt.date(2026, 11, 30)


def three() -> list[Part]:
    """Make a chain of three numbers, the oldest first."""
    new = PartFactory.create()
    middle = PartFactory.create(superseded_by=new)
    return [PartFactory.create(superseded_by=middle), middle, new]


def test_the_whole_chain_is_read_in_one_statement_from_any_of_its_numbers(
    django_assert_num_queries,
):
    chain = three()
    PartFactory.create()
    for part in chain:
        with django_assert_num_queries(1):
            found = read_chains([part.pk])
        assert set(found.parts) == {one.pk for one in chain}
        assert found.serving(part, older=True) == tuple(chain)


def test_nothing_is_asked_about_nothing(django_assert_num_queries):
    with django_assert_num_queries(0):
        assert read_chains([]).parts == {}


def test_needs_are_a_mapping_that_knows_the_numbers():
    old, middle, new = three()
    needs = Needs({middle: 2}, {middle.pk: (old, middle, new)})
    assert needs == {middle: 2}
    assert (numbers_of(needs, middle), ordered_as(needs, middle)) == (
        (old, middle, new),
        new,
    )
    assert part_ids_of(needs) == {old.pk, middle.pk, new.pk}
    assert (numbers_of({new: 1}, new), part_ids_of({new: 1})) == ((new,), {new.pk})


def test_what_comes_of_the_one_and_lies_of_the_other_is_promised_together():
    store = StoreFactory.create()
    old, middle, new = three()
    put_on_shelf(store, old, 1)
    put_on_shelf(store, middle, 1)
    announce(store, new, 3, on=dt.date(2026, 11, 27))
    stock = stock_of(store=store, part_ids=[old.pk, middle.pk, new.pk])

    found = draw_together(
        stock, numbers=[old, middle, new], earmark_ids={None}, today=TODAY
    )

    assert found.free_now == 2
    assert [found.earliest(n) for n in (2, 5, 6)] == [TODAY, MONDAY, None]


@pytest.mark.parametrize(
    ("pieces", "on", "taken"),
    [(1, TODAY, {"old": 1}), (2, TODAY, {"new": 2}), (4, MONDAY, {"new": 4})],
)
def test_the_numbers_that_are_taken(pieces, on, taken):
    store, new = StoreFactory.create(), PartFactory.create(number="new")
    old = PartFactory.create(number="old", superseded_by=new)
    put_on_shelf(store, old, 1)
    put_on_shelf(store, new, 2)
    announce(store, new, 2, on=dt.date(2026, 11, 27))

    found = as_numbers(
        Needs({new: pieces}, {new.pk: (old, new)}),
        stock=stock_of(store=store, part_ids=[old.pk, new.pk]),
        earmark_ids={None},
        today=TODAY,
        on=on,
    )

    assert {part.number: n for part, n in found.items()} == taken
