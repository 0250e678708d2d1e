"""What closed campaigns teach, against references, hand-worked figures, simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import AalenJohansenFitter, KaplanMeierFitter

from inventory.forecasting import response
from inventory.forecasting.distribution import PRIOR_PACE_SIZE
from inventory.forecasting.response import (
    ClosedCampaign,
    ErrorFactors,
    Missed,
    ResponseCurve,
    Seen,
)
from inventory.forecasting.takeup import HazardCurve


STEADY = ResponseCurve(first=HazardCurve(weeks=(0, 78), hazards=(0, 1.56)))


def seen(until, *, asked=True, vehicles=1, letters=(0.0,)):
    return Seen(vehicles=vehicles, letters=letters, until=until, asked=asked)


def invented(rng, *, vehicles=80, pace=1.0, weekly=0.04, leaves=0.0, weeks=78):
    """Let vehicles come at a steady weekly chance; those left are open at the end."""
    rows = []
    for _number in range(vehicles):
        comes = rng.geometric(min(0.9, weekly * pace)) - 0.5
        goes = rng.geometric(leaves) - 0.5 if leaves else math.inf
        until = min(comes, goes, float(weeks))
        rows.append(seen(until, asked=comes == until))
    return ClosedCampaign(label="A", seen=tuple(rows))


@settings(deadline=None, max_examples=30)
@given(
    st.lists(
        st.tuples(st.integers(0, 7), st.booleans(), st.integers(1, 9)),
        min_size=1,
        max_size=20,
    )
)
def test_weekly_counts_give_kaplan_meier(rows):
    """With exits at the ends of weeks, prod(1 - d/n) is lifelines' estimate."""
    campaign = ClosedCampaign(
        label="A",
        seen=tuple(
            seen(week + 0.5 if asked else week + 1.0, asked=asked, vehicles=n)
            for week, asked, n in rows
        ),
    )
    first, later = response.week_counts([campaign])
    assert later == ()
    fitter = KaplanMeierFitter().fit(
        [week + 0.5 if asked else week + 1.0 for week, asked, _n in rows],
        [asked for _week, asked, _n in rows],
        weights=[n for _week, _asked, n in rows],
    )
    product = 1.0
    for count in first:
        product *= 1 - count.asked / count.open_at_start
        reference = float(fitter.survival_function_at_times(count.week + 0.75).iloc[0])
        assert product == pytest.approx(reference, abs=1e-9)


def test_who_asked_before_the_letter_or_left_within_a_week():
    campaign = ClosedCampaign(
        label="A",
        seen=(
            seen(-0.5),
            seen(2.4, asked=False, vehicles=3),
            seen(1.2, vehicles=2),
        ),
    )
    first, _later = response.week_counts([campaign])
    assert [(one.week, one.open_at_start, one.asked) for one in first] == [
        (0, 5, 0),
        (1, 5, 2),
    ]


def test_a_second_letter_starts_a_table_of_its_own():
    reminded = (0.0, 4.0)
    campaign = ClosedCampaign(
        label="A",
        seen=(
            seen(2.5, letters=reminded),
            seen(4.5, letters=reminded, vehicles=2),
            seen(6.0, letters=reminded, vehicles=7, asked=False),
        ),
    )
    first, later = response.week_counts([campaign])
    assert [(one.open_at_start, one.asked) for one in first] == [
        (10, 0), (10, 0), (10, 1), (9, 0),
    ]  # fmt: skip
    assert [(one.open_at_start, one.asked) for one in later] == [(9, 2), (7, 0)]
    assert response.learn_curve([campaign]).later is None  # too few came


def test_a_letter_of_its_own_curve_once_enough_came_after_it():
    campaign = ClosedCampaign(
        label="A",
        seen=(
            seen(1.5, vehicles=20),
            seen(10.5, letters=(0.0, 10.0), vehicles=response.FEWEST_AFTER_REMINDER),
            seen(12.0, letters=(0.0, 10.0), vehicles=70, asked=False),
        ),
    )
    curve = response.learn_curve([campaign])
    assert curve.later is not None
    assert curve.later.completed(1) == pytest.approx(0.3)
    letters = (0.0, 10.0)
    assert curve.hazard(letters, 10, 11) == pytest.approx(-math.log(0.7))
    assert curve.hazard(letters, 9, 11) == pytest.approx(
        curve.first.between(9, 10) - math.log(0.7)
    )


