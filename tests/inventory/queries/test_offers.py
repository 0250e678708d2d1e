"""Whoever registers tells what is offered; all of them count together."""

import pytest

from inventory.queries import offers
from inventory.queries.offers import keeps, offered
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory


pytestmark = pytest.mark.django_db


def test_all_who_registered_are_asked_and_added_up(monkeypatch):
    store, part = StoreFactory.create(), PartFactory.create()
    asked = []
    monkeypatch.setattr(offers, "_keepers", list(offers._keepers))

    @keeps
    def one(place, part_ids, today):
        asked.append((place, list(part_ids), today))
        return {(part.pk, None): 2}

    @keeps
    def another(_place, _part_ids, _today):
        return {(part.pk, None): 1, (part.pk, 7): 4}

    found = offered(store=store, part_ids=[part.pk], today=TODAY)

    assert found == {(part.pk, None): 3, (part.pk, 7): 4}
    assert asked == [(store, [part.pk], TODAY)]


def test_where_nobody_waits_nothing_is_kept():
    store, part = StoreFactory.create(), PartFactory.create()
    assert offered(store=store, part_ids=[part.pk], today=TODAY) == {}
