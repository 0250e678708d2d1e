"""Order and return rules against textbook examples and SciPy's distributions.

The numbering is that of Snyder and Shen, Fundamentals of Supply Chain Theory,
second edition; their values are cited through a library's documentation.
"""

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inventory.forecasting import distribution, reorder
from inventory.forecasting.distribution import Demand
from inventory.forecasting.reorder import Costs, CostTerms, Levels, Weighing


PMFS = st.lists(st.floats(0.01, 1), min_size=1, max_size=14).map(
    lambda weights: Demand.of(np.array(weights) / sum(weights))
)


def fine_grid(distribution, step, top):
    """Cut a continuous demand into equal steps, so that the same rule serves it."""
    edges = (np.arange(int(top / step) + 2) - 0.5) * step
    return Demand(np.diff(distribution.cdf(edges)))


@pytest.mark.parametrize(
    ("distribution", "costs", "level", "cost"),
    [
        # Snyder and Shen, 2nd ed., Example 4.3
        (stats.norm(50, 8), (0.18, 0.70), 56.6040, 1.9976),
        # Snyder and Shen's normal newsvendor, h=2, p=18, N(120, 10)
        (stats.norm(120, 10), (2, 18), 132.8155, 35.0997),
    ],
)
def test_published_continuous_newsvendor(distribution, costs, level, cost):
    hold, penalty = costs
    grid = fine_grid(distribution, 0.002, 2 * level)
    found = reorder.cheapest_level(grid, under=penalty, over=hold)
    assert found * 0.002 == pytest.approx(level, abs=0.004)
    value = reorder.expected_cost(grid, found, under=penalty, over=hold) * 0.002
    assert value == pytest.approx(cost, abs=0.002)


def test_published_cost_at_another_level():
    """Snyder and Shen, 2nd ed., Example 4.1: S = 60 costs 2.1561."""
    grid = fine_grid(stats.norm(50, 8), 0.002, 120)
    value = reorder.expected_cost(grid, 30_000, under=0.70, over=0.18) * 0.002
    assert value == pytest.approx(2.1561, abs=0.0005)


def test_published_lognormal_newsvendor():
    """Snyder and Shen, 2nd ed., Problem 4.8(b): S = 295.6266, cost 29.4425."""
    grid = fine_grid(stats.lognorm(s=0.3, scale=math.exp(6)), 0.02, 3000)
    reference = (295.6266, 29.4425)
    found = reorder.cheapest_level(grid, under=0.1765, over=1)
    assert found * 0.02 == pytest.approx(reference[0], abs=0.04)
    value = reorder.expected_cost(grid, found, under=0.1765, over=1) * 0.02
    assert value == pytest.approx(reference[1], abs=0.02)


@pytest.mark.parametrize(
    ("mean", "hold", "penalty", "level", "cost"),
    [
        (50, 0.18, 0.70, 56, 1.7972),  # the same costs with Poisson(50)
        (6, 1, 4, 8, 3.5701),  # Snyder and Shen, 2nd ed., Example 4.7
    ],
)
def test_published_poisson_newsvendor(mean, hold, penalty, level, cost):
    found = distribution.poisson(mean)
    assert reorder.cheapest_level(found, under=penalty, over=hold) == level
    value = reorder.expected_cost(found, level, under=penalty, over=hold)
    assert value == pytest.approx(cost, abs=5e-5)


