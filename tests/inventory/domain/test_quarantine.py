import pytest

from inventory.domain.disputes import settle_dispute
from inventory.domain.givingback import (
    cancel_return,
    prepare_lot_return,
    prepare_return,
    ship_return,
)
from inventory.domain.ledger import NotEnough, NotPieces
from inventory.domain.quarantine import (
    NeverFreed,
    WhyMissing,
    lift_recall,
    put_aside,
    put_back,
    recall_part,
    scrap,
    shares_of,
    take_in_removed,
)
from inventory.domain.reserving import PartRecalled, reserve
from inventory.models import (
    Balance,
    CostLayer,
    Dispute,
    Part,
    QuarantineLot,
    Reservation,
)
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import DisputeState, LotKind, ReservationState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, later, stand


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def aside(store, part, pieces, key="a", **facts):
    more = {"earmark": None, "why": "bent flange"} | facts
    return put_aside(key=key, store=store, part=part, quantity=pieces, **more, **BY)


def leave(act, store, part, pieces, key="l", **facts):
    more = {"earmark": None, "why": "looked at again"} | facts
    return act(key=key, store=store, part=part, quantity=pieces, **more, **BY)


def test_a_lot_leaves_piece_by_piece(store, part):
    deliver(store, part, 10)
    lot = aside(store, part, 5)
    assert stand(store, part) == (5, 0, 5, 0)
    leave(put_back, store, part, 2, "1", lot=lot)
    leave(scrap, store, part, 1, "2", lot=lot)
    lot.refresh_from_db()
    assert (lot.quantity, lot.left) == (5, 2)
    assert [pieces for _layer, pieces in shares_of(lot)] == [2]
    assert stand(store, part) == (7, 0, 2, 0)
    assert faults_of_the_books() == []
    with pytest.raises(NotEnough):
        leave(scrap, store, part, 3, "3", lot=lot)


def test_the_oldest_lot_of_a_pocket_goes_first_and_recalled_ones_are_passed_by(
    store, part
):
    deliver(store, part, 10)
    recalled = aside(store, part, 3, "a", kind=LotKind.RECALLED)
    older, newer = aside(store, part, 2, "b"), aside(store, part, 2, "c")
    leave(put_back, store, part, 3)
    left = QuarantineLot.objects.in_bulk()
    assert [left[lot.pk].left for lot in (recalled, older, newer)] == [3, 0, 1]
    with pytest.raises(NotEnough):
        leave(put_back, store, part, 2, "more")
    assert faults_of_the_books() == []


def test_a_repeat_changes_nothing(store, part):
    deliver(store, part, 10)
    assert aside(store, part, 5) == aside(store, part, 5)
    assert leave(scrap, store, part, 2) == leave(scrap, store, part, 2)
    assert stand(store, part) == (5, 0, 3, 0)


def test_pieces_in_dispute_or_boxed_are_not_touched(store, part):
    """Each has its own paper, which names the very layer it will take."""
    deliver(store, part, 10, damaged=2)
    prepare_return(
        key="r",
        store=store,
        supplier=part.supplier,
        earmark=None,
        lines={part: 3},
        last_date=None,
        restocking_basis_points=0,
        **BY,
    )
    assert stand(store, part) == (5, 0, 5, 0)
    for act in (put_back, scrap):
        with pytest.raises(NotEnough) as refused:
            leave(act, store, part, 1)
        assert refused.value.there == 0


def test_recalled_stock_is_put_aside_everywhere_and_promises_are_taken_back(
    store, part
):
    """49 USC 30120(j): no sale or lease of equipment under a recall decision."""
    other, earmark = StoreFactory.create(), EarmarkFactory.create()
    deliver(store, part, 6)
    deliver(other, part, 3, earmark=earmark)
    reserve(
        key="p",
        store=store,
        part=part,
        quantity=2,
        earmarks=[None],
        subject="visit_job:1",
        needed_on=later(2),
        today=TODAY,
        **BY,
    )
    done = recall_part(part=part, why="maker's notice 26-E-1", **BY)
    assert [row.subject for row in done.broken] == ["visit_job:1"]
    assert stand(store, part) == (0, 0, 6, 0)
    assert stand(other, part, earmark) == (0, 0, 3, 0)
    assert {lot.kind for lot in done.lots} == {LotKind.RECALLED}
    assert Reservation.objects.get().state == ReservationState.RELEASED
    assert faults_of_the_books() == []
    with pytest.raises(PartRecalled):
        leave(put_back, store, part, 1)
    # a repeat finds nothing more
    assert recall_part(part=part, why="again", **BY).lots == ()
    lift_recall(part=part, why="remedied stock", **BY)
    assert not Part.objects.get().recalled
    with pytest.raises(NeverFreed):
        leave(put_back, store, Part.objects.get(), 1, lot=done.lots[0])


