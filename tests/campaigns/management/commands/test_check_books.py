from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from inventory.models import Balance, CostLayer, Reservation
from inventory.rules.accounts import ReservationState
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import MovementFactory, PartFactory, ReservationFactory
from tests.inventory.books import deliver


pytestmark = pytest.mark.django_db


@pytest.fixture
def books():
    store, part = StoreFactory.create(), PartFactory.create()
    deliver(store, part, 10, damaged=1)
    return store, part


def prove():
    out = StringIO()
    try:
        call_command("check_books", stdout=out)
    except CommandError as error:
        return f"{out.getvalue()}{error}"
    return out.getvalue()


def test_sound_books_are_proved(books):
    # two lines of one delivery: in order and damaged, each with its counterpart
    assert prove() == "The books balance: 4 entries and 0 accounts proved.\n"


def test_wrong_balance_is_named(books):
    store, part = books
    Balance.objects.update(free=11, supplier=-11)
    told = prove()
    place = f"store {store.pk} part {part.pk} earmark none"
    assert f"{place} free is 11, should be 9" in told
    assert "do not balance in 4 places" in told


def test_hold_without_pieces_is_named(books):
    store, part = books
    ReservationFactory.create(
        store=store, part=part, quantity=2, state=ReservationState.HELD
    )
    assert "is 0, should be 2" in prove()
    Reservation.objects.all().delete()
    assert "The books balance" in prove()


def test_layer_that_lost_count_is_named(books):
    CostLayer.objects.update(taken=3)
    told = prove()
    assert "is 7, should be 10" in told


def test_movement_without_entries_is_named(books):
    MovementFactory.create()
    assert "a movement has lines: movements is 2, should be 1" in prove()