def test_beta_binomial_case_by_three_ways():
    """60 open, Beta(12,48), 85 too few against 15 too many; figures by enumeration."""
    found = distribution.beta_binomial(60, 12, 48)
    level = reorder.cheapest_level(found, under=85, over=15)
    assert level == 17
    assert found.at_most(17) == pytest.approx(0.8907, abs=5e-5)
    assert found.short(17) == pytest.approx(0.3320, abs=5e-5)
    assert found.left(17) == pytest.approx(5.3320, abs=5e-5)
    assert found.fill_rate(17) == pytest.approx(0.9723, abs=5e-5)
    cost = reorder.expected_cost(found, 17, under=85, over=15)
    assert cost == pytest.approx(108.1995, abs=5e-5)
    assert [found.level(1 - risk) for risk in (0.05, 0.10, 0.20)] == [20, 18, 16]
    # SciPy's own distribution, weighed outcome by outcome.
    reference = stats.betabinom(60, 12, 48)
    weighed = sum(
        reference.pmf(d) * (85 * max(d - 17, 0) + 15 * max(17 - d, 0))
        for d in range(61)
    )
    assert weighed == pytest.approx(cost)
    assert int(reference.ppf(85 / 100)) == 17


@settings(deadline=None)
@given(PMFS, st.integers(1, 200), st.integers(0, 200))
def test_no_other_level_is_cheaper(one, under, over):
    level = reorder.cheapest_level(one, under=under, over=over)
    best = min(
        reorder.expected_cost(one, other, under=under, over=over)
        for other in range(one.largest + 2)
    )
    found = reorder.expected_cost(one, level, under=under, over=over)
    assert found == pytest.approx(best, abs=1e-7)


WEIGHINGS = st.builds(
    lambda window, later, have, coming, costs: Weighing(
        window=window,
        rest=window.plus(later),
        have_window=have,
        have_rest=have + coming,
        costs=Costs(short_cents=costs[0], hold_cents=costs[1], loss_cents=costs[2]),
    ),
    PMFS,
    PMFS,
    st.integers(-4, 8),
    st.integers(0, 4),
    st.tuples(st.integers(1, 9900), st.integers(0, 99), st.integers(0, 900)),
)


@settings(deadline=None)
@given(WEIGHINGS, st.integers(1, 5))
def test_no_other_number_of_packs_is_cheaper(weighing, pack):
    """From the best piece on, whole packs beside it are compared with all others."""
    best_pieces = min(range(60), key=lambda pieces: (weighing.cost(pieces), pieces))
    found = reorder.cheaper_packs(
        weighing, best_pieces, pack=pack, minimum=0, limit=None
    )
    best = min(weighing.cost(packs * pack) for packs in range(60))
    assert found % pack == 0
    assert weighing.cost(found) == pytest.approx(best, abs=1e-6)


@settings(deadline=None)
@given(WEIGHINGS, st.lists(st.integers(0, 30), min_size=1, max_size=6))
def test_the_cost_curve_outcome_by_outcome(weighing, orders):
    costs = weighing.costs
    for order, missing, keeping, never in weighing.curve(orders):
        y, ever = weighing.have_window + order, weighing.have_rest + order
        chances = list(enumerate(weighing.window.chances))
        short = sum(p * max(0, k - y) for k, p in chances) * costs.short_cents
        left = sum(p * max(0, y - k) for k, p in chances) * costs.hold_cents
        unused = sum(p * max(0, ever - k) for k, p in enumerate(weighing.rest.chances))
        assert missing == pytest.approx(short, abs=1e-6)
        assert keeping == pytest.approx(left, abs=1e-6)
        assert never == pytest.approx(unused * costs.loss_cents, abs=1e-6)
        assert weighing.cost(order) == pytest.approx(missing + keeping + never)


def test_packs_within_minimum_and_limit():
    """Poisson(6), 4 too few against 1 too many (level 8): 3 or 6 or 9 pieces."""
    weighing = Weighing(
        window=distribution.poisson(6),
        rest=distribution.poisson(60),
        have_window=0,
        have_rest=0,
        costs=Costs(short_cents=400, hold_cents=100, loss_cents=0),
    )
    terms = {"pack": 3, "minimum": 0, "limit": None}
    assert reorder.cheaper_packs(weighing, 8, **terms) == 9
    assert reorder.cheaper_packs(weighing, 8, **(terms | {"limit": 7})) == 6
    assert reorder.cheaper_packs(weighing, 7, **(terms | {"minimum": 7})) == 9
    assert reorder.cheaper_packs(weighing, 1, **(terms | {"minimum": 30})) == 0


