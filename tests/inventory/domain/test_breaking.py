import pytest
from django.db import transaction

from dealership.models import AuditEntry
from inventory.domain.breaking import break_promises, promise_again
from inventory.domain.ledger import NotEnough
from inventory.domain.reserving import reserve
from inventory.domain.spare import hold_spare
from inventory.models import Reservation
from inventory.rules.accounts import ReservationState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.inventory.books import deliver, expect, later, stand


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def promise(store, part, pieces, day, key):
    (row,) = reserve(
        key=key,
        store=store,
        part=part,
        quantity=pieces,
        earmarks=[None],
        subject=f"visit_job:{key}",
        needed_on=day,
        today=TODAY,
        by=None,
        at=NOW,
    )
    return row


def take_back(store, *rows):
    with transaction.atomic():
        return break_promises(
            store=store, ids=[row.pk for row in rows], by=None, at=NOW, why="lost"
        )


def test_a_hold_and_a_promise_are_taken_back_once_and_on_record(store, part):
    deliver(store, part, 3)
    expect(store, part, 2, on=later(2))
    held = promise(store, part, 3, later(1), "1")
    promised = promise(store, part, 2, later(5), "2")
    assert len(take_back(store, held, promised)) == 2
    assert take_back(store, held, promised) == []
    assert stand(store, part) == (3, 0, 0, 0)
    assert set(Reservation.objects.values_list("state", flat=True)) == {
        ReservationState.RELEASED
    }
    assert AuditEntry.objects.filter(act="reservation.broken").count() == 2


def test_another_store_s_promise_is_left_alone(store, part):
    other = StoreFactory.create()
    deliver(other, part, 3)
    held = promise(other, part, 3, later(1), "1")
    assert take_back(store, held) == []
    assert stand(other, part) == (0, 3, 0, 0)


def test_who_needs_it_first_is_promised_again_first(store, part):
    deliver(store, part, 4)
    late, soon = (
        promise(store, part, 2, later(9), "1"),
        promise(store, part, 2, later(1), "2"),
    )
    broken = take_back(store, late, soon)
    promise(store, part, 2, later(1), "3")
    assert promise_again(broken=broken, by=None, at=NOW) == [late]
    live = Reservation.objects.live().order_by("pk")
    assert [row.subject for row in live] == ["visit_job:3", "visit_job:2"]


def test_spare_is_what_no_promise_counts_on(store, part):
    deliver(store, part, 5)
    promise(store, part, 3, later(9), "1")
    with transaction.atomic():
        hold_spare(store=store, earmark=None, lines={part: 2}, today=TODAY)
    with pytest.raises(NotEnough), transaction.atomic():
        hold_spare(store=store, earmark=None, lines={part: 3}, today=TODAY)
