"""How fast owners ask for a remedy: completion curves and cumulative hazards.

The event is a part *asked for* at this store, not the repair: in a stock-out repairs
would measure supply, not demand. Time runs in weeks since the latest owner letter.
"""

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


COLD_START_SHAPE: tuple[tuple[float, float], ...] = (
    (0.0, 0.0),
    (1.0, 0.04),
    (4.0, 0.25),
    (8.0, 0.42),
    (13.0, 0.55),
    (26.0, 0.75),
    (52.0, 0.92),
    (78.0, 1.0),
)
"""Week and share of those who will ever come: a judgement with no source, to be
replaced by the store's own closed campaigns."""

BLOCK_STARTS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 16, 20, 26, 39, 52)
"""Weeks at which a new block of constant hazard begins; the last ends at week 78."""

LAST_WEEK = 78

_NEARLY_ALL = 1 - 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class CompletionPoint:
    """The completion curve just after a week in which somebody asked.

    Shares lie in 0 to 1. ``low`` and ``high`` bound ``completed``; they and ``error``
    are None where the data give no bound (everybody has come).
    """

    week: float
    at_risk: int
    asked: int
    completed: float
    error: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekCount:
    """One week since the letter: vehicles open at its start, and how many asked.

    Only vehicles observed to the week's end count as ``open_at_start``.
    """

    week: int
    open_at_start: int
    asked: int

    def __post_init__(self) -> None:
        """Hold 0 <= asked <= open."""
        if self.week < 0 or not 0 <= self.asked <= self.open_at_start:
            raise ValueError(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class HazardCurve:
    """Cumulative hazard by weeks since the letter; linear between its knots.

    The chance that a vehicle open at week a has come by week b is
    1 - exp(-(H(b) - H(a))). Zero before week 0, flat after the last knot.
    """

    weeks: tuple[float, ...]
    hazards: tuple[float, ...]

    def __post_init__(self) -> None:
        """Hold the knots in order, and the hazard from falling."""
        rising = all(np.diff(self.weeks) > 0) and all(np.diff(self.hazards) >= 0)
        if len(self.weeks) != len(self.hazards) or not self.weeks or not rising:
            raise ValueError("a curve needs knots in order and a hazard that rises")

    def at(self, week: float) -> float:
        """Give H at a week; a negative week is before the letter: 0."""
        return float(np.interp(week, self.weeks, self.hazards, left=0.0))

    def many(self, weeks: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give H at many weeks."""
        found: NDArray[np.float64] = np.interp(
            weeks, self.weeks, self.hazards, left=0.0
        )
        return found

    def between(self, start: float, end: float) -> float:
        """Give H(end) - H(start), never below zero."""
        return max(0.0, self.at(end) - self.at(start))

    def completed(self, week: float) -> float:
        """Give the share expected to have come by a week, 0 to 1."""
        return 1.0 - math.exp(-self.at(week))

    @property
    def last_week(self) -> float:
        """Give the week after which nobody more is expected."""
        return self.weeks[-1]


def completion_curve(
    weeks: Sequence[float], asked: Sequence[bool], *, confidence: float = 0.95
) -> tuple[CompletionPoint, ...]:
    """Estimate the share that has come by each week (Kaplan and Meier, 1958).

    ``weeks`` gives each vehicle's time to its request or, where ``asked`` is false,
    to the last day it was seen open (right-censored). Standard error by Greenwood
    (1926); bounds on the log-log scale, which stay within 0 and 1 (Kalbfleisch and
    Prentice, ch. 1, from memory). One point for each week in which somebody asked.
    Raises ValueError for lists of unequal length or negative weeks.
    """
    times = np.asarray(weeks, dtype=float)
    events = np.asarray(asked, dtype=bool)
    if times.shape != events.shape or (times < 0).any():
        raise ValueError("each vehicle needs a week of zero or more and a yes or no")
    if not events.any():
        return ()
    from scipy import stats  # noqa: PLC0415 (47 MB that letters and pages do without)

    data = stats.CensoredData.right_censored(times, ~events)
    curve = stats.ecdf(data).sf
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # no bound at 0: told as None
        band = curve.confidence_interval(confidence, method="log-log")
    points = []
    greenwood = 0.0
    for place, week in enumerate(curve.quantiles):
        at_risk = int((times >= week).sum())
        came = int((events & (times == week)).sum())
        if not came:
            continue
        still_open = float(curve.probabilities[place])
        left = at_risk - came
        greenwood += came / (at_risk * left) if left else 0.0
        points.append(
            CompletionPoint(
                week=float(week),
                at_risk=at_risk,
                asked=came,
                completed=1.0 - still_open,
                error=still_open * math.sqrt(greenwood) if left else None,
                low=_turned(band.high.probabilities[place]),
                high=_turned(band.low.probabilities[place]),
            )
        )
    return tuple(points)


def hazard_curve(counts: Sequence[WeekCount]) -> HazardCurve:
    """Pool weekly counts of closed campaigns into one class curve.

    h = asked / open in each block of weeks (``BLOCK_STARTS``), H = sum of -log(1 - h)
    (grouped survival data as binomials: Cox 1972; Allison 1982, from memory). Weeks
    from 78 on are left out; a block with no vehicle at risk adds nothing.
    """
    opened, asked = np.zeros(LAST_WEEK), np.zeros(LAST_WEEK)
    for count in counts:
        if count.week < LAST_WEEK:
            opened[count.week] += count.open_at_start
            asked[count.week] += count.asked
    return curve_of_weeks(opened, asked)


def curve_of_weeks(
    opened: NDArray[np.float64], asked: NDArray[np.float64]
) -> HazardCurve:
    """Give the class curve of counts that stand in columns of weeks 0 to 77."""
    starts = np.array(BLOCK_STARTS)
    at_risk = np.add.reduceat(opened, starts)
    came = np.add.reduceat(asked, starts)
    share = np.divide(came, at_risk, out=np.zeros_like(came), where=at_risk > 0)
    weekly = -np.log1p(-np.minimum(share, _NEARLY_ALL))
    widths = np.diff(np.append(starts, LAST_WEEK))
    hazards = np.concatenate([[0.0], np.cumsum(weekly * widths)])
    return HazardCurve(
        weeks=(*(float(week) for week in starts), float(LAST_WEEK)),
        hazards=tuple(float(value) for value in hazards),
    )


def cold_start_curve(ultimate: float) -> HazardCurve:
    """Give the built-in curve for a store that has no closed campaign yet.

    ``ultimate`` is the share that will have come by week 78, above 0 and below 1;
    see ``usual_ultimate``. Share by week = ultimate x ``COLD_START_SHAPE``; the
    hazard is constant between its weeks. Raises ValueError outside the range.
    """
    if not 0 < ultimate < 1:
        raise ValueError("the share that ever comes lies between 0 and 1")
    return HazardCurve(
        weeks=tuple(week for week, _ in COLD_START_SHAPE),
        hazards=tuple(-math.log1p(-ultimate * part) for _, part in COLD_START_SHAPE),
    )


def usual_ultimate(vehicle_age_years: float | None) -> float:
    """Give the share of owners that usually comes in the end, by the vehicle's age.

    0.83 under 5 years, 0.44 from 5 to 10, and 0.33 above 10, where the source's
    wording allows 0.29 or 0.37; figures of an industry association, read at second
    hand. Two thirds when the age is unknown: the average at 18 months in a press
    analysis of the regulator's quarterly reports (2018), read at second hand.
    """
    if vehicle_age_years is None:
        return 2 / 3
    if vehicle_age_years < 5:  # noqa: PLR2004 -- the source's own band
        return 0.83
    return 0.44 if vehicle_age_years <= 10 else 0.33  # noqa: PLR2004 -- as above


def _turned(still_open: float) -> float | None:
    """Turn a bound on those still open into one on those who came."""
    return None if math.isnan(still_open) else 1.0 - float(still_open)
