"""Any history of acts in the books, against slow books of their own.

``./mendroll prove machine --size full`` tries twenty times as many.
"""

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.proofs.machine import PROPERTIES, BooksMachine
from tests.proofs.slowbooks import FAR, SOON


HERE, THERE = 0, 1
PART, OTHER = 0, 1
COMMON, APART = 0, 1


@pytest.mark.django_db
@pytest.mark.timeout(7_200)
def test_any_history_keeps_the_books():
    run_state_machine_as_test(
        BooksMachine,
        settings=settings(
            max_examples=settings.default.max_examples // 16,
            stateful_step_count=20,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def a_day(machine):
    """Do every kind of act once or twice, in an order that lets each succeed."""
    mine = (HERE, PART, APART)
    yield machine.fill_the_shelves([2, 6, 6, 0, 3, 0, 0, 0])
    yield machine.announce(mine, 6, billed=True, expected=2)
    yield machine.promise(HERE, [APART, COMMON], {PART: 11}, FAR)
    yield machine.receive(None, damaged=1, short=2, early=True)
    yield machine.worker_runs(HERE, PART)
    yield machine.have_delivered(mine, 6)
    yield machine.worker_runs(HERE, PART)
    yield machine.end_dispute(None, "credited")
    yield machine.await_replacement(None)
    yield machine.receive(None, damaged=0, short=0, early=False)
    yield machine.press_again()
    yield machine.finish(None, {PART: 3}, [APART, COMMON])
    yield machine.ask_for_the_last((HERE, OTHER, COMMON), [COMMON], SOON)
    yield machine.let_go(None, missed=True)
    yield machine.set_aside((HERE, OTHER, COMMON), 2)
    yield machine.look_at_lots(None, 1, back=True)
    yield machine.look_at_lots(None, 1, back=False)
    yield machine.take_in(HERE, PART, 1)
    yield machine.sell(mine, 1)
    yield machine.sell((HERE, OTHER, COMMON), 6)
    yield machine.box(mine, 2)
    yield machine.unbox(None, "credit")
    yield machine.box(mine, 1)
    yield machine.unbox(None, "unbox")
    yield machine.send((THERE, PART, COMMON), 3)
    yield machine.arrive(None, damaged=1, lost=1)
    yield machine.send(mine, 2)
    yield machine.turn_back(None)
    yield machine.count(mine, -1)
    yield machine.book(None, take_back=False)
    yield machine.replace_the_number(ends=False)
    yield machine.remedy(0, 2)
    yield machine.remedy(0, 1)
    yield machine.claim("submit", full=True)
    yield machine.claim("pay", full=False)


@pytest.mark.django_db
def test_one_day_checks_each_property():
    BooksMachine.seen.clear()
    machine = BooksMachine()
    try:
        for _act in a_day(machine):
            for always in machine.invariants:
                always.function(machine)
    finally:
        machine.teardown()
    assert set(BooksMachine.seen) == set(PROPERTIES)
