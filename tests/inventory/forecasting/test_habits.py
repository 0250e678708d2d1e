"""Show rate and booking ahead, by hand and beside a slow count."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from inventory.forecasting.habits import (
    WALKED_IN,
    WEEKS_AHEAD,
    learned_show_rate,
    unbooked_ahead,
)


@pytest.mark.parametrize(
    ("kept", "missed", "rate"), [(0, 0, 0.9), (80, 20, 98 / 120), (0, 20, 18 / 40)]
)
def test_show_rate_is_the_mean_of_a_beta(kept, missed, rate):
    """Beta(18 + kept, 2 + missed): its mean by SciPy."""
    found = learned_show_rate(0.9, kept=kept, missed=missed)
    assert found == pytest.approx(rate)
    assert found == pytest.approx(stats.beta.mean(18 + kept, 2 + missed))


@pytest.mark.parametrize(("usual", "kept", "missed"), [(1.1, 0, 0), (0.9, -1, 0)])
def test_what_cannot_be_is_refused(usual, kept, missed):
    with pytest.raises(ValueError, match="counted from zero"):
        learned_show_rate(usual, kept=kept, missed=missed)


def test_booked_ten_days_ahead_by_all():
    """Visits of the next ten days are booked; those of day 11 on are not."""
    found = unbooked_ahead({10: 40})
    assert found[0] == 0.0
    assert found[1] == pytest.approx(4 / 7)  # days 11 to 14 of 8 to 14
    assert set(found[2:]) == {1.0}


def test_who_walks_in_is_never_booked():
    assert set(unbooked_ahead({WALKED_IN: 30})) == {1.0}


def test_too_few_repairs_teach_nothing():
    assert unbooked_ahead({3: 29}) == ()
    assert unbooked_ahead({}) == ()


@given(
    st.dictionaries(st.integers(-1, 80), st.integers(1, 30), min_size=1).filter(
        lambda found: sum(found.values()) >= 30
    )
)
def test_as_counted_visit_by_visit(days_ahead):
    """Each visit on each day of a week, asked whether it is booked by today."""
    visits = [ahead for ahead, n in days_ahead.items() for _visit in range(n)]
    found = unbooked_ahead(days_ahead)
    assert len(found) == WEEKS_AHEAD
    for week, share in enumerate(found):
        not_yet = [
            booked_before < day
            for day in range(7 * week + 1, 7 * week + 8)
            for booked_before in visits
        ]
        assert share == pytest.approx(sum(not_yet) / len(not_yet), abs=1e-6)
    assert list(found) == sorted(found)
