"""The books against a slow model of their own: properties of any history of acts.

The properties are those that a ledger of stock must have whatever happens: balances
equal the sum of entries, nothing inside below zero, held pieces equal open holds, a
repeated key changes nothing, the log only grows. The model is a plain dictionary and
shares no code with the ledger.
"""

from collections import Counter

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.domain.givingback import cancel_return, prepare_return, ship_return
from inventory.domain.ledger import NotEnough
from inventory.domain.quarantine import put_aside, put_back
from inventory.domain.reserving import NothingFree, release, reserve, settle
from inventory.models import Balance, CostLayer, Entry, Movement, Reservation
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import ReservationState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver


POCKETS = st.integers(0, 1)
PIECES = st.integers(1, 6)


class BooksMachine(RuleBasedStateMachine):
    """Any history of deliveries, holds, repairs, returns and quarantine."""

    def __init__(self):
        super().__init__()
        # each history starts from empty books and is undone at its end
        self.history = transaction.atomic()
        self.history.__enter__()
        self.store = StoreFactory.create()
        self.part = PartFactory.create()
        self.earmarks = [None, EarmarkFactory.create()]
        self.free = Counter()
        self.aside = Counter()
        self.holds = {}
        self.disputed = Counter()
        self.boxes = {}
        self.received = self.used = self.returned = 0
        self.acts = 0
        self.repeat = None
        self.log = []

    def teardown(self):
        transaction.set_rollback(True)
        self.history.__exit__(None, None, None)

    def fresh(self):
        self.acts += 1
        return f"act {self.acts}"

    @rule(pocket=POCKETS, pieces=PIECES, damaged=st.integers(0, 2))
    def receive(self, pocket, pieces, damaged):
        damaged = min(damaged, pieces)
        deliver(
            self.store,
            self.part,
            pieces,
            earmark=self.earmarks[pocket],
            damaged=damaged,
            number=self.fresh(),
        )
        self.free[pocket] += pieces - damaged
        self.aside[pocket] += damaged
        self.disputed[pocket] += damaged
        self.received += pieces

    @rule(pieces=PIECES, own=st.booleans())
    def hold(self, pieces, own):
        key = self.fresh()
        chain = [1, 0] if own else [0]

        def ask():
            return reserve(
                key=key,
                store=self.store,
                part=self.part,
                quantity=pieces,
                earmarks=[self.earmarks[one] for one in chain],
                subject=key,
                needed_on=TODAY,
                today=TODAY,
                by=None,
                at=NOW,
            )

        if sum(self.free[one] for one in chain) < pieces:
            with pytest.raises(NothingFree):
                ask()
            return
        ask()
        self.repeat = ask
        self.holds[key] = Counter()
        left = pieces
        for one in chain:
            taken = min(left, self.free[one])
            self.free[one] -= taken
            self.holds[key][one] += taken
            left -= taken

    @precondition(lambda self: self.holds)
    @rule(data=st.data(), used=st.integers(0, 8))
    def finish(self, data, used):
        key = data.draw(st.sampled_from(sorted(self.holds)))
        hold = self.holds[key]
        act = self.fresh()

        def fit():
            return settle(
                subject=key,
                store=self.store,
                used={self.part: used},
                earmarks=[self.earmarks[1], None],
                key=act,
                effective_on=TODAY,
                by=None,
                at=NOW,
            )

        beyond = max(used - hold.total(), 0)
        if self.free.total() < beyond:
            with pytest.raises(NotEnough):
                fit()
            return
        assert sum(one.quantity for one in fit()) == used
        self.repeat = fit
        del self.holds[key]
        left = min(used, hold.total())
        for one in (1, 0):
            # reservations are kept in the order of their rows: own pocket first
            taken = min(left, hold[one])
            left -= taken
            self.free[one] += hold[one] - taken
        for one in (1, 0):
            taken = min(beyond, self.free[one])
            beyond -= taken
            self.free[one] -= taken
        self.used += used

    @precondition(lambda self: self.holds)
    @rule(data=st.data())
    def let_go(self, data):
        key = data.draw(st.sampled_from(sorted(self.holds)))
        release(subject=key, by=None, at=NOW, why="changed plans")
        self.free.update(self.holds.pop(key))

    @rule(pocket=POCKETS, pieces=PIECES, back=st.booleans())
    def quarantine(self, pocket, pieces, back):
        source, target = (self.aside, self.free) if back else (self.free, self.aside)
        key = self.fresh()

        def move():
            return (put_back if back else put_aside)(
                key=key,
                store=self.store,
                part=self.part,
                earmark=self.earmarks[pocket],
                quantity=pieces,
                by=None,
                at=NOW,
                why="inspection",
            )

        there = source[pocket]
        if back:
            # pieces boxed for a return or in dispute have papers of their own
            boxed = sum(n for where, n in self.boxes.values() if where == pocket)
            there -= boxed + self.disputed[pocket]
        if there < pieces:
            with pytest.raises(NotEnough):
                move()
            return
        move()
        self.repeat = move
        source[pocket] -= pieces
        target[pocket] += pieces

    @rule(pocket=POCKETS, pieces=PIECES)
    def box(self, pocket, pieces):
        key = self.fresh()

        def prepare():
            return prepare_return(
                key=key,
                store=self.store,
                supplier=self.part.supplier,
                earmark=self.earmarks[pocket],
                lines={self.part: pieces},
                last_date=None,
                restocking_basis_points=0,
                by=None,
                at=NOW,
            )

        if self.free[pocket] < pieces:
            with pytest.raises(NotEnough):
                prepare()
            return
        self.boxes[prepare()] = (pocket, pieces)
        self.repeat = prepare
        self.free[pocket] -= pieces
        self.aside[pocket] += pieces

    @precondition(lambda self: self.boxes)
    @rule(data=st.data(), ship=st.booleans())
    def unbox(self, data, ship):
        row = data.draw(st.sampled_from(sorted(self.boxes, key=lambda one: one.pk)))
        pocket, pieces = self.boxes.pop(row)
        self.aside[pocket] -= pieces
        if ship:
            ship_return(goods_return=row, shipped_on=TODAY, by=None, at=NOW)
            self.returned += pieces
        else:
            cancel_return(goods_return=row, by=None, at=NOW, why="needed")
            self.free[pocket] += pieces

    @precondition(lambda self: self.repeat)
    @rule()
    def press_again(self):
        before = Movement.objects.count(), Entry.objects.count()
        self.repeat()
        assert (Movement.objects.count(), Entry.objects.count()) == before

    @invariant()
    def books_balance(self):
        assert faults_of_the_books() == []

    @invariant()
    def balances_are_those_of_the_model(self):
        held = Counter()
        for hold in self.holds.values():
            held.update(hold)
        rows = {
            self.earmarks.index(row.earmark): (row.free, row.held, row.quarantine)
            for row in Balance.objects.filter(store=self.store).select_related(
                "earmark"
            )
        }
        for pocket in (0, 1):
            model = (self.free[pocket], held[pocket], self.aside[pocket])
            assert rows.get(pocket, (0, 0, 0)) == model

    @invariant()
    def pieces_are_neither_made_nor_lost(self):
        on_hand = sum(row.on_hand for row in Balance.objects.filter(store=self.store))
        assert self.received == on_hand + self.used + self.returned
        left = sum(one.quantity - one.taken for one in CostLayer.objects.all())
        assert left == on_hand

    @invariant()
    def holds_are_used_or_free_again(self):
        live = Reservation.objects.filter(state=ReservationState.HELD)
        assert {row.subject for row in live} == set(self.holds)

    @invariant()
    def log_only_grows(self):
        now = list(
            Entry.objects.order_by("pk").values_list("pk", "account", "quantity")
        )
        assert now[: len(self.log)] == self.log
        self.log = now


@pytest.mark.django_db
def test_any_history_keeps_the_books():
    run_state_machine_as_test(
        BooksMachine,
        settings=settings(
            max_examples=20,
            stateful_step_count=15,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