def test_the_reminder_adds_five_points_by_week_sixty():
    """By definition: with a letter in week 20, 5 points more have come by week 60."""
    curve = HazardCurve(weeks=(0, 20, 60, 78), hazards=(0, 0.734, 0.916, 0.95))
    both = ResponseCurve(first=curve, reminder=response.reminder_strength(curve))
    without = 1 - math.exp(-both.hazard((0.0,), 0, 60))
    with_one = 1 - math.exp(-both.hazard((0.0, 20.0), 0, 60))
    assert without == pytest.approx(0.60, abs=5e-4)
    assert with_one - without == pytest.approx(0.05)
    assert both.hazard((0.0, 20.0), 0, 20) == both.hazard((0.0,), 0, 20)
    assert response.reminder_strength(curve, adds=0.0) == 0
    assert response.reminder_strength(curve, adds=0.5) == 0


def test_those_who_come_when_others_leave():
    """h = .05, g = .02, 52 weeks: 1 - KM .9306, incidence .6979.

    By the geometric series: h (1 - .93^52) / (h + g).
    """
    weekly = [0.05] * 52
    assert 1 - math.prod(1 - h for h in weekly) == pytest.approx(0.9306, abs=5e-5)
    found = response.cumulative_incidence(weekly, 0.02)
    assert found == pytest.approx(0.6979, abs=5e-5)
    assert found == pytest.approx(0.05 / 0.07 * (1 - 0.93**52))
    assert response.cumulative_incidence(weekly, [0.02] * 52) == pytest.approx(found)


def test_incidence_against_the_aalen_johansen_estimate_of_lifelines():
    """All 60 vehicles watched to the end, so the weekly shares are exact."""
    rng = np.random.default_rng(20260402)
    weeks = rng.integers(1, 11, 60)
    kinds = rng.integers(0, 3, 60) * (weeks < 10)  # 1 came, 2 left, 0 open at the end
    weeks = np.where(kinds == 0, 10, weeks)
    hazards, exits = [], []
    for week in range(1, 10):
        still = (weeks >= week).sum()
        hazards.append(((weeks == week) & (kinds == 1)).sum() / still)
        exits.append(((weeks == week) & (kinds == 2)).sum() / still)
    fitter = AalenJohansenFitter(calculate_variance=False, jitter_level=1e-7, seed=1)
    with pytest.warns(Warning, match="Tied event times"):
        fitter.fit(weeks.astype(float), kinds, event_of_interest=1)
    reference = float(fitter.cumulative_density_.iloc[-1, 0])
    assert response.cumulative_incidence(hazards, exits) == pytest.approx(
        reference, abs=0.005
    )


def test_exits_take_owners_off_the_forecast():
    edges = response.week_edges(52)
    path = STEADY.at((0.0,), edges)
    plain = response.hazard_beside_exits(path, 1.0, 0.0)
    assert plain == pytest.approx(STEADY.hazard((0.0,), 0, 52))
    left = response.hazard_beside_exits(path, 1.2, 0.01)
    weekly = [1 - math.exp(-1.2 * 0.02)] * 52
    assert 1 - math.exp(-1.2 * left) == pytest.approx(
        response.cumulative_incidence(weekly, 0.01)
    )
    assert list(response.week_edges(9 / 7)) == pytest.approx([0, 1, 9 / 7])
    assert list(response.week_edges(2)) == [0, 1, 2]


def test_the_share_that_leaves_is_found_again():
    rng = np.random.default_rng(5)
    campaigns = [invented(rng, vehicles=200, leaves=0.01) for _n in range(8)]
    assert response.weekly_exits(campaigns) == pytest.approx(0.01, rel=0.15)
    assert response.weekly_exits([]) == 0


def test_a_campaign_as_it_stood_by_hand():
    """Week 5 of a campaign with a reminder in week 4; hazard .02 a week."""
    campaign = ClosedCampaign(
        label="A",
        seen=(
            seen(3.0, vehicles=2),
            seen(9.0, letters=(0.0, 4.0), vehicles=5),
            seen(12.0, letters=(0.0, 8.0), vehicles=3, asked=False),
        ),
    )
    curve = ResponseCurve(first=STEADY.first, reminder=0.5)
    stood = response.stood_at(campaign, 5.0, curve)
    assert [(one.vehicles, one.letters) for one in stood.open] == [
        (3, (0.0,)),
        (5, (0.0, 4.0)),
    ]
    assert (stood.vehicles, stood.asked) == (8, 2)
    assert stood.age == pytest.approx((3 * 5 + 5 * 1) / 8)
    assert stood.expected == pytest.approx(
        2 * 0.06 + 3 * 0.10 + 5 * (0.10 + 0.5 * 0.02)
    )
    assert campaign.came_between(5.0, 9.0) == 5
    assert campaign.came_between(9.0, 20.0) == 0
    hazards = [one.hazard for one in stood.groups(curve, 2, pace=1.0)]
    assert hazards == pytest.approx([0.04, 0.06])


