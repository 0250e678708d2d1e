"""Proposals: what they weigh, their order, and that they repeat to the byte."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.forecasting import proposal as proposing
from inventory.forecasting.demand import (
    CampaignUse,
    CertainUse,
    Cohort,
    ScheduledUse,
)
from inventory.forecasting.promise import Receipt
from inventory.forecasting.proposal import (
    Because,
    PartPosition,
    ProposalKind,
    ReturnTerms,
)
from inventory.forecasting.reorder import Costs
from inventory.forecasting.response import ResponseCurve
from inventory.forecasting.takeup import cold_start_curve


TODAY = date(2026, 3, 2)


def campaign(**facts):
    given_facts = {
        "label": "A",
        "curve": ResponseCurve(first=cold_start_curve(2 / 3)),
        "cohorts": (Cohort(weeks_since_letter=6, vehicles=84),),
        "asked": 36,
        "expected": 30.0,
    }
    return CampaignUse(**(given_facts | facts))


def position(**facts):
    given_facts = {
        "today": TODAY,
        "free": 6,
        "held": 0,
        "waiting": 0,
        "unit_cost_cents": 6410,
        "lead_days": 2,
        "pack": 5,
        "campaigns": (campaign(),),
    }
    return PartPosition(**(given_facts | facts))


def test_orders_what_the_two_levels_want():
    here = position(free=2)
    found = proposing.propose(here)
    outlook = proposing.look_ahead(here)
    short = outlook.window.level(0.95) - 2
    assert found.kind is ProposalKind.ORDER
    assert found.quantity == -(-short // 5) * 5
    assert (found.act_by, found.because) == (TODAY, Because.SHORT)
    chosen = next(row for row in found.choices if row.quantity == found.quantity)
    assert chosen.run_out <= 0.05
    assert chosen.run_out == round(1 - outlook.window.at_most(chosen.level), 3)
    assert found.choices[0].quantity == 0


def test_the_same_facts_give_the_same_bytes():
    one, other = proposing.propose(position()), proposing.propose(position())
    assert repr(one) == repr(other)
    assert len(one.fingerprint) == 64
    tomorrow = replace(position(), today=TODAY + timedelta(days=1))
    assert tomorrow.fingerprint() != one.fingerprint


def test_waiting_customers_come_first():
    few, more = position(free=0), position(free=0, waiting=5)
    assert proposing.propose(more).quantity == proposing.propose(few).quantity + 5


def test_receipts_count_unless_they_are_overdue():
    soon = Receipt(day=TODAY + timedelta(days=1), pieces=40)
    coming = proposing.propose(position(receipts=(soon,)))
    assert (coming.kind, coming.because) == (
        ProposalKind.NOTHING,
        Because.ENOUGH_COMING,
    )
    late = Receipt(day=TODAY - timedelta(days=1), pieces=40)
    ignored = proposing.propose(position(receipts=(late,)))
    plain = proposing.propose(position())
    assert (ignored.kind, ignored.quantity) == (plain.kind, plain.quantity)
    assert ignored.value("overdue") == "40"


def test_late_receipts_keep_the_rest_from_being_ordered_twice():
    few = campaign(cohorts=(Cohort(weeks_since_letter=0, vehicles=10),))
    far = Receipt(day=TODAY + timedelta(days=60), pieces=10)
    here = position(free=0, pack=1, campaigns=(few,), receipts=(far,))
    found = proposing.propose(here)
    assert (found.kind, found.because) == (ProposalKind.NOTHING, Because.NOT_WORTH_IT)


def test_enough_on_the_shelf():
    found = proposing.propose(position(free=60))
    assert (found.kind, found.because) == (ProposalKind.NOTHING, Because.ENOUGH)
    assert (found.quantity, found.act_by) == (0, None)


def test_nothing_wanted():
    found = proposing.propose(position(campaigns=()))
    assert found.because is Because.NOTHING_WANTED


def test_a_limit_of_less_than_a_pack():
    found = proposing.propose(position(free=0, order_limit=3))
    assert (found.kind, found.because) == (
        ProposalKind.NOTHING,
        Because.LIMIT_REACHED,
    )
    assert found.value("order_limit") == "3"


def test_returns_what_is_not_worth_keeping():
    terms = ReturnTerms(last_day=TODAY + timedelta(days=20))
    here = position(free=90, held=3, returns=terms)
    found = proposing.propose(here)
    outlook = proposing.look_ahead(here)
    assert (found.kind, found.because) == (ProposalKind.RETURN, Because.TOO_MANY)
    assert found.act_by == terms.last_day
    kept = here.on_hand - found.quantity
    assert outlook.rest.at_least(kept + 1) < 0.85
    after = proposing.propose(replace(here, free=90 - found.quantity))
    assert after.kind is ProposalKind.NOTHING
    assert found.choices[-1].quantity <= 90


@pytest.mark.parametrize(
    "terms",
    [
        ReturnTerms(last_day=TODAY - timedelta(days=1)),
        ReturnTerms(last_day=TODAY + timedelta(days=46)),
        ReturnTerms(last_day=TODAY + timedelta(days=20), most=0),
        ReturnTerms(last_day=TODAY + timedelta(days=20), freight_cents=10**9),
        None,
    ],
)
def test_no_return_when_it_cannot_or_should_not_be(terms):
    found = proposing.propose(position(free=90, returns=terms))
    assert found.kind is ProposalKind.NOTHING


def test_held_pieces_stay():
    terms = ReturnTerms(last_day=TODAY)
    found = proposing.propose(position(free=4, held=90, returns=terms))
    assert found.quantity == 4


@settings(deadline=None, max_examples=30)
@given(
    st.integers(0, 60),
    st.integers(0, 80),
    st.integers(0, 60),
    st.integers(0, 45),
    st.sampled_from([None, Costs(short_cents=8500, hold_cents=46, loss_cents=1500)]),
)
def test_what_goes_back_is_never_ordered_again(free, vehicles, weeks, left, costs):
    """Ask again right after the return; the store must not be sent in circles."""
    here = position(
        free=free,
        costs=costs,
        pack=1,
        returns=ReturnTerms(last_day=TODAY + timedelta(days=left)),
        campaigns=(
            campaign(cohorts=(Cohort(weeks_since_letter=weeks, vehicles=vehicles),)),
        ),
    )
    found = proposing.propose(here)
    if found.kind is ProposalKind.RETURN:
        again = proposing.propose(replace(here, free=free - found.quantity))
        assert again.kind is not ProposalKind.RETURN
        closed = replace(here, free=free - found.quantity, returns=None)
        assert proposing.propose(closed).kind is ProposalKind.NOTHING
    else:
        assert found.quantity >= 0


def test_several_campaigns_service_and_own_vehicles_add_up():
    lone = proposing.look_ahead(position())
    here = position(
        campaigns=(campaign(), campaign(label="B")),
        scheduled=(ScheduledUse(label="Interval", pieces_per_week=2.0),),
        certain=(CertainUse(label="Own", day=TODAY + timedelta(days=3), pieces=4),),
    )
    outlook = proposing.look_ahead(here)
    expected = 2 * lone.window.mean + 2.0 * 9 / 7 + 4
    assert outlook.window.mean == pytest.approx(expected)
    found = proposing.propose(here)
    labels = {fact.label for fact in proposing.explain(found)}
    assert labels == {"A", "B", "Interval", "Own", ""}


def test_risk_that_no_order_can_cure():
    here = position(free=0, lead_days=21)
    found = proposing.propose(here)
    outlook = proposing.look_ahead(here)
    risk = float(found.value("unavoidable_risk"))
    assert risk == pytest.approx(outlook.lead.at_least(1), abs=5e-4)


def test_costs_are_shown_when_given():
    costs = Costs(short_cents=8500, hold_cents=46, loss_cents=1500)
    found = proposing.propose(position(costs=costs))
    assert found.value("window_service") == "0.980"
    assert found.value("cost_short") == "8500"
    assert found.value("no_such_fact") is None
