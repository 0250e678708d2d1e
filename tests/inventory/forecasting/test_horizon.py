"""The risk date against looking at each day, and the fan of stock."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inventory.forecasting.demand import CertainUse, ScheduledUse
from inventory.forecasting.horizon import risk_date, stock_fan
from inventory.forecasting.promise import Receipt
from inventory.forecasting.proposal import PartPosition, demand_within


TODAY = date(2026, 3, 2)


def position(**facts):
    given_facts = {
        "today": TODAY,
        "free": 10,
        "held": 0,
        "waiting": 0,
        "unit_cost_cents": 1000,
        "lead_days": 7,
        "scheduled": (ScheduledUse(label="Interval", pieces_per_week=3.5),),
    }
    return PartPosition(**(given_facts | facts))


def test_half_a_piece_a_day_by_poisson():
    """SciPy: P(Poisson(.5 t) > 10) passes .05 between days 12 and 13."""
    assert stats.poisson.sf(10, 0.5 * 12) <= 0.05 < stats.poisson.sf(10, 0.5 * 13)
    assert risk_date(position()) == TODAY + timedelta(days=13)
    assert risk_date(position(scheduled=())) is None
    assert risk_date(position(free=0, waiting=1)) == TODAY


@settings(deadline=None, max_examples=30)
@given(
    st.integers(0, 20),
    st.lists(st.tuples(st.integers(-2, 50), st.integers(1, 15)), max_size=3),
    st.lists(st.tuples(st.integers(0, 50), st.integers(1, 6)), max_size=3),
    st.floats(0, 6),
)
def test_the_first_day_at_risk_day_by_day(free, coming, planned, weekly):
    found = position(
        free=free,
        receipts=tuple(
            Receipt(day=TODAY + timedelta(days=n), pieces=size) for n, size in coming
        ),
        certain=tuple(
            CertainUse(label="Own", day=TODAY + timedelta(days=n), pieces=size)
            for n, size in planned
        ),
        scheduled=(ScheduledUse(label="Interval", pieces_per_week=weekly),),
    )
    slow = next(
        (
            TODAY + timedelta(days=days)
            for days in range(61)
            if demand_within(found, days).at_least(found.have(days) + 1) > 0.05
        ),
        None,
    )
    assert risk_date(found, days=60) == slow


def test_the_fan_against_scipy():
    """Poisson(7) after two weeks: 10, 50 and 90 of 100 outcomes by SciPy."""
    receipts = (Receipt(day=TODAY + timedelta(days=10), pieces=5),)
    today, later = stock_fan(position(receipts=receipts), [0, 14])
    assert (today.low, today.middle, today.high) == (10, 10, 10)
    wanted = [int(stats.poisson.ppf(share, 7)) for share in (0.9, 0.5, 0.1)]
    assert [later.low, later.middle, later.high] == [15 - n for n in wanted]
    assert later.day == TODAY + timedelta(days=14)


def test_a_certain_piece_is_no_risk_while_it_is_there():
    planned = (CertainUse(label="Own", day=TODAY, pieces=10),)
    assert risk_date(position(scheduled=(), certain=planned)) is None
    more = (*planned, CertainUse(label="Own", day=TODAY, pieces=1))
    assert risk_date(position(scheduled=(), certain=more)) == TODAY
    assert demand_within(position(scheduled=()), 30).mean == pytest.approx(0)
