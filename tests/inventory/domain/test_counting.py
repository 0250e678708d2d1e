import pytest

from dealership.models import AuditEntry
from inventory.domain.counting import (
    MOST_LINES,
    CountCannotMove,
    CountedByThemselves,
    CountTakesPromised,
    DifferenceUnexplained,
    LineNotFound,
    NothingToCount,
    TooMuchToCount,
    book_count,
    count_again,
    drop_count,
    enter_count,
    prepare_count,
)
from inventory.domain.ledger import NotEnough, NotPieces
from inventory.domain.quarantine import (
    put_aside,
    scrap,
    shares_of,
    take_in_removed,
)
from inventory.domain.reserving import reserve
from inventory.domain.selling import sell_pieces
from inventory.models import (
    Balance,
    CostLayer,
    QuarantineLot,
    Reservation,
    StockCount,
)
from inventory.queries.books import faults_of_the_books
from inventory.queries.shelves import lots_to_count
from inventory.rules.accounts import CountState, LotKind, ReservationState
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.inventory import BalanceFactory, EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later, stand


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def prepare(store, key="c"):
    return prepare_count(
        key=key,
        store=store,
        pockets=list(Balance.objects.filter(store=store)),
        about="all",
        by=None,
        at=NOW,
    )


def enter(count, *found, by=None):
    lines = count.lines.order_by("pk")
    figures = {line.pk: n for line, n in zip(lines, found, strict=True)}
    return enter_count(count=count, found=figures, by=by, at=NOW)


def book(count, *, taken_back=(), why="recount agrees", by=None, others_may=True):
    return book_count(
        count=count,
        reasons={line.pk: why for line in count.lines.all()},
        taken_back=[row.pk for row in taken_back],
        others_may=others_may,
        by=by,
        at=NOW,
    )


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


def test_missing_pieces_leave_their_oldest_layer(store, part):
    deliver(store, part, 10)
    done = book(enter(prepare(store), 7))
    assert stand(store, part) == (7, 0, 0, 0)
    assert Balance.objects.get().variance == 3
    assert CostLayer.objects.get().taken == 3
    (movement,) = done.movements
    assert movement.why == "recount agrees"
    assert faults_of_the_books() == []


def test_pieces_found_come_in_at_the_last_price(store, part):
    deliver(store, part, 10)
    book(enter(prepare(store), 12))
    assert stand(store, part) == (12, 0, 0, 0)
    found = CostLayer.objects.order_by("pk").last()
    assert (found.quantity, found.unit_cost_cents) == (2, 4_250)
    assert faults_of_the_books() == []


def test_nothing_is_booked_before_it_is_approved(store, part):
    deliver(store, part, 10)
    count = enter(prepare(store), 7)
    assert stand(store, part) == (10, 0, 0, 0)
    line = count.lines.get()
    assert (line.in_books, line.found, line.difference) == (10, 7, -3)
    assert count.state == CountState.ENTERED


def test_what_moves_after_the_count_changes_no_difference(store, part):
    deliver(store, part, 10)
    count = enter(prepare(store), 9)
    sell_pieces(
        key="s",
        store=store,
        part=part,
        earmark=None,
        quantity=4,
        ticket="T-1",
        by=None,
        at=NOW,
    )
    book(count)
    assert stand(store, part) == (5, 0, 0, 0)


def test_who_counted_and_who_approved_is_on_record(store, part):
    deliver(store, part, 10)
    counter, approver = StaffFactory.create_batch(2)
    count = enter(prepare(store), 9, by=counter)
    with pytest.raises(CountedByThemselves):
        book(count, by=counter)
    done = book(count, by=approver).count
    assert (done.counted_by, done.approved_by) == (counter, approver)
    acts = AuditEntry.objects.filter(act__startswith="count.").order_by("pk")
    assert [(one.act, one.by) for one in acts] == [
        ("count.prepared", None),
        ("count.entered", counter),
        ("count.booked", approver),
    ]


def test_alone_in_the_store_one_may_approve_the_own_count(store, part):
    deliver(store, part, 10)
    alone = StaffFactory.create()
    count = enter(prepare(store), 9, by=alone)
    assert book(count, by=alone, others_may=False).count.approved_by == alone


