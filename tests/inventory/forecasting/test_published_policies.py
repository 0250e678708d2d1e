"""Textbook policies built from our own demands and costs, as published and by library.

Numbering of Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., cited
through the documentation of stockpyl, which is the reference library here.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from stockpyl import eoq, newsvendor, rq, ss

from inventory.forecasting import reorder
from inventory.forecasting.distribution import Demand, poisson


def fine_grid(found, step, top):
    """Cut a continuous demand into equal steps; what lies below zero counts as zero."""
    edges = (np.arange(int(top / step) + 2) - 0.5) * step
    chances = np.diff(found.cdf(edges))
    chances[0] += found.cdf(edges[0])
    return Demand(chances)


def test_economic_quantity():
    """Example 3.1: K=8, h=.225, D=1300 gives 304.0468 at 68.4105."""
    found = reorder.economic_quantity(8, 1300, 0.225)
    assert found == pytest.approx(304.0468, abs=5e-5)
    assert 0.225 * found == pytest.approx(68.4105, abs=5e-5)
    assert (found, 0.225 * found) == pytest.approx(
        eoq.economic_order_quantity(8, 0.225, 1300)
    )


def test_economic_quantity_when_customers_may_wait():
    """Example 3.8: the same with p=5 gives 310.8126, share waiting .0431, 66.9214."""
    found = reorder.economic_quantity(8, 1300, 0.225, short_cents=5)
    assert found == pytest.approx(310.8126, abs=5e-5)
    quantity, share, cost = eoq.economic_order_quantity_with_backorders(
        8, 0.225, 5, 1300
    )
    assert found == pytest.approx(quantity)
    assert (share, cost) == pytest.approx((0.0431, 66.9214), abs=5e-5)
    assert 2 * 8 * 1300 / found == pytest.approx(cost)
    assert reorder.economic_quantity(0, 1300, 0.225) == 0


@settings(deadline=None, max_examples=40)
@given(st.floats(0.1, 500), st.floats(0.1, 5000), st.floats(0.01, 50))
def test_economic_quantity_against_the_library(order, yearly, hold):
    assert reorder.economic_quantity(order, yearly, hold) == pytest.approx(
        eoq.economic_order_quantity(order, hold, yearly)[0]
    )


def test_base_stock_over_a_lead_time():
    """N(50, 8) a period, lead 4, h=.18, p=.70: S 264.7669, cost 4.4668."""
    step = 0.004
    grid = fine_grid(stats.norm(250, 8 * math.sqrt(5)), step, 400)
    level = reorder.cheapest_level(grid, under=0.70, over=0.18)
    cost = reorder.expected_cost(grid, level, under=0.70, over=0.18) * step
    assert level * step == pytest.approx(264.7669, abs=0.008)
    assert cost == pytest.approx(4.4668, abs=0.001)
    reference = newsvendor.newsvendor_normal(0.18, 0.70, 50, 8, lead_time=4)
    assert (level * step, cost) == pytest.approx(reference, abs=0.008)


def cost_of_reorder_point(demand, point, lot, *, fixed, rate, hold, penalty, step=1.0):
    """Average G over the positions r+1 ... r+Q, and the orders' own cost."""
    levels = range(round(point / step) + 1, round((point + lot) / step) + 1)
    total = sum(
        reorder.expected_cost(demand, level, under=penalty, over=hold) * step * step
        for level in levels
    )
    return (fixed * rate + total) / lot


def test_reorder_point_and_lot_with_poisson_demand():
    """Example 5.8: lam=1.5, L=2, h=20, p=150, K=100: (3, 5) costs 107.9236."""
    terms = {"fixed": 100, "rate": 1.5, "hold": 20, "penalty": 150}
    found = cost_of_reorder_point(poisson(3), 3, 5, **terms)
    assert found == pytest.approx(107.9236, abs=5e-5)
    assert found == pytest.approx(rq.r_q_cost_poisson(3, 5, 20, 150, 100, 1.5, 2))
    others = [
        cost_of_reorder_point(poisson(3), point, lot, **terms)
        for point in range(7)
        for lot in range(1, 10)
    ]
    assert found == pytest.approx(min(others))


def test_reorder_point_and_lot_with_normal_demand():
    """Example 5.1: r=126.8, Q=328.5 costs 78.0712 (K=8, h=.225, p=7.5).

    The book lets 6 of 1,000 demands be below zero; ours cannot, hence three cents.
    """
    lead = 1 / 12
    demand = fine_grid(stats.norm(1300 * lead, 150 * math.sqrt(lead)), 0.1, 600)
    found = cost_of_reorder_point(
        demand, 126.8, 328.5, fixed=8, rate=1300, hold=0.225, penalty=7.5, step=0.1
    )
    assert found == pytest.approx(78.0712, abs=0.03)
    reference = rq.r_q_cost(126.8, 328.5, 0.225, 7.5, 8, 1300, 150, lead)
    assert reference == pytest.approx(78.0712, abs=5e-5)


def test_order_up_to_a_level_from_a_point():
    """Example 4.7 with K=5: (s, S) = (4, 10), Poisson(6), h=1, p=4 costs 8.0341.

    The long way: chances of the position after each review until nothing changes.
    """
    low, high, demand = 4, 10, poisson(6)
    places = list(range(low + 1, high + 1))
    chances = np.ones(len(places)) / len(places)
    ordering = 0.0
    for _review in range(500):
        after = np.zeros(len(places))
        ordering = 0.0
        for share, place in zip(chances, places, strict=True):
            for wanted, chance in enumerate(demand.chances):
                left = place - wanted
                ordering += share * chance * (left <= low)
                after[(high if left <= low else left) - low - 1] += share * chance
        chances = after
    found = 5 * ordering + sum(
        share * reorder.expected_cost(demand, place, under=4, over=1)
        for share, place in zip(chances, places, strict=True)
    )
    assert found == pytest.approx(8.0341, abs=5e-5)
    reference = ss.s_s_cost_discrete(
        low, high, 1, 4, 5, use_poisson=True, demand_mean=6
    )
    assert found == pytest.approx(reference, abs=1e-6)


@settings(deadline=None, max_examples=25)
@given(st.floats(0.5, 60), st.floats(0.05, 20), st.floats(0.05, 80))
def test_poisson_newsvendor_against_the_library(mean, hold, penalty):
    """Level and cost for any Poisson demand, as stockpyl gives them."""
    demand = poisson(mean)
    level = reorder.cheapest_level(demand, under=penalty, over=hold)
    cost = reorder.expected_cost(demand, level, under=penalty, over=hold)
    reference_level, reference_cost = newsvendor.newsvendor_poisson(hold, penalty, mean)
    assert cost == pytest.approx(reference_cost, rel=1e-6)
    # two levels may cost the same; ours is the smaller one
    assert level <= reference_level


@settings(deadline=None, max_examples=25)
@given(st.lists(st.integers(1, 30), min_size=2, max_size=15), st.floats(0.1, 20))
def test_any_newsvendor_against_the_library(weights, penalty):
    """Any demand of a few outcomes, as stockpyl's discrete newsvendor."""
    chances = np.array(weights, dtype=float) / sum(weights)
    demand = Demand(chances)
    level = reorder.cheapest_level(demand, under=penalty, over=1.0)
    cost = reorder.expected_cost(demand, level, under=penalty, over=1.0)
    pmf = dict(enumerate(chances.tolist()))
    _level, reference = newsvendor.newsvendor_discrete(1.0, penalty, demand_pmf=pmf)
    assert cost == pytest.approx(reference, rel=1e-6)
