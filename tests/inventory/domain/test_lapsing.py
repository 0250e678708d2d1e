"""Parts held for who did not come are let go after the store's days of grace."""

import datetime as dt

import pytest

from inventory.domain import lapsing
from inventory.domain.lapsing import lapse_overdue, tells_who_comes
from inventory.models import Reservation
from inventory.rules.accounts import ReservationState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import ReservationFactory


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create(no_show_grace_days=2)


@pytest.fixture
def nobody_speaks(monkeypatch):
    """Begin with nobody registered, and leave the house's own as they were."""
    monkeypatch.setattr(lapsing, "_still_wanted", {})


def promised(store, subject, days_ago):
    return ReservationFactory.create(
        store=store, subject=subject, needed_on=TODAY - dt.timedelta(days=days_ago)
    )


def lapse(store):
    gone = lapse_overdue(store=store, today=TODAY, by=None, at=NOW)
    return {one.subject for one in gone}


@pytest.mark.usefixtures("nobody_speaks")
def test_days_of_grace_count_from_the_day_of_need(store):
    late = promised(store, "box:1", 3)
    promised(store, "box:2", 2)

    assert lapse(store) == {"box:1"}
    assert lapse(store) == set()
    late.refresh_from_db()
    assert late.state == ReservationState.LAPSED


@pytest.mark.usefixtures("nobody_speaks")
def test_who_still_comes_keeps_the_parts(store):
    asked = []

    @tells_who_comes("box")
    def box_two_comes(ids, first_good_day):
        asked.append((sorted(ids), first_good_day))
        return {2}

    for number in (1, 2):
        promised(store, f"box:{number}", 9)
    promised(store, "crate:2", 9)

    assert lapse(store) == {"box:1", "crate:2"}
    assert asked == [([1, 2], TODAY - dt.timedelta(days=2))]


@pytest.mark.usefixtures("nobody_speaks")
def test_another_stores_promises_stay(store):
    other = promised(StoreFactory.create(no_show_grace_days=2), "box:1", 9)

    assert lapse(store) == set()
    assert Reservation.objects.live().get() == other
