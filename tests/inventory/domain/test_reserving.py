import pytest

from dealership.models import AuditEntry
from inventory.domain.ledger import NotEnough, NotPieces
from inventory.domain.reserving import (
    NothingFree,
    PartRecalled,
    keep_promises,
    lapse,
    release,
    reserve,
    settle,
)
from inventory.models import Movement, Reservation
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import ReservationState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later, stand


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


@pytest.fixture
def earmark():
    return EarmarkFactory.create()


def ask(
    store,
    part,
    quantity,
    *,
    key="k",
    earmarks=(None,),
    needed_on=TODAY,
    subject="visit_job:1",
):
    return reserve(
        key=key,
        store=store,
        part=part,
        quantity=quantity,
        earmarks=list(earmarks),
        subject=subject,
        needed_on=needed_on,
        today=TODAY,
        by=None,
        at=NOW,
    )


def finish(store, used, *, key="s", earmarks=(None,), subject="visit_job:1"):
    return settle(
        subject=subject,
        store=store,
        used=used,
        earmarks=list(earmarks),
        key=key,
        effective_on=TODAY,
        by=None,
        at=NOW,
    )


def test_free_pieces_are_held(store, part):
    deliver(store, part, 10)
    made = ask(store, part, 4)
    assert [(row.quantity, row.state) for row in made] == [(4, ReservationState.HELD)]
    assert stand(store, part) == (6, 4, 0, 0)
    assert faults_of_the_books() == []


def test_own_earmark_goes_first_and_the_rest_follows(store, part, earmark):
    deliver(store, part, 3, earmark=earmark)
    deliver(store, part, 5)
    made = ask(store, part, 4, earmarks=(earmark, None))
    assert [(row.earmark, row.quantity) for row in made] == [(earmark, 3), (None, 1)]
    assert stand(store, part, earmark) == (0, 3, 0, 0)
    assert stand(store, part) == (4, 1, 0, 0)
    assert faults_of_the_books() == []


def test_stock_set_apart_is_not_given_to_others(store, part, earmark):
    deliver(store, part, 3, earmark=earmark)
    with pytest.raises(NothingFree) as refusal:
        ask(store, part, 1)
    assert (refusal.value.wanted, refusal.value.free_now) == (1, 0)
    assert refusal.value.earliest is None
    assert stand(store, part, earmark) == (3, 0, 0, 0)


def test_same_key_gives_the_first_result(store, part):
    deliver(store, part, 10)
    first = ask(store, part, 4)
    assert ask(store, part, 4) == first
    assert stand(store, part) == (6, 4, 0, 0)
    assert AuditEntry.objects.filter(act="reservation.made").count() == 1


def test_same_key_gives_the_first_result_when_nothing_is_left(store, part):
    deliver(store, part, 4)
    first = ask(store, part, 4)
    assert ask(store, part, 4) == first


def test_refusal_leaves_no_trace(store, part):
    deliver(store, part, 2)
    before = Movement.objects.count()
    with pytest.raises(NothingFree):
        ask(store, part, 3)
    assert Movement.objects.count() == before
    assert not Reservation.objects.exists()
    assert faults_of_the_books() == []


def test_coming_delivery_is_promised_from_the_day_after_it(store, part):
    expect(store, part, 5, on=later(5))
    with pytest.raises(NothingFree) as refusal:
        ask(store, part, 2, needed_on=later(5))
    # 30 November 2026 is a Monday: the pieces count from Tuesday's opening
    assert refusal.value.earliest == later(6)
    made = ask(store, part, 2, needed_on=later(6))
    assert [(row.quantity, row.state) for row in made] == [
        (2, ReservationState.PROMISED)
    ]
    assert stand(store, part) == (0, 0, 0, 0)


def test_delivery_is_promised_once(store, part):
    expect(store, part, 5, on=later(5))
    ask(store, part, 4, key="a", needed_on=later(10), subject="visit_job:1")
    with pytest.raises(NothingFree):
        ask(store, part, 2, key="b", needed_on=later(20), subject="visit_job:2")


def test_late_delivery_does_not_let_anybody_take_promised_pieces(store, part):
    shipment = expect(store, part, 5, on=later(1))
    ask(store, part, 4, key="a", needed_on=later(5))
    shipment.expected_on = later(-1)
    shipment.save()
    deliver(store, part, 5)
    with pytest.raises(NothingFree) as refusal:
        ask(store, part, 2, key="b", subject="visit_job:2")
    assert refusal.value.free_now == 1


def test_promise_of_an_earmark_counts_against_common_stock(store, part, earmark):
    expect(store, part, 5, on=later(1))
    ask(store, part, 5, key="a", earmarks=(earmark, None), needed_on=later(5))
    with pytest.raises(NothingFree):
        ask(store, part, 1, key="b", needed_on=later(9), subject="visit_job:2")