def test_an_order_must_save_what_placing_it_costs():
    """Poisson(6), none there: G(0) = 4 x 6 = 24.00, G(8) = 3.5701; it saves 20.43."""
    weighing = Weighing(
        window=distribution.poisson(6),
        rest=distribution.poisson(60),
        have_window=0,
        have_rest=0,
        costs=Costs(short_cents=400, hold_cents=100, loss_cents=0),
    )
    assert weighing.cost(0) == pytest.approx(2400)
    assert weighing.cost(8) == pytest.approx(357.01, abs=0.005)
    assert reorder.pays_for_the_order(weighing, 8, 2042)
    assert not reorder.pays_for_the_order(weighing, 8, 2043)


@pytest.mark.parametrize(("under", "over"), [(0, 1), (-1, 1), (1, -1)])
def test_costs_must_make_sense(under, over):
    with pytest.raises(ValueError, match="cost something"):
        reorder.critical_ratio(under, over)


def test_levels_with_and_without_costs():
    """85 against .46: by hand .9946, held to .98; 85 / (85 + 15) = .85."""
    costs = Costs(short_cents=8500, hold_cents=46, loss_cents=1500)
    assert reorder.service_levels(costs, returnable=True) == Levels(
        window=0.98, rest=0.85
    )
    raised = reorder.service_levels(costs, returnable=True, limit=0.999)
    assert raised.window == pytest.approx(0.9946, abs=5e-5)
    assert reorder.service_levels(None, returnable=True) == Levels(
        window=0.95, rest=0.85
    )
    assert reorder.service_levels(None, returnable=False) == Levels(
        window=0.95, rest=0.50
    )


def test_costs_by_hand():
    """.25 x (60 + 5.48) + .75 x 90 = 83.87; 100 x .24 x 7 / 365 = .46."""
    cents = reorder.short_cents(
        labour_margin_cents=6000, handling_margin_cents=548, second_visit_cents=9000
    )
    assert cents == 8387
    assert reorder.hold_cents(10_000, 7) == 46
    assert reorder.hold_cents(10_000, 365, Decimal("0.5")) == 5000


def test_costs_of_a_part():
    """83.87 with handling of .30 x 18.25 = 5.475, rounded to 5.48 (half to even)."""
    terms = CostTerms(
        labour_margin_cents=6000, second_visit_cents=9000, handling=Decimal("0.3003")
    )
    found = reorder.costs_of(terms, unit_cents=1825, review_days=7, brings_cents=1551)
    assert found == Costs(short_cents=8387, hold_cents=8, loss_cents=274)
    later = reorder.costs_of(terms, unit_cents=1825, review_days=7)
    assert later.loss_cents == 1825


def test_the_rest_of_the_campaign_caps_the_window():
    window, rest = distribution.poisson(10), distribution.binomial(6, 0.5)
    levels = Levels(window=0.95, rest=0.85)
    assert reorder.two_level_target(window, rest, levels) == rest.level(0.85)
    assert reorder.two_level_target(window, distribution.poisson(60), levels) == 15


@pytest.mark.parametrize(
    ("pieces", "rules", "order"),
    [
        (0, {}, 0),
        (-4, {"pack": 5}, 0),
        (1, {"pack": 5}, 5),
        (15, {"pack": 5}, 15),
        (3, {"minimum": 8}, 8),
        (3, {"minimum": 8, "pack": 5}, 10),
        (13, {"pack": 5, "limit": 12}, 10),
        (13, {"pack": 5, "limit": 4}, 0),
        (13, {"pack": 5, "limit": 12, "minimum": 11}, 0),
    ],
)
def test_packs_minimum_and_limit(pieces, rules, order):
    assert reorder.in_packs(pieces, **rules) == order


def test_a_pack_has_a_piece():
    with pytest.raises(ValueError, match="pack"):
        reorder.in_packs(1, pack=0)


