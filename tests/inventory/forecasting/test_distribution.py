"""Distributions and pace against worked values, exact sums and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inventory.forecasting import distribution
from inventory.forecasting.distribution import Demand, OpenGroup, Pace


PMFS = st.lists(st.floats(0.01, 1), min_size=1, max_size=12).map(
    lambda weights: Demand.of(np.array(weights) / sum(weights))
)


def test_beta_binomial_after_two_of_twenty():
    """Beta(3,27) and 2 of 20 give Beta(5,45): conjugacy, worked by hand; n = 40.

    Mean n a/(a+b) = 4; variance n a b (a+b+n) / ((a+b)^2 (a+b+1)) = 6.3529.
    """
    found = distribution.beta_binomial(40, 3 + 2, 27 + 18)
    assert found.mean == pytest.approx(4)
    assert found.variance == pytest.approx(6.3529, abs=5e-5)
    exact = sum(
        math.comb(40, k)
        * math.exp(
            math.lgamma(5 + k)
            + math.lgamma(85 - k)
            - math.lgamma(90)
            - math.lgamma(5)
            - math.lgamma(45)
            + math.lgamma(50)
        )
        for k in range(8)
    )
    assert found.at_most(7) == pytest.approx(exact)
    assert found.at_most(7) == pytest.approx(0.905434, abs=5e-7)


def test_part_used_on_inspection_only():
    """60 vehicles, q ~ Beta(12,48), p ~ Beta(9,21): E D = 60 x .2 x .3 by hand."""
    first = 0.2 * 0.3
    second = (12 * 13) / (60 * 61) * (9 * 10) / (30 * 31)
    found = distribution._matched(60, first, second)
    assert found.mean == pytest.approx(3.6)
    assert math.sqrt(found.variance) == pytest.approx(2.2895, abs=5e-5)
    assert found.level(0.90) == 7
    share = distribution.use_share(0.5, needed=8, not_needed=20)
    assert (share.mean, share.square) == pytest.approx((0.3, 90 / 930))
    assert distribution.use_share(0.5).square == 0.25


def test_pace_and_its_window():
    """Poisson-gamma conjugacy by hand: (8 + 14) / (8 + 9.5), Z = 9.5 / 17.5."""
    pace = distribution.pace_of(14, 9.5, prior=8)
    assert pace.mean == pytest.approx(1.2571, abs=5e-5)
    assert distribution.credibility(9.5, prior=8) == pytest.approx(0.5429, abs=5e-5)
    found = distribution.window_demand([OpenGroup(vehicles=30, hazard=0.21)], pace)
    assert found.mean == pytest.approx(6.9246, abs=5e-5)
    assert found.level(0.90) == 10


def test_pace_of_forty_two_on_thirty_six():
    assert distribution.pace_of(36, 30).mean == pytest.approx(1.167, abs=5e-4)


@pytest.mark.parametrize("bad", [(-1, 1, 6), (1, -1, 6), (1, 1, 0)])
def test_impossible_counts_are_our_own_mistake(bad):
    with pytest.raises(ValueError, match="pace"):
        distribution.pace_of(bad[0], bad[1], prior=bad[2])


@settings(deadline=None, max_examples=40)
@given(
    st.integers(1, 12),
    st.floats(0.01, 0.8),
    st.floats(3, 40),
    st.floats(0.5, 2),
)
def test_window_against_the_exact_alternating_sum(vehicles, hazard, alpha, mean):
    """P(D=j) = C(N,j) sum_i (-1)^i C(j,i) M((N-j+i) h), exact for one group."""
    pace = Pace(alpha=alpha, beta=alpha / mean)
    found = distribution.window_demand(
        [OpenGroup(vehicles=vehicles, hazard=hazard)], pace
    )
    exact = [
        math.comb(vehicles, j)
        * sum(
            (-1) ** i * math.comb(j, i) * pace.none_come((vehicles - j + i) * hazard)
            for i in range(j + 1)
        )
        for j in range(vehicles + 1)
    ]
    assert found.mean == pytest.approx(
        sum(j * p for j, p in enumerate(exact)), abs=1e-6
    )
    for j in range(vehicles + 1):
        assert found.at_most(j) == pytest.approx(sum(exact[: j + 1]), abs=0.02)


def test_groups_of_different_ages_against_simulation():
    pace = Pace(alpha=9, beta=7)
    groups = [OpenGroup(vehicles=40, hazard=0.3), OpenGroup(vehicles=60, hazard=0.05)]
    found = distribution.window_demand(groups, pace)
    rng = np.random.default_rng(20260302)
    theta = rng.gamma(9, 1 / 7, 200_000)
    came = sum(
        rng.binomial(group.vehicles, 1 - np.exp(-theta * group.hazard))
        for group in groups
    )
    assert found.mean == pytest.approx(came.mean(), rel=0.01)
    assert found.variance == pytest.approx(came.var(), rel=0.02)
    for pieces in range(0, 40, 4):
        assert found.at_most(pieces) == pytest.approx((came <= pieces).mean(), abs=0.01)


def test_blurring_multiplies_two_independent_factors():
    """Var of a product of independent gammas with mean 1, by hand."""
    pace = Pace(alpha=10, beta=8)
    blurred = pace.blurred(0.4)
    assert blurred.mean == pytest.approx(pace.mean)
    assert 1 / blurred.alpha == pytest.approx((1 + 1 / 10) * (1 + 0.16) - 1)
    assert pace.blurred(0) is pace


@settings(deadline=None)
@given(PMFS, PMFS, st.integers(-3, 14))
def test_a_demand_against_plain_sums(one, other, pieces):
    chances = list(enumerate(one.chances))
    assert one.at_most(pieces) == pytest.approx(
        sum(p for k, p in chances if k <= pieces), abs=1e-9
    )
    assert one.at_least(pieces) == pytest.approx(1 - one.at_most(pieces - 1), abs=1e-9)
    short = sum(p * max(0, k - pieces) for k, p in chances)
    assert one.short(pieces) == pytest.approx(short)
    assert one.left(pieces) == pytest.approx(pieces - one.mean + short)
    both = one.plus(other)
    assert both.mean == pytest.approx(one.mean + other.mean)
    assert both.variance == pytest.approx(one.variance + other.variance)
    assert one.times(3).mean == pytest.approx(3 * one.mean)
    assert one.times(3).at_least(1) == pytest.approx(one.at_least(1))


@settings(deadline=None)
@given(PMFS, st.floats(0, 1))
def test_a_level_is_the_smallest_that_suffices(one, chance):
    level = one.level(chance)
    assert one.at_most(level) >= chance - 1e-9
    assert level == 0 or one.at_most(level - 1) < chance


def test_nothing_wanted():
    nothing = distribution.NONE_WANTED
    assert (nothing.mean, nothing.level(0.99), nothing.fill_rate(0)) == (0, 0, 1)
    assert distribution.window_demand([], Pace(alpha=1, beta=1)).largest == 0
    assert distribution.poisson(0).largest == 0
    no_hazard = [OpenGroup(vehicles=5, hazard=0.0)]
    assert distribution.window_demand(no_hazard, Pace(alpha=1, beta=1)).mean == 0


def test_poisson_against_scipy():
    found = distribution.poisson(6)
    assert found.at_most(8) == pytest.approx(stats.poisson.cdf(8, 6))


def test_unbooked_chance_against_enumeration():
    """Each vehicle comes in some week and was or was not booked by now."""
    weekly, unbooked = [0.1, 0.08, 0.05], [0.5, 0.8]
    cases = []
    still_open = 1.0
    for week, hazard in enumerate(weekly):
        share = [0.5, 0.8, 0.8][week]
        cases.append((still_open * hazard * share, True, False))
        cases.append((still_open * hazard * (1 - share), True, True))
        still_open *= 1 - hazard
    cases.append((still_open, False, False))
    not_booked = sum(chance for chance, _, booked in cases if not booked)
    come = sum(chance for chance, comes, booked in cases if comes and not booked)
    assert distribution.chance_not_booked(weekly, unbooked) == pytest.approx(
        come / not_booked
    )
    assert distribution.chance_not_booked([1.0], [0.0]) == 0
