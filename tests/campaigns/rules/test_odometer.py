"""Odometer readings; the bounds are common practice, no source."""

import datetime as dt

import pytest

from campaigns.rules.odometer import OdometerVerdict, judge_odometer


TODAY = dt.date(2026, 11, 25)
A_YEAR_AGO = dt.date(2025, 11, 25)


@pytest.mark.parametrize(
    ("miles", "last", "last_on", "verdict"),
    [
        (41_500, 41_500, A_YEAR_AGO, OdometerVerdict.PLAUSIBLE),
        (41_499, 41_500, A_YEAR_AGO, OdometerVerdict.BELOW_LAST),
        (101_500, 41_500, A_YEAR_AGO, OdometerVerdict.PLAUSIBLE),
        (101_501, 41_500, A_YEAR_AGO, OdometerVerdict.FAR_ABOVE),
        (46_500, 41_500, TODAY, OdometerVerdict.PLAUSIBLE),
        (46_501, 41_500, TODAY, OdometerVerdict.FAR_ABOVE),
        (46_501, 41_500, TODAY + dt.timedelta(days=3), OdometerVerdict.FAR_ABOVE),
        (101_500, 41_500, None, OdometerVerdict.PLAUSIBLE),
        (101_501, 41_500, None, OdometerVerdict.FAR_ABOVE),
        (999_999, None, None, OdometerVerdict.PLAUSIBLE),
        (1_000_000, None, None, OdometerVerdict.FAR_ABOVE),
        (1_000_000, 999_999, TODAY, OdometerVerdict.FAR_ABOVE),
        (0, None, None, OdometerVerdict.PLAUSIBLE),
    ],
)
def test_judge_odometer(miles, last, last_on, verdict):
    found = judge_odometer(miles=miles, on=TODAY, last_miles=last, last_on=last_on)
    assert found is verdict