def test_what_comes_in_of_a_recalled_part_goes_aside_at_once(store, part):
    recall_part(part=part, why="maker's notice", **BY)
    deliver(store, part, 4, damaged=1)
    assert stand(store, part) == (0, 0, 4, 0)
    assert QuarantineLot.objects.get().quantity == 3


def test_removed_parts_come_in_at_no_cost_and_are_never_freed(store, part):
    lot = take_in_removed(
        key="m", store=store, part=part, quantity=2, why="repair order M-00017", **BY
    )
    assert stand(store, part) == (0, 0, 2, 0)
    assert CostLayer.objects.get().unit_cost_cents == 0
    with pytest.raises(NeverFreed):
        leave(put_back, store, part, 1, lot=lot)
    with pytest.raises(NotEnough):
        leave(put_back, store, part, 1)
    leave(scrap, store, part, 1, "s", lot=lot)
    assert stand(store, part) == (0, 0, 1, 0)
    assert faults_of_the_books() == []


def box_lot(lot, pieces, key="r"):
    return prepare_lot_return(
        key=key,
        lot=lot,
        quantity=pieces,
        last_date=None,
        restocking_basis_points=0,
        **BY,
    )


def test_a_lot_is_sent_back_to_the_supplier(store, part):
    deliver(store, part, 6)
    lot = aside(store, part, 4, kind=LotKind.RECALLED)
    boxed = box_lot(lot, 3)
    assert box_lot(lot, 3) == boxed
    lot.refresh_from_db()
    assert lot.left == 1
    with pytest.raises(NotEnough):
        leave(scrap, store, part, 2, lot=lot)
    ship_return(goods_return=boxed, shipped_on=TODAY, **BY)
    assert stand(store, part) == (2, 0, 1, 0)
    assert Balance.objects.get().returned == 3
    leave(scrap, store, part, 1, "rest", lot=lot)
    assert faults_of_the_books() == []


def test_a_return_that_is_called_off_gives_the_pieces_back_to_their_lot(store, part):
    deliver(store, part, 6)
    lot = aside(store, part, 4, kind=LotKind.RECALLED)
    cancel_return(goods_return=box_lot(lot, 3), why="", **BY)
    lot.refresh_from_db()
    assert (lot.left, stand(store, part)) == (4, (2, 0, 4, 0))
    assert [pieces for _layer, pieces in shares_of(lot)] == [4]


def test_damaged_pieces_leave_by_their_dispute_whatever_the_lots_do(store, part):
    deliver(store, part, 10, damaged=2)
    lot = aside(store, part, 3)
    leave(scrap, store, part, 3, lot=lot)
    dispute = Dispute.objects.get()
    settle_dispute(dispute=dispute, how=DisputeState.CREDITED, dated=TODAY, **BY)
    assert stand(store, part) == (5, 0, 0, 0)
    assert faults_of_the_books() == []


def test_refusals(store, part):
    deliver(store, part, 10)
    with pytest.raises(NotPieces):
        aside(store, part, 0)
    with pytest.raises(WhyMissing):
        aside(store, part, 1, why=" ")
    with pytest.raises(NotEnough):
        aside(store, part, 11)
    with pytest.raises(ValueError, match="shelf"):
        aside(store, part, 1, kind=LotKind.REMOVED)
    lot = aside(store, part, 2)
    with pytest.raises(WhyMissing):
        leave(scrap, store, part, 1, why="")
    with pytest.raises(NotPieces):
        leave(scrap, store, part, 0)
    with pytest.raises(NotPieces):
        box_lot(lot, 0)
    for act in (recall_part, lift_recall):
        with pytest.raises(WhyMissing):
            act(part=part, why=" ", **BY)
    with pytest.raises(WhyMissing):
        take_in_removed(key="m", store=store, part=part, quantity=1, why="", **BY)
    with pytest.raises(NotPieces):
        take_in_removed(key="m", store=store, part=part, quantity=0, why="x", **BY)