def test_promises_are_kept_first_needed_first(store, part):
    expect(store, part, 6, on=later(1))
    late = ask(store, part, 3, key="a", needed_on=later(9), subject="visit_job:1")[0]
    soon = ask(store, part, 3, key="b", needed_on=later(5), subject="visit_job:2")[0]
    deliver(store, part, 4)
    kept = keep_promises(store=store, part=part, by=None, at=NOW, today=TODAY)
    assert [row.pk for row in kept] == [soon.pk]
    late.refresh_from_db()
    assert late.state == ReservationState.PROMISED
    assert stand(store, part) == (1, 3, 0, 0)
    assert keep_promises(store=store, part=part, by=None, at=NOW, today=TODAY) == ()
    assert faults_of_the_books() == []


def test_promise_kept_from_two_pockets_is_split(store, part, earmark):
    expect(store, part, 6, on=later(1), earmark=earmark)
    ask(store, part, 5, earmarks=(earmark, None), needed_on=later(5))
    deliver(store, part, 3, earmark=earmark)
    deliver(store, part, 2)
    kept = keep_promises(store=store, part=part, by=None, at=NOW, today=TODAY)
    assert [(row.earmark, row.quantity) for row in kept] == [(earmark, 3), (None, 2)]
    assert sum(r.quantity for r in Reservation.objects.all()) == 5
    assert faults_of_the_books() == []


def test_settling_uses_and_frees_the_rest(store, part):
    deliver(store, part, 10)
    ask(store, part, 4)
    fitted = finish(store, {part: 3})
    assert [(one.part, one.quantity, one.unit_cost_cents) for one in fitted] == [
        (part, 3, 4_250)
    ]
    assert stand(store, part) == (7, 0, 0, 3)
    row = Reservation.objects.get()
    assert (row.state, row.used) == (ReservationState.SETTLED, 3)
    assert finish(store, {part: 3}) == fitted
    assert stand(store, part) == (7, 0, 0, 3)
    assert faults_of_the_books() == []


def test_pieces_beyond_the_hold_come_from_free_stock(store, part, earmark):
    deliver(store, part, 2, earmark=earmark)
    deliver(store, part, 5)
    ask(store, part, 1, earmarks=(earmark, None))
    fitted = finish(store, {part: 4}, earmarks=(earmark, None))
    assert sum(one.quantity for one in fitted) == 4
    assert stand(store, part, earmark) == (0, 0, 0, 2)
    assert stand(store, part) == (3, 0, 0, 2)
    assert faults_of_the_books() == []


def test_settling_without_enough_changes_nothing(store, part):
    deliver(store, part, 2)
    ask(store, part, 1)
    with pytest.raises(NotEnough) as refusal:
        finish(store, {part: 4})
    assert (refusal.value.wanted, refusal.value.there) == (3, 1)
    assert stand(store, part) == (1, 1, 0, 0)
    assert Reservation.objects.get().state == ReservationState.HELD


def test_settling_nothing_frees_all(store, part):
    deliver(store, part, 2)
    ask(store, part, 2)
    assert finish(store, {}) == ()
    assert stand(store, part) == (2, 0, 0, 0)
    assert Reservation.objects.get().state == ReservationState.SETTLED


@pytest.mark.parametrize(
    ("let_go", "state"),
    [(release, ReservationState.RELEASED), (lapse, ReservationState.LAPSED)],
)
def test_letting_go_frees_and_keeps_other_promises(store, part, let_go, state):
    deliver(store, part, 3)
    ask(store, part, 3, key="a", subject="visit_job:1")
    expect(store, part, 2, on=later(1))
    waiting = ask(store, part, 2, key="b", needed_on=later(8), subject="visit_job:2")[0]
    gone = let_go(subject="visit_job:1", by=None, at=NOW, why="did not come")
    assert [row.state for row in gone] == [state]
    waiting.refresh_from_db()
    assert waiting.state == ReservationState.HELD
    assert stand(store, part) == (1, 2, 0, 0)
    assert let_go(subject="visit_job:1", by=None, at=NOW, why="again") == ()
    assert faults_of_the_books() == []


def test_recalled_part_is_neither_promised_nor_fitted(store, part):
    deliver(store, part, 3)
    part.recalled = True
    part.save()
    with pytest.raises(PartRecalled):
        ask(store, part, 1)
    with pytest.raises(PartRecalled):
        finish(store, {part: 1})


@pytest.mark.parametrize("quantity", [0, -3])
def test_only_whole_pieces_are_promised(store, part, quantity):
    with pytest.raises(NotPieces):
        ask(store, part, quantity)


def test_negative_use_is_refused(store, part):
    with pytest.raises(NotPieces):
        finish(store, {part: -1})
