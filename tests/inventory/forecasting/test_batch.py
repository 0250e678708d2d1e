"""Many forecasts at once give what one at a time gives, and what SciPy gives."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inventory.forecasting.batch import (
    beta_binomials,
    binomials,
    look_ahead_many,
    propose_many,
)
from inventory.forecasting.demand import (
    CampaignUse,
    CertainUse,
    Cohort,
    ScheduledUse,
)
from inventory.forecasting.promise import Receipt
from inventory.forecasting.proposal import (
    PartPosition,
    ReturnTerms,
    look_ahead,
    propose,
)
from inventory.forecasting.reorder import Costs
from inventory.forecasting.response import ErrorFactors, ResponseCurve
from inventory.forecasting.takeup import cold_start_curve


TODAY = date(2026, 3, 2)
CURVES = (
    ResponseCurve(first=cold_start_curve(2 / 3)),
    ResponseCurve(first=cold_start_curve(0.83), reminder=0.2),
    ResponseCurve(first=cold_start_curve(0.44), later=cold_start_curve(0.3)),
)
days_ahead = st.integers(0, 40).map(lambda days: TODAY + timedelta(days=days))


@st.composite
def cohorts(draw):
    latest = draw(st.floats(-4, 80))
    older = draw(st.none() | st.floats(1, 30))
    return Cohort(
        weeks_since_letter=latest,
        vehicles=draw(st.integers(0, 60)),
        weeks_since_first=None if older is None else latest + older,
    )


uses = st.builds(
    CampaignUse,
    label=st.just("A"),
    curve=st.sampled_from(CURVES),
    cohorts=st.lists(cohorts(), max_size=4).map(tuple),
    booked=st.lists(days_ahead, max_size=6).map(tuple),
    asked=st.integers(0, 60),
    expected=st.floats(0, 60),
    prior=st.floats(3, 200),
    pieces_per_vehicle=st.integers(1, 3),
    published_share=st.sampled_from([1.0, 0.3]),
    needed=st.integers(0, 3),
    not_needed=st.integers(0, 3),
    show_rate=st.sampled_from([0.9, 1.0]),
    unbooked_ahead=st.sampled_from([(), (0.5, 0.8)]),
    last_day=st.none() | days_ahead,
    errors=st.sampled_from([ErrorFactors(), ErrorFactors(early=0.0, late=0.05)]),
    exits=st.sampled_from([0.0, 0.004]),
    reminder_in=st.none() | st.floats(0.5, 10),
)
positions = st.builds(
    PartPosition,
    today=st.just(TODAY),
    free=st.integers(0, 90),
    held=st.integers(0, 3),
    waiting=st.integers(0, 3),
    unit_cost_cents=st.integers(100, 20_000),
    lead_days=st.integers(0, 20),
    pack=st.integers(1, 5),
    receipts=st.lists(
        st.builds(Receipt, day=days_ahead, pieces=st.integers(1, 9)), max_size=2
    ).map(tuple),
    campaigns=st.lists(uses, max_size=2).map(tuple),
    scheduled=st.lists(
        st.builds(ScheduledUse, label=st.just("S"), pieces_per_week=st.floats(0.1, 3)),
        max_size=1,
    ).map(tuple),
    certain=st.lists(
        st.builds(
            CertainUse, label=st.just("C"), day=days_ahead, pieces=st.integers(1, 4)
        ),
        max_size=1,
    ).map(tuple),
    costs=st.none()
    | st.just(Costs(short_cents=8_500, hold_cents=46, loss_cents=1_500)),
    returns=st.none()
    | st.builds(ReturnTerms, last_day=days_ahead, restocking=st.just(Decimal("0.15"))),
)


@given(st.lists(positions, min_size=1, max_size=5))
@settings(max_examples=40)
def test_outlooks_of_many_are_those_of_each(some):
    for position, many in zip(some, look_ahead_many(some), strict=True):
        one = look_ahead(position)
        for name in ("lead", "window", "rest"):
            found, expected = getattr(many, name).chances, getattr(one, name).chances
            # the cut of the tail at 1e-12 may fall one piece aside
            size = max(len(found), len(expected))
            assert np.pad(found, (0, size - len(found))) == pytest.approx(
                np.pad(expected, (0, size - len(expected))), abs=1e-9
            )
        assert many.levels == one.levels
        assert [row.booked_vehicles for row in many.campaigns] == [
            row.booked_vehicles for row in one.campaigns
        ]


def usual(number):
    """Give one of many ordinary positions, each a little different."""
    return PartPosition(
        today=TODAY,
        free=number % 17,
        held=number % 3,
        waiting=number % 2,
        unit_cost_cents=4_000 + 10 * number,
        lead_days=5 + number % 9,
        pack=1 + number % 4,
        campaigns=(
            CampaignUse(
                label="A",
                curve=CURVES[number % 3],
                cohorts=(
                    Cohort(weeks_since_letter=number % 50, vehicles=20 + number % 90),
                    Cohort(weeks_since_letter=1, vehicles=7, weeks_since_first=22),
                ),
                booked=(TODAY + timedelta(days=3),) * (number % 5),
                asked=number % 40,
                expected=20.0,
                exits=0.002 * (number % 2),
            ),
        ),
        costs=Costs(short_cents=8_500, hold_cents=46, loss_cents=1_500),
    )


def test_proposals_of_many_are_those_of_each_to_the_letter():
    some = [usual(number) for number in range(120)]
    assert propose_many(some) == [propose(one) for one in some]


def test_what_stands_beside_a_position_does_not_change_it():
    some = [usual(number) for number in range(30)]
    alone = [propose_many([one])[0] for one in some]
    assert propose_many(some) == alone
    assert propose_many(some[::-1])[::-1] == alone


def test_distributions_against_scipy():
    vehicles = np.array([1, 7, 60, 400, 60])
    a = np.array([0.4, 12.0, 12.0, 3.0, 200.0])
    b = np.array([0.3, 48.0, 48.0, 9.0, 2.0])
    for n, one, other, found in zip(
        vehicles, a, b, beta_binomials(vehicles, a, b), strict=True
    ):
        expected = stats.betabinom.pmf(np.arange(found.largest + 1), n, one, other)
        assert found.chances == pytest.approx(expected, abs=1e-11)
    chances = np.array([0.5, 0.0, 1.0, 0.02, 0.9])
    for n, chance, found in zip(
        vehicles, chances, binomials(vehicles, chances), strict=True
    ):
        expected = stats.binom.pmf(np.arange(found.largest + 1), n, chance)
        assert found.chances == pytest.approx(expected, abs=1e-11)


def test_nobody_wants_nothing():
    assert propose_many([]) == []
    none = beta_binomials(np.array([], dtype=np.int64), np.array([]), np.array([]))
    assert none == []
