import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from dealership.rules.jobs import (
    FINISHED,
    MOVES,
    JobState,
    Timed,
    back_off,
    may_move,
    seconds_left,
)


CHICAGO = ZoneInfo("America/Chicago")


def utc(*parts: int) -> dt.datetime:
    return dt.datetime(*parts, tzinfo=dt.UTC)


def test_every_state_has_its_moves():
    assert set(MOVES) == set(JobState)


def test_no_worker_takes_what_is_finished_or_paused():
    takers = {state for state in JobState if may_move(state, JobState.RUNNING)}
    assert takers == {JobState.WAITING, JobState.RUNNING}


def test_only_a_failed_job_comes_back():
    back = {state for state in FINISHED if MOVES[state]}
    assert back == {JobState.FAILED}
    assert MOVES[JobState.FAILED] == {JobState.WAITING}


def test_back_off_grows():
    waits = [back_off(attempts).total_seconds() for attempts in (1, 2, 3)]
    assert waits == [5, 30, 180]


@pytest.mark.parametrize(
    ("now", "due"),
    [
        # Chicago is UTC-6 in winter and UTC-5 in summer (tz database).
        (utc(2026, 11, 25, 8, 0), utc(2026, 11, 25, 8, 0)),
        (utc(2026, 11, 25, 7, 59, 59), utc(2026, 11, 24, 8, 0)),
        (utc(2026, 7, 1, 7, 30), utc(2026, 7, 1, 7, 0)),
        # 2026-03-08: the clock goes from 01:59:59 to 03:00; 02:00 counts as 03:00.
        (utc(2026, 3, 8, 8, 0), utc(2026, 3, 8, 8, 0)),
        (utc(2026, 3, 8, 7, 59), utc(2026, 3, 7, 8, 0)),
    ],
)
def test_hour_of_the_local_day(now, due):
    assert Timed("nightly", hour=2).last_due(now, CHICAGO) == due


def test_of_an_hour_that_comes_twice_the_first_counts():
    # 2026-11-01, 01:30 the second time: 07:30 UTC.
    timed = Timed("nightly", hour=1)
    assert timed.last_due(utc(2026, 11, 1, 7, 30), CHICAGO) == utc(2026, 11, 1, 6, 0)


def test_interval_counts_from_full_hours():
    timed = Timed("hourly", every=dt.timedelta(hours=1))
    assert timed.last_due(utc(2026, 11, 25, 1, 59), CHICAGO) == utc(2026, 11, 25, 1)


@pytest.mark.parametrize(
    "given", [{}, {"hour": 2, "every": dt.timedelta(hours=1)}], ids=["none", "both"]
)
def test_timed_takes_exactly_one_of_hour_and_interval(given):
    with pytest.raises(ValueError, match="give an hour or an interval"):
        Timed("nightly", **given)


@pytest.mark.parametrize(
    ("done", "total", "elapsed", "left"),
    [
        (50, 100, 10.0, 10.0),
        (4, 100, 10.0, None),
        (5, 100, 1.0, 19.0),
        (0, 100, 10.0, None),
        (7, None, 10.0, None),
        (100, 100, 10.0, 0.0),
    ],
)
def test_seconds_left(done, total, elapsed, left):
    assert seconds_left(done, total, elapsed) == left
