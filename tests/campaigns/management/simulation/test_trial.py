"""The rules at invented stores, drawn at random, in a small size."""

from itertools import accumulate

import pytest
from django.core.management import call_command

from campaigns.management.simulation.trial import (
    COVERED,
    Tried,
    course_seen,
    goals_missed,
    lines,
    try_store,
)
from campaigns.management.simulation.truth import SEEDS, Law, make_store
from inventory.forecasting.calibration import Calibration
from inventory.forecasting.replay import Rule
from inventory.forecasting.response import built_in, learn_curve, stood_at


@pytest.mark.parametrize("law", Law)
def test_a_course_is_kept_as_it_ran(law):
    """Week by week as many are open and have asked as the course says."""
    curve = built_in().curve
    for course in make_store(law, 11, history=0, tried=6).tried:
        kept = course_seen(course, "C")
        assert kept.vehicles == course.vehicles
        asked, left = list(accumulate(course.asked)), list(accumulate(course.left))
        for week in (1, 5, course.reminded, 40, 77):
            stood = stood_at(kept, float(week), curve)
            assert stood.asked == asked[week - 1]
            gone = asked[week - 1] + left[week - 1]
            assert stood.vehicles == course.vehicles - gone
            latest = {one.letters[-1] for one in stood.open}
            due = float(course.reminded) if week >= course.reminded else 0.0
            assert latest <= {due}


def test_curve_of_the_history_is_that_of_the_courses():
    """Kaplan-Meier by hand over weekly counts, first letter alone."""
    store = make_store(Law.ONE_CURVE, 23)
    curve = learn_curve([course_seen(one, "H") for one in store.history]).first
    still_open, came = 1.0, 0.0
    for week in range(6):  # before any reminder, one knot a week
        at_risk = sum(
            one.vehicles - sum(one.asked[:week]) - sum(one.left[: week + 1])
            for one in store.history
        )
        still_open *= 1 - sum(one.asked[week] for one in store.history) / at_risk
        came = 1 - still_open
    assert curve.completed(6) == pytest.approx(came, abs=1e-12)


@pytest.mark.parametrize("law", Law)
def test_proposals_beat_both_simple_rules(law):
    """The goals of the full trial, with the room that so few campaigns need."""
    found = try_store(make_store(law, SEEDS[0], tried=8))
    assert found.times(Rule.EVERY_VEHICLE) > 2
    assert found.times(Rule.LAST_WEEKS) > 1.5
    assert COVERED[0] - 0.04 < found.whole.within < COVERED[1] + 0.04
    assert found.whole.was == pytest.approx(found.whole.said, abs=0.04)
    assert found.whole.losses[0] < min(found.whole.losses[1:])


def tried(law=Law.TWO_KINDS, *, every=3.0, last=3.0, within=0.8, was=0.98):
    told = Calibration(
        forecasts=10,
        within=within,
        said=0.985,
        was=was,
        usual_said=0.96,
        usual_was=0.955,
        mean=3.0,
        came=3.1,
        losses=(0.1, 1.0, 0.8),
    )
    costs = {Rule.PROPOSALS: 100.0, Rule.EVERY_VEHICLE: 100 * every}
    return Tried(
        law=law,
        seed=1,
        campaigns=5,
        costs=costs | {Rule.LAST_WEEKS: 100 * last},
        served=dict.fromkeys(Rule, 0.97),
        early=told,
        late=told,
        whole=told,
        experience=built_in(),
    )


def test_a_goal_that_is_missed_is_named():
    fine = tried(Law.ONE_CURVE)
    assert goals_missed([tried(), fine]) == []
    assert goals_missed([tried(every=2.4), fine]) == [
        "A every_vehicle: 2.40 times, least 2.40"
    ]
    rows = [tried(), tried(last=1.4), tried(), fine]
    assert goals_missed(rows) == ["A last_weeks: 3.00 times, least 1.40"]
    assert goals_missed([tried(within=0.7), fine]) == ["A 80 per cent interval: 0.700"]
    assert goals_missed([tried(was=0.96), fine]) == [
        "A order level: off by -0.025 and -0.005"
    ]


def test_table_has_a_row_a_store_and_a_line_a_law():
    said = list(lines([tried(), tried(Law.ONE_CURVE)]))
    assert said[2] == (
        "| A, 1 | 0 | 3.00 x | 3.00 x |"
        " 0.970 | 0.800 | 0.800 | 0.800 | 0.985 | 0.980 | 0.960 | 0.955 |"
    )
    assert len(said) == 6
    assert said[-1].startswith("B, all 5 campaigns: median 3.00 and 3.00 times")


def test_command_prints_the_small_trial(monkeypatch, capsys):
    from campaigns.management.commands import simulate_stores  # noqa: PLC0415

    monkeypatch.setitem(simulate_stores.SIZES, "small", ((11,), 1))
    call_command("simulate_stores")
    out = capsys.readouterr().out
    assert out.count("| A, 11 |") == out.count("| B, 11 |") == 1