def test_a_difference_wants_its_reason(store, part):
    deliver(store, part, 10)
    count = enter(prepare(store), 9)
    with pytest.raises(DifferenceUnexplained) as refused:
        book(count, why=" ")
    assert part.number in refused.value.sentence
    assert StockCount.objects.get().state == CountState.ENTERED


def test_promised_pieces_are_not_taken_unsaid(store, part):
    deliver(store, part, 5)
    near, far = (
        promise(store, part, 2, later(1), "1"),
        promise(store, part, 2, later(9), "2"),
    )
    count = enter(prepare(store), 2)
    with pytest.raises(CountTakesPromised) as refused:
        book(count)
    assert refused.value.short == 2
    assert refused.value.promises == (far, near)
    assert later(9).isoformat() in refused.value.sentence
    assert stand(store, part) == (1, 4, 0, 0)
    done = book(count, taken_back=[far])
    assert stand(store, part) == (0, 2, 0, 0)
    assert done.told == (Reservation.objects.get(pk=far.pk),)
    states = Reservation.objects.order_by("pk").values_list("state", flat=True)
    assert list(states) == [ReservationState.HELD, ReservationState.RELEASED]
    assert faults_of_the_books() == []


def test_who_loses_a_piece_is_promised_the_next_delivery_if_it_is_in_time(store, part):
    deliver(store, part, 2)
    held = promise(store, part, 2, later(9), "1")
    expect(store, part, 5, on=later(2))
    done = book(enter(prepare(store), 1), taken_back=[held])
    assert done.told == ()
    again = Reservation.objects.live().get()
    assert (again.state, again.quantity, again.subject, again.needed_on) == (
        ReservationState.PROMISED,
        2,
        held.subject,
        held.needed_on,
    )
    # the piece that is still there is free, and kept for that promise
    assert stand(store, part) == (1, 0, 0, 0)


def test_a_promise_of_another_pocket_cannot_be_taken_back(store, part):
    earmark = EarmarkFactory.create()
    deliver(store, part, 3)
    deliver(store, part, 3, earmark=earmark)
    held = promise(store, part, 3, later(2), "1")
    count = prepare(store)
    missing = [1 if line.earmark_id else 3 for line in count.lines.order_by("pk")]
    book(enter(count, *missing), taken_back=[held])
    assert Reservation.objects.get().state == ReservationState.HELD
    assert stand(store, part, earmark) == (1, 0, 0, 0)


def test_a_repeat_changes_nothing(store, part):
    deliver(store, part, 10)
    count = prepare(store)
    assert prepare(store) == count
    assert enter(count, 9) == enter(count, 9)
    with pytest.raises(CountCannotMove):
        enter(count, 8)
    assert book(count).movements == book(count).movements
    assert stand(store, part) == (9, 0, 0, 0)
    with pytest.raises(CountCannotMove):
        drop_count(count=count, by=None, at=NOW)


def test_counted_anew_and_dropped(store, part):
    deliver(store, part, 10)
    count = enter(prepare(store), 9)
    again = count_again(count=count, by=None, at=NOW)
    line = again.lines.get()
    assert (again.state, line.found, line.in_books) == (CountState.PREPARED, None, None)
    thrown = AuditEntry.objects.get(act="count.thrown_away")
    assert thrown.before == {str(line.pk): [10, 9]}
    assert drop_count(count=again, by=None, at=NOW).state == CountState.DROPPED
    with pytest.raises(CountCannotMove):
        enter(count, 9)
    with pytest.raises(CountCannotMove):
        count_again(count=count, by=None, at=NOW)


def test_refusals(store, part):
    with pytest.raises(NothingToCount):
        prepare(store)
    pocket = BalanceFactory.create(store=store, part=part)
    with pytest.raises(TooMuchToCount):
        prepare_count(
            key="many",
            store=store,
            pockets=[pocket] * (MOST_LINES + 1),
            about="all",
            by=None,
            at=NOW,
        )
    count = prepare(store)
    with pytest.raises(LineNotFound):
        enter_count(count=count, found={}, by=None, at=NOW)
    with pytest.raises(NotPieces):
        enter(count, -1)


# Quarantine


