"""Forecasts held against what came."""

import numpy as np
import pytest
from scipy import stats

from inventory.forecasting import calibration
from inventory.forecasting.calibration import Said, calibrate, pinball, share_within
from inventory.forecasting.distribution import Demand, beta_binomial, poisson


@pytest.mark.parametrize("came", [0, 2, 3, 6, 9, 30])
def test_share_within_is_the_mean_of_the_randomised_transform(came):
    """u = F(x - 1) + V (F(x) - F(x - 1)), V uniform; how often .1 <= u <= .9."""
    demand = poisson(4.0)
    below, upto = stats.poisson.cdf([came - 1, came], 4.0)
    drawn = below + np.random.default_rng(3).random(200_000) * (upto - below)
    often = ((drawn >= 0.1) & (drawn <= 0.9)).mean()
    assert share_within(demand, came) == pytest.approx(often, abs=0.005)


def test_a_true_forecast_covers_just_eight_of_ten():
    """Summed over the forecast's own chances it is .8 to the last digit."""
    for demand in (poisson(0.3), poisson(6.0), beta_binomial(60, 12, 48)):
        mean = sum(
            chance * share_within(demand, came)
            for came, chance in enumerate(demand.chances)
        )
        assert mean == pytest.approx(0.8, abs=1e-9)


def test_what_had_no_chance_lies_outside():
    assert share_within(Demand.certain(3), 4) == 0.0
    assert share_within(Demand.certain(3), 3) == pytest.approx(0.8)


@pytest.mark.parametrize("service", [0.5, 0.95, 0.98])
def test_pinball_is_least_at_the_quantile(service):
    """Koenker and Bassett (1978), from memory; the quantile by SciPy."""
    demand = poisson(7.0)
    losses = [
        sum(
            chance * pinball(came, level, service=service)
            for came, chance in enumerate(demand.chances)
        )
        for level in range(25)
    ]
    assert np.argmin(losses) == stats.poisson.ppf(service, 7.0)


def test_one_forecast_by_hand():
    """Four outcomes of .25 each; 3 came."""
    demand = Demand(np.full(4, 0.25))
    said = Said.of(demand, came=3, early=True, service=0.7, others=(1, 5))
    assert said.level == 2
    assert (said.chance, said.under) == (pytest.approx(0.75), False)
    assert (said.usual_chance, said.usual_under) == (pytest.approx(1.0), True)
    assert said.within == pytest.approx(0.6)  # .75 to .9 of .75 to 1
    assert said.losses == pytest.approx((0.7, 1.4, 0.6))
    assert said.mean == pytest.approx(1.5)


def test_means_over_forecasts():
    demand = Demand(np.full(4, 0.25))
    rows = [
        Said.of(demand, came=came, early=True, service=0.7, others=(0, 3))
        for came in (0, 3)
    ]
    found = calibrate(rows)
    assert found is not None
    assert (found.forecasts, found.was, found.usual_was) == (2, 0.5, 1.0)
    assert (found.mean, found.came) == (pytest.approx(1.5), 1.5)
    assert found.losses == pytest.approx((0.65, 1.05, 0.45))
    assert calibrate([]) is None
    assert calibration.INTERVAL == (0.10, 0.90)
