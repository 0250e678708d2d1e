import pytest

from dealership.models import AuditEntry
from dealership.rules.roles import Role
from inventory.domain.ledger import NotEnough
from inventory.domain.quarantine import put_aside, scrap
from inventory.domain.reserving import PartRecalled
from inventory.domain.selling import SetApart, TicketMissing, sell_pieces
from inventory.domain.writingoff import (
    NoReasonToGiveUp,
    NothingLost,
    write_off_pieces,
)
from inventory.models import Balance, Movement, WriteOff
from inventory.queries.books import faults_of_the_books
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, stand


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def sell(store, part, pieces, *, earmark=None, by=None, why="", key="s", ticket="T-7"):
    return sell_pieces(
        key=key,
        store=store,
        part=part,
        earmark=earmark,
        quantity=pieces,
        ticket=ticket,
        why_set_apart=why,
        by=by,
        at=NOW,
    )


def test_common_stock_is_sold(store, part):
    deliver(store, part, 5)
    movement = sell(store, part, 2)
    assert sell(store, part, 2) == movement
    assert stand(store, part) == (3, 0, 0, 0)
    assert (Balance.objects.get().sold, movement.why) == (2, "ticket T-7")
    assert AuditEntry.objects.filter(act="pieces.sold").count() == 1
    assert faults_of_the_books() == []


def test_a_first_batch_is_sold_by_who_may_and_says_why(store, part):
    earmark = EarmarkFactory.create()
    deliver(store, part, 5, earmark=earmark)
    parts = make_staff(Role.PARTS_MANAGER, store)
    chief = make_staff(Role.SERVICE_MANAGER, store)
    for by, why in ((None, "urgent"), (parts, "urgent"), (chief, " ")):
        with pytest.raises(SetApart):
            sell(store, part, 1, earmark=earmark, by=by, why=why)
    elsewhere = make_staff(Role.SERVICE_MANAGER, StoreFactory.create())
    with pytest.raises(SetApart):
        sell(store, part, 1, earmark=earmark, by=elsewhere, why="urgent")
    assert not Movement.objects.filter(kind="sell").exists()
    movement = sell(store, part, 1, earmark=earmark, by=chief, why="stranded family")
    assert movement.why == "ticket T-7. stranded family"
    trail = AuditEntry.objects.get(act="pieces.sold_set_apart")
    assert (trail.by, trail.after["earmark"]) == (chief, earmark.pk)


def test_common_stock_is_not_topped_up_from_what_is_set_apart(store, part):
    deliver(store, part, 1)
    deliver(store, part, 5, earmark=EarmarkFactory.create())
    with pytest.raises(NotEnough):
        sell(store, part, 2)


def test_refusals(store, part):
    deliver(store, part, 5)
    with pytest.raises(TicketMissing):
        sell(store, part, 1, ticket=" ")
    part.recalled = True
    with pytest.raises(PartRecalled):
        sell(store, part, 1)


def scrapped(store, part, earmark=None):
    facts = {"store": store, "part": part, "earmark": earmark, "by": None, "at": NOW}
    put_aside(key="a", quantity=3, why="crushed", **facts)
    return scrap(key="x", quantity=3, why="crushed", **facts)


def give_up(movement, why="carrier is gone"):
    return write_off_pieces(movement=movement, why=why, dated=TODAY, by=None, at=NOW)


def test_the_cents_of_scrapped_pieces_are_given_up_once(store, part):
    earmark = EarmarkFactory.create()
    deliver(store, part, 5, earmark=earmark)
    movement = scrapped(store, part, earmark)
    (row,) = give_up(movement)
    assert (row.cents, row.earmark, row.store) == (3 * 4_250, earmark, store)
    assert give_up(movement) == [row]
    assert WriteOff.objects.count() == 1
    assert AuditEntry.objects.filter(act="pieces.written_off").count() == 1


def test_giving_up_is_refused_without_a_reason_or_a_loss(store, part):
    deliver(store, part, 5)
    movement = scrapped(store, part)
    with pytest.raises(NoReasonToGiveUp):
        give_up(movement, " ")
    with pytest.raises(NothingLost):
        give_up(sell(store, part, 1))