def aside(store, part, pieces, *, kind=LotKind.DAMAGED, key="lot"):
    return put_aside(
        key=key, store=store, part=part, earmark=None, quantity=pieces, kind=kind,
        by=None, at=NOW, why="a dented box",
    )  # fmt: skip


def count_all(store, *found, why="counted twice"):
    count = prepare_count(
        key="q",
        store=store,
        pockets=list(Balance.objects.filter(store=store)),
        lots=lots_to_count(store=store, part=None),
        about="all",
        by=None,
        at=NOW,
    )
    return book(enter(count, *found), why=why)


def test_a_piece_missing_from_quarantine_leaves_its_lot_and_layer(store, part):
    deliver(store, part, 10)
    lot = aside(store, part, 4)

    done = count_all(store, 6, 3)

    lot.refresh_from_db()
    assert (lot.left, shares_of(lot)) == (3, [(CostLayer.objects.get(), 3)])
    assert stand(store, part) == (6, 0, 3, 0)
    assert Balance.objects.get().variance == 1
    (movement,) = done.movements
    assert movement.subject == lot.subject
    assert movement.why == f"count {done.count.number}: counted twice"
    assert faults_of_the_books() == []


def test_a_piece_found_in_quarantine_joins_its_lot_and_is_not_free(store, part):
    deliver(store, part, 10)
    lot = aside(store, part, 4, kind=LotKind.RECALLED)

    count_all(store, 6, 5)

    lot.refresh_from_db()
    assert (lot.left, lot.quantity) == (5, 5)
    assert stand(store, part) == (6, 0, 5, 0)
    assert sum(pieces for _layer, pieces in shares_of(lot)) == 5
    scrap(
        key="s", store=store, part=part, earmark=None, quantity=5, lot=lot,
        by=None, at=NOW, why="crushed",
    )  # fmt: skip
    assert faults_of_the_books() == []


def test_removed_parts_that_are_found_have_cost_nothing(store, part):
    take_in_removed(
        key="r", store=store, part=part, quantity=1, by=None, at=NOW, why="EMR-00001"
    )
    count_all(store, 0, 2)
    assert set(CostLayer.objects.values_list("unit_cost_cents", flat=True)) == {0}
    assert stand(store, part) == (0, 0, 2, 0)
    assert faults_of_the_books() == []


def test_shelf_and_lots_of_one_part_are_lines_of_their_own(store, part):
    """A piece that lies in the wrong place is two differences that cancel out."""
    deliver(store, part, 10)
    first, second = aside(store, part, 2, key="1"), aside(store, part, 3, key="2")
    count_all(store, 6, 2, 2)
    assert [QuarantineLot.objects.get(pk=one.pk).left for one in (first, second)] == [
        2,
        2,
    ]
    assert stand(store, part) == (6, 0, 4, 0)
    assert Balance.objects.get().variance == 0
    assert faults_of_the_books() == []


def test_quarantine_is_no_excuse_to_take_a_promised_piece(store, part):
    """What lacks in quarantine is not taken from what is held, and asks nobody."""
    deliver(store, part, 4)
    aside(store, part, 1)
    promise(store, part, 3, TODAY, "v")
    done = count_all(store, 3, 0)
    assert done.told == ()
    assert stand(store, part) == (0, 3, 0, 0)
    assert faults_of_the_books() == []


def test_a_difference_in_quarantine_wants_its_reason_too(store, part):
    deliver(store, part, 4)
    aside(store, part, 1)
    with pytest.raises(DifferenceUnexplained):
        count_all(store, 3, 0, why=" ")
    assert stand(store, part) == (3, 0, 1, 0)


def test_what_left_a_lot_after_the_count_is_not_missed_twice(store, part):
    deliver(store, part, 4)
    lot = aside(store, part, 2)
    count = prepare_count(
        key="q", store=store, pockets=[], lots=[lot], about="quarantine",
        by=None, at=NOW,
    )  # fmt: skip
    enter(count, 1)
    scrap(
        key="s", store=store, part=part, earmark=None, quantity=2, lot=lot,
        by=None, at=NOW, why="crushed",
    )  # fmt: skip
    with pytest.raises(NotEnough):
        book(count)
    assert stand(store, part) == (2, 0, 0, 0)
    assert faults_of_the_books() == []
