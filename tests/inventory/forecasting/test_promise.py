"""The promise line against a published example and brute force."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dealership.rules.workdays import next_business_day
from inventory.forecasting import promise
from inventory.forecasting.promise import Receipt, Reserved


TODAY = date(2026, 3, 2)  # a Monday

# Stevenson, Operations Management, 14th ed., ch. 11, industrial pumps: on hand 64,
# customers' orders by week, lots of 70 in weeks 3, 5, 7, 8. Inputs and the first
# figure (11) from the book, the rest recomputed by its rule.
ORDERS = [33, 20, 10, 4, 2, 0, 0, 0]
LOTS = [0, 0, 70, 0, 70, 0, 70, 70]


def test_published_example_available_to_promise():
    found = promise.available_to_promise(64, LOTS, ORDERS)
    assert found == [11, None, 56, None, 68, None, 70, 70]


def test_published_example_balance_and_promise():
    balance = promise.running_balance(64, LOTS, ORDERS)
    assert balance == [31, 11, 71, 67, 135, 135, 205, 275]
    assert promise.promise_line(balance) == [11, 11, 67, 67, 135, 135, 205, 275]


def day(offset):
    return TODAY + timedelta(days=offset)


def draw(**facts):
    return promise.draw_promise_line(
        today=TODAY, next_working_day=next_business_day, **facts
    )


BUCKETS = st.lists(
    st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=1, max_size=15
)


@settings(deadline=None)
@given(st.integers(0, 40), BUCKETS)
def test_discrete_figures_add_up_to_the_line(on_hand, buckets):
    receipts, reserved = (list(column) for column in zip(*buckets, strict=True))
    line = promise.promise_line(promise.running_balance(on_hand, receipts, reserved))
    found = promise.available_to_promise(on_hand, receipts, reserved)
    running = 0
    for place, pieces in enumerate(found):
        if pieces is not None:
            running += pieces
            assert running == line[place]


def test_held_pieces_stand_in_the_balance_and_are_not_promised_again():
    held = Reserved(day=day(10), pieces=4, held=True)
    coming = Receipt(day=day(1), pieces=20)
    line = draw(on_hand=5, receipts=[coming], reserved=[held])
    assert (line.free_today, line.days[0].balance) == (1, 5)
    lent = draw(on_hand=5, receipts=[coming], reserved=[replace(held, held=False)])
    assert (lent.free_today, lent.days[0].balance) == (5, 5)
    assert [one.balance for one in lent.days] == [one.balance for one in line.days]


@settings(deadline=None)
@given(
    st.integers(0, 20),
    st.lists(st.tuples(st.integers(-3, 30), st.integers(1, 9)), max_size=5),
    st.lists(st.tuples(st.integers(-3, 30), st.integers(1, 9)), max_size=8),
    st.integers(0, 5),
    st.integers(1, 12),
)
def test_earliest_day_by_brute_force(on_hand, coming, promised, waiting, pieces):
    receipts = [Receipt(day=day(n), pieces=size) for n, size in coming]
    reserved = [Reserved(day=day(n), pieces=size) for n, size in promised]
    line = draw(on_hand=on_hand, receipts=receipts, reserved=reserved, waiting=waiting)

    def balance_on(when, extra):
        got = sum(
            one.pieces
            for one in receipts
            if one.day >= TODAY and next_business_day(one.day) <= when
        )
        gone = sum(one.pieces for one in reserved if one.day <= when)
        new = pieces if extra is not None and extra <= when else 0
        return on_hand - waiting + got - gone - new

    horizon = [day(n) for n in range(120)]
    for entry in line.days[:40]:
        assert entry.balance == balance_on(entry.day, None)
    fits = [
        start
        for start in horizon
        if all(balance_on(when, start) >= 0 for when in horizon if when >= start)
    ]
    assert line.earliest_day(pieces) == (fits[0] if fits else None)


def test_a_receipt_counts_from_the_next_working_day():
    line = draw(on_hand=0, receipts=[Receipt(day=day(4), pieces=5)])  # a Friday
    assert line.earliest_day(1) == day(7)
    assert line.promise_on(day(6)) == 0
    assert line.promise_on(day(7)) == 5
    assert line.promise_on(day(900)) == 5
    assert line.promise_on(day(-1)) == 0


def test_an_overdue_receipt_is_not_counted():
    late = Receipt(day=day(-1), pieces=5)
    line = draw(on_hand=0, receipts=[late])
    assert line.overdue == (late,)
    assert line.earliest_day(1) is None


def test_waiting_customers_come_first():
    line = draw(on_hand=3, waiting=2)
    assert line.free_today == 1
    assert line.earliest_day(2) is None
    assert draw(on_hand=0, waiting=2).stock_out is None


def test_a_promise_for_later_holds_a_piece_today():
    line = draw(on_hand=1, reserved=[Reserved(day=day(20), pieces=1)])
    assert line.free_today == 0
    assert line.stock_out is None


def test_stock_out_names_the_promises_at_fault():
    first = Reserved(day=day(1), pieces=3, label="met")
    second = Reserved(day=day(5), pieces=2, label="short")
    later = Reserved(day=day(6), pieces=1, label="later")
    line = draw(on_hand=4, reserved=[first, second, later])
    assert line.stock_out.day == day(5)
    assert line.stock_out.short == 1
    assert line.stock_out.at_fault == (second,)
    assert line.free_today == 0


def test_stock_out_today_takes_missed_visits_too():
    missed = Reserved(day=day(-2), pieces=2)
    line = draw(on_hand=1, reserved=[missed])
    assert (line.stock_out.day, line.stock_out.at_fault) == (TODAY, (missed,))


@pytest.mark.parametrize("days", [0, 1])
def test_the_line_reaches_past_the_last_promise(days):
    line = draw(on_hand=2, reserved=[Reserved(day=day(9), pieces=1)], days=days)
    assert len(line.days) == 10
    assert draw(on_hand=2, days=days).free_today == 2
