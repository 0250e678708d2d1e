"""The share a month on unsold new vehicles (49 USC 30116), worked by hand."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules import holding
from campaigns.rules.holding import Base, End, Facts, Start, Terms
from dealership.rules.money import DayCount


FACTS = Facts(
    vin="X",
    selling_price_cents=3_000_000,
    price_paid_cents=2_800_000,
    notice_on=date(2026, 1, 10),
    stop_sale_on=date(2026, 1, 5),
    corrected_on=date(2026, 3, 26),
    remedy_available_on=date(2026, 3, 1),
    bought_back_on=None,
)
LATER = date(2026, 12, 31)


def cents(terms, facts=FACTS, today=LATER):
    return holding.amount_of(facts, terms, today=today).cents


@pytest.mark.parametrize(
    ("day_count", "first", "second"),
    [
        (DayCount.ANNIVERSARY_MONTHS, 75_484, 91_974),
        (DayCount.ACTUAL_30, 75_000, 91_800),
        (DayCount.ACTUAL_365_12, 73_973, 90_542),
    ],
)
def test_the_three_day_counts(day_count, first, second):
    """49 USC 30116(b), by hand.

    30,000.00 from 10 January to 26 March 2026, 75 days: 2 + 16/31 months, 75/30, and
    75 x 12/365. 32,400.00 from 15 January to 10 April 2026, 85 days: 2 + 26/31 months,
    85/30, and 85 x 12/365.
    """
    terms = Terms(day_count=day_count)
    assert cents(terms) == first
    other = replace(
        FACTS,
        selling_price_cents=3_240_000,
        notice_on=date(2026, 1, 15),
        corrected_on=date(2026, 4, 10),
    )
    assert cents(terms, other) == second


def test_days_of_grace_at_a_states_rates():
    """Rules of states on used vehicles: Hawaii Revised Statutes 437-59 pays 1 per cent
    from 30 days after the stop-sale; Minnesota Statutes 80E.045 pays 1.25 per cent.

    By hand, 32,400.00, 15 January to 10 April 2026: 30 days later it is 14 February, 1
    + 27/31 months; at 1.25 per cent that is 757.74, at 1 per cent 606.19.
    """
    facts = replace(
        FACTS,
        selling_price_cents=3_240_000,
        notice_on=date(2026, 1, 20),
        stop_sale_on=date(2026, 1, 15),
        corrected_on=date(2026, 4, 10),
    )
    hawaii = Terms(start=Start.STOP_SALE, grace_days=30)
    minnesota = replace(hawaii, monthly_rate=Decimal("0.0125"))
    assert cents(minnesota, facts) == 75_774
    assert cents(hawaii, facts) == 60_619
    found = holding.amount_of(facts, hawaii, today=LATER)
    assert (found.months, found.days) == (Fraction(58, 31), 85)
    short = replace(facts, corrected_on=date(2026, 2, 1))
    assert cents(hawaii, short) == 0


def test_it_runs_until_today_while_nothing_ended_it():
    open_one = replace(FACTS, corrected_on=None)
    found = holding.amount_of(open_one, Terms(), today=date(2026, 2, 10))
    assert (found.ended_on, found.until, found.cents) == (
        None,
        date(2026, 2, 10),
        30_000,
    )
    planned = holding.amount_of(FACTS, Terms(), today=date(2026, 2, 10))
    assert planned.ended_on is None
    before = holding.amount_of(open_one, Terms(), today=date(2026, 1, 1))
    assert before.cents == 0


def test_bought_back_is_worked_out_on_the_price_paid():
    """49 USC 30116(a)(1): of the price paid, from the notice to the repurchase."""
    gone = replace(FACTS, corrected_on=None, bought_back_on=date(2026, 2, 10))
    assert cents(Terms(), gone) == 28_000
    assert cents(Terms(end=End.BOUGHT_BACK), gone) == 28_000
    assert cents(Terms(base=Base.PRICE_PAID), replace(FACTS)) == 70_452


def test_an_agreement_may_end_it_when_the_remedy_is_there():
    found = holding.amount_of(FACTS, Terms(end=End.REMEDY_AVAILABLE), today=LATER)
    assert found.ended_on == date(2026, 3, 1)


def test_without_its_price_nothing_is_said():
    found = holding.amount_of(
        replace(FACTS, selling_price_cents=None), Terms(), today=LATER
    )
    assert (found.cents, found.days) == (None, 75)


def test_an_end_before_the_beginning_is_refused():
    wrong = replace(FACTS, corrected_on=date(2026, 1, 9))
    with pytest.raises(holding.EndsBeforeItStarts, match="2026-01-10"):
        holding.require_order(wrong, Terms())
    holding.require_order(FACTS, Terms())
    assert cents(Terms(), wrong) == 0


def test_without_a_stop_sale_it_runs_from_the_notice():
    facts = replace(FACTS, stop_sale_on=None)
    terms = Terms(start=Start.STOP_SALE)
    assert holding.amount_of(facts, terms, today=LATER).start == FACTS.notice_on


@given(
    st.integers(0, 9_000_000),
    st.integers(0, 700),
    st.integers(0, 60),
    st.sampled_from(DayCount),
)
def test_a_longer_wait_is_never_less(price, days, grace, day_count):
    terms = Terms(day_count=day_count, grace_days=grace)
    start = FACTS.notice_on
    end = start + timedelta(days=days)
    one = holding.share(price, start, end, terms)
    more = holding.share(price, start, end + timedelta(days=1), terms)
    assert 0 <= one <= more
