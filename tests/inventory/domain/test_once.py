"""An act asked for twice is done once, and a real refusal still comes through."""

import pytest
from django.db import IntegrityError

from inventory.domain.ledger import NotPieces
from inventory.domain.once import once
from inventory.models import BinLocation
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import BinLocationFactory, PartFactory


pytestmark = pytest.mark.django_db


def finder(store):
    return lambda: BinLocation.objects.filter(store=store, code="A-77").first()


def test_the_second_time_answers_with_the_first_result():
    store = StoreFactory.create()

    def act():
        return BinLocation.objects.create(store=store, code="A-77")

    first = once(found=finder(store), act=act)

    assert once(found=finder(store), act=act) == first
    assert BinLocation.objects.filter(store=store).count() == 1


def test_the_later_of_two_that_race_reads_what_the_earlier_made():
    store = StoreFactory.create()
    rows = iter([None, BinLocationFactory.create(store=store, code="A-77")])

    def act():
        return BinLocation.objects.create(store=store, code="A-77")

    assert once(found=lambda: next(rows), act=act).code == "A-77"
    assert BinLocation.objects.filter(store=store).count() == 1


def test_what_really_fails_comes_through_and_leaves_nothing():
    store, part = StoreFactory.create(), PartFactory.create()

    def act():
        BinLocation.objects.create(store=store, code="A-78")
        raise NotPieces(part, 0)

    with pytest.raises(NotPieces):
        once(found=finder(store), act=act)
    assert not BinLocation.objects.filter(store=store).exists()


def test_a_broken_constraint_that_nobody_explains_comes_through():
    store = StoreFactory.create()
    BinLocationFactory.create(store=store, code="B-01")

    with pytest.raises(IntegrityError):
        once(
            found=finder(store),
            act=lambda: BinLocation.objects.create(store=store, code="B-01"),
        )
