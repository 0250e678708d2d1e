"""Completion curves against published tables and a reference library."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter

from inventory.forecasting import takeup
from inventory.forecasting.takeup import WeekCount


# Freireich and others 1963, 6-MP arm: weeks of remission, True where it ended.
REMISSION = [
    *((6, True), (6, True), (6, True), (6, False), (7, True), (9, False)),
    *((10, True), (10, False), (11, False), (13, True), (16, True), (17, False)),
    *((19, False), (20, False), (22, True), (23, True), (25, False), (32, False)),
    *((32, False), (34, False), (35, False)),
]

HISTORIES = st.lists(
    st.tuples(st.integers(0, 30), st.booleans()), min_size=1, max_size=60
)


def test_published_remission_times():
    """Survival and Greenwood errors as in R survfit's output for these data."""
    weeks, ended = zip(*REMISSION, strict=True)
    points = takeup.completion_curve(weeks, ended)
    assert [point.week for point in points] == [6, 7, 10, 13, 16, 22, 23]
    survival = [round(1 - point.completed, 3) for point in points]
    assert survival == [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    errors = [round(point.error, 4) for point in points]
    assert errors == [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346]
    assert round(1 - points[2].high, 4) == 0.5032
    assert round(1 - points[2].low, 4) == 0.8894


@settings(deadline=None, max_examples=40)
@given(HISTORIES)
def test_agrees_with_lifelines(history):
    weeks, asked = zip(*history, strict=True)
    points = takeup.completion_curve(weeks, asked)
    fitter = KaplanMeierFitter().fit(weeks, asked)
    for point in points:
        expected = float(fitter.survival_function_at_times(point.week).iloc[0])
        assert 1 - point.completed == pytest.approx(expected, abs=1e-9)
        row = fitter.event_table.loc[point.week]
        assert (point.at_risk, point.asked) == (row["at_risk"], row["observed"])
        if point.low is not None:
            low, high = fitter.confidence_interval_.loc[point.week]
            assert 1 - point.high == pytest.approx(low, abs=1e-6)
            assert 1 - point.low == pytest.approx(high, abs=1e-6)
    assert len(points) == len({week for week, came in history if came})


def test_nobody_came_and_everybody_came():
    assert takeup.completion_curve([3, 4], [False, False]) == ()
    assert takeup.completion_curve([], []) == ()
    (point,) = takeup.completion_curve([3, 3], [True, True])
    assert (point.completed, point.error, point.low, point.high) == (
        1,
        None,
        None,
        None,
    )


def test_refuses_lists_that_do_not_fit():
    with pytest.raises(ValueError, match="each vehicle"):
        takeup.completion_curve([1, 2], [True])
    with pytest.raises(ValueError, match="each vehicle"):
        takeup.completion_curve([-1], [True])


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.integers(1, 50), st.floats(0, 0.9)), max_size=8))
def test_weekly_hazards_multiply_to_kaplan_meier(weeks):
    """prod(1 - d/n) over weeks is Kaplan-Meier exactly (weeks 0 to 7 stand alone)."""
    counts = [
        WeekCount(week=week, open_at_start=size, asked=int(size * share))
        for week, (size, share) in enumerate(weeks)
    ]
    product = math.prod(1 - count.asked / count.open_at_start for count in counts)
    curve = takeup.hazard_curve(counts)
    assert 1 - curve.completed(len(counts)) == pytest.approx(product)


def test_later_weeks_are_pooled_in_blocks():
    counts = [
        WeekCount(week=8, open_at_start=100, asked=8),
        WeekCount(week=9, open_at_start=100, asked=2),
        WeekCount(week=80, open_at_start=10, asked=10),
    ]
    curve = takeup.hazard_curve(counts)
    assert curve.between(8, 9) == pytest.approx(-math.log(0.95))
    assert curve.between(9, 10) == pytest.approx(-math.log(0.95))
    assert curve.at(200) == pytest.approx(curve.at(10))
    assert takeup.hazard_curve([]).at(78) == 0


def test_a_week_in_which_all_come_stays_finite():
    curve = takeup.hazard_curve([WeekCount(week=0, open_at_start=4, asked=4)])
    assert 0.99 < curve.completed(1) < 1


def test_built_in_curve_passes_through_its_shape():
    """Our own judgement, no source: the test holds the table, not the truth."""
    curve = takeup.cold_start_curve(2 / 3)
    for week, part in takeup.COLD_START_SHAPE:
        assert curve.completed(week) == pytest.approx(2 / 3 * part)
    assert curve.at(-3) == 0
    assert curve.completed(500) == pytest.approx(2 / 3)
    assert curve.last_week == 78
    assert curve.between(9, 2) == 0


def test_a_window_of_nine_days_is_read_between_the_weeks():
    curve = takeup.cold_start_curve(0.5)
    slow = curve.at(2) + (curve.at(3) - curve.at(2)) * 2 / 7
    assert curve.at(1 + 9 / 7) == pytest.approx(slow)


@pytest.mark.parametrize(
    ("age", "share"),
    [(None, 2 / 3), (0, 0.83), (4.9, 0.83), (5, 0.44), (10, 0.44), (11, 0.33)],
)
def test_share_that_comes_by_age(age, share):
    """An industry association's figures, read at second hand: 83 and 44 per cent."""
    assert takeup.usual_ultimate(age) == share


@pytest.mark.parametrize(
    "broken",
    [
        lambda: takeup.HazardCurve(weeks=(0, 0), hazards=(0, 1)),
        lambda: takeup.HazardCurve(weeks=(0, 1), hazards=(1, 0)),
        lambda: takeup.HazardCurve(weeks=(), hazards=()),
        lambda: takeup.cold_start_curve(1.0),
        lambda: takeup.cold_start_curve(0.0),
        lambda: WeekCount(week=0, open_at_start=1, asked=2),
        lambda: WeekCount(week=-1, open_at_start=1, asked=0),
    ],
)
def test_impossible_figures_are_our_own_mistake(broken):
    with pytest.raises(ValueError):  # noqa: PT011 -- each has its own words
        broken()