def by_split_halves(campaigns, weekly):
    """Count week by week for each vehicle: the slow way to 1/r."""
    top = bottom = 0.0
    for campaign in campaigns:
        came, due = [0, 0], [0.0, 0.0]
        for one in campaign.seen:
            for tenth in range(180):
                half = 0 if tenth < 60 else 1
                if tenth / 10 < one.until:
                    due[half] += weekly / 10
            if one.asked and one.until < 18:
                came[0 if one.until < 6 else 1] += 1
        top += (came[0] - due[0]) * (came[1] - due[1])
        bottom += due[0] * due[1]
    return bottom / top


def test_size_of_the_pace_against_counting_and_against_the_truth():
    """Paces drawn from Gamma(6, 6): the estimate from 60 campaigns is near 6."""
    rng = np.random.default_rng(31)
    campaigns = [invented(rng, pace=rng.gamma(6, 1 / 6)) for _n in range(60)]
    curve = ResponseCurve(
        first=HazardCurve(weeks=(0, 78), hazards=(0, -78 * math.log(0.96)))
    )
    found = response.pace_prior(campaigns, curve)
    slow = by_split_halves(campaigns, -math.log(0.96))
    assert found == pytest.approx(slow, rel=0.02)
    assert found == pytest.approx(6, rel=0.5)


def test_size_of_the_pace_at_its_limits():
    rng = np.random.default_rng(8)
    alike = [invented(rng) for _n in range(6)]
    assert response.pace_prior(alike[:4], STEADY) == PRIOR_PACE_SIZE
    wild = [invented(rng, pace=p) for p in (0.01, 0.01, 6, 6, 6)]
    low, high = response.PACE_PRIOR_RANGE
    assert response.pace_prior(wild, STEADY) == low
    torn = [
        ClosedCampaign(
            label="A", seen=(seen(0.5, vehicles=50), seen(60.0, asked=False))
        )
        for _n in range(5)
    ]
    assert response.pace_prior(torn, STEADY) == high


def test_error_factor_by_hand():
    """[(15 - 10)^2 - 9 + (8 - 10)^2 - 9] / 200 = .055, its root .2345."""
    missed = [
        Missed(mean=10, variance=9, came=15),
        Missed(mean=10, variance=9, came=8),
    ]
    assert response.error_factor(missed, 0.4) == pytest.approx(math.sqrt(0.055))
    assert response.error_factor([], 0.4) == 0.4
    calm = [Missed(mean=10, variance=9, came=10)]
    assert response.error_factor(calm, 0.4) == response.ERROR_RANGE[0]
    wild = [Missed(mean=1, variance=1, came=90)]
    assert response.error_factor(wild, 0.4) == response.ERROR_RANGE[1]


def test_learning_a_steady_truth():
    """A weekly chance of .04, exits of .005, alike in all campaigns."""
    rng = np.random.default_rng(77)
    campaigns = [invented(rng, leaves=0.005) for _n in range(8)]
    found = response.learn(campaigns)
    assert (found.campaigns, found.is_built_in) == (8, False)
    for week in (4, 13, 26):
        truth = 1 - 0.96**week
        assert found.curve.first.completed(week) == pytest.approx(truth, abs=0.05)
    assert found.exits == pytest.approx(0.005, rel=0.3)
    assert found.prior > 20  # campaigns alike: the own count matters little
    assert found.errors.early < 0.3


def test_too_few_campaigns_leave_the_built_in_curve():
    rng = np.random.default_rng(3)
    two = [invented(rng) for _n in range(2)]
    found = response.learn(two, vehicle_age_years=2)
    assert found == response.built_in(2)
    assert found.is_built_in
    assert found.curve.first.completed(78) == pytest.approx(0.83)
    silent = [
        ClosedCampaign(label="A", seen=(seen(40.0, asked=False, vehicles=9),))
    ] * 3
    assert response.learn(silent).is_built_in
    three = response.learn([invented(rng) for _n in range(3)])
    assert (three.campaigns, three.errors) == (3, ErrorFactors())


def test_vehicles_alike_have_letters_in_order():
    with pytest.raises(ValueError, match="Seen"):
        seen(3.0, letters=(4.0, 4.0))
    with pytest.raises(ValueError, match="Seen"):
        seen(3.0, letters=())