def test_worked_screen_of_an_order():
    """9 booked at .9 and 75 others: mean 14.015, sd 2.980, worked out apart.

    Levels for 90, 95 and 98 of 100 are 18, 19 and 21; 6 there, packs of 5: order 15,
    and it runs out with a chance of .013.
    """
    others = 5.915
    spread = 2.980**2 - 0.81 - others * (1 - others / 75)
    share = others / 75
    second = share**2 + spread / (75 * 74)
    size = (share - second) / (second - share**2)
    window = distribution.binomial(9, 0.9).plus(
        distribution.beta_binomial(75, share * size, (1 - share) * size)
    )
    assert window.mean == pytest.approx(14.015)
    assert [window.level(p) for p in (0.90, 0.95, 0.98)] == [18, 19, 21]
    order = reorder.in_packs(window.level(0.98) - 6, pack=5)
    assert order == 15
    rest = distribution.beta_binomial(84, 12, 10)
    nothing, fewer, same, more = reorder.weigh(
        reorder.quantities_around(order, pack=5, minimum=0, limit=None),
        window=window,
        rest=rest,
        have_in_window=6,
        have_in_rest=6,
    )
    assert [row.quantity for row in (nothing, fewer, same, more)] == [0, 10, 15, 20]
    assert same.run_out == pytest.approx(0.013, abs=5e-4)
    assert same.left_over == pytest.approx(7.0, abs=0.05)
    assert fewer.run_out == pytest.approx(0.2, abs=0.05)
    assert nothing.run_out > 0.99
    assert same.last_unused == pytest.approx(rest.at_most(20))


@settings(deadline=None)
@given(PMFS, PMFS, st.integers(-3, 10), st.integers(0, 9))
def test_rows_against_plain_sums(window, rest, have, quantity):
    (row,) = reorder.weigh(
        [quantity], window=window, rest=rest, have_in_window=have, have_in_rest=have + 1
    )
    level = have + quantity
    chances = list(enumerate(window.chances))
    assert row.run_out == pytest.approx(
        sum(p for k, p in chances if k > level), abs=1e-9
    )
    assert row.left_over == pytest.approx(
        sum(p * max(0, level - k) for k, p in chances)
    )
    unused = sum(p for k, p in enumerate(rest.chances) if k < level + 1)
    assert row.last_unused == pytest.approx(unused, abs=1e-9)
    (back,) = reorder.weigh(
        [quantity],
        window=window,
        rest=rest,
        have_in_window=have,
        have_in_rest=have,
        sending_back=True,
    )
    assert back.level == have - quantity


def test_keep_while_use_is_likely_enough():
    """12 open, Beta(6,6), 15 per cent restocking: keep 3 (worked by hand)."""
    rest = distribution.beta_binomial(12, 6, 6)
    none = distribution.NONE_WANTED
    kept = reorder.pieces_to_keep(none, rest, unit_cents=10_000, return_cents=8_500)
    assert kept == 3
    assert rest.at_least(3) >= 0.85 > rest.at_least(4)


@settings(deadline=None)
@given(
    PMFS,
    PMFS,
    st.integers(0, 20_000),
    st.integers(0, 5_000),
    st.integers(5_000, 10_000),
)
def test_keeping_against_the_best_of_all(window, later, short, end, credit):
    """The total of kept pieces' worth less credit given up is largest at the answer."""
    rest = window.plus(later)
    kept = reorder.pieces_to_keep(
        window,
        rest,
        unit_cents=10_000,
        return_cents=credit,
        short_cents=short,
        end_cents=end,
    )

    def gain(pieces):
        total = 0.0
        for k, p in enumerate(rest.chances):
            total += p * (min(k, pieces) * 10_000 + max(0, pieces - k) * end)
        for k, p in enumerate(window.chances):
            total += p * min(k, pieces) * short
        return total - pieces * credit

    best = max(gain(pieces) for pieces in range(rest.largest + 1))
    assert gain(kept) == pytest.approx(best, abs=1e-3)
