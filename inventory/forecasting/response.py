"""What closed campaigns teach about the next one: curves, pace, errors and exits.

A campaign is a list of vehicles alike: when their letters came, until when they were
seen, and whether they asked for the part then. Time runs in weeks since the campaign's
start. Vehicles that left, were mended elsewhere or were still open at the end are
right-censored: they were seen open until then, and nothing more is known of them.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from inventory.forecasting.distribution import (
    PRIOR_PACE_SIZE,
    Moments,
    OpenGroup,
    Pace,
    pace_of,
    window_moments,
)
from inventory.forecasting.takeup import (
    LAST_WEEK,
    HazardCurve,
    WeekCount,
    cold_start_curve,
    curve_of_weeks,
    usual_ultimate,
)


FEWEST_FOR_A_CURVE = 3
"""Closed campaigns from which on their own curve is used; before it the built-in one.
A judgement, no source."""

FEWEST_FOR_SPREAD = 5
"""Closed campaigns from which on the size of pace and errors is learned."""

FEWEST_AFTER_REMINDER = 30
"""Requests after a second letter from which on its own curve is used: a judgement."""

REMINDER_ADDS = 0.05
"""Share of all owners that one reminder adds by week 60: from memory, no source."""

REMINDER_WEEK, REMINDER_SEEN_BY = 20, 60

PACE_PRIOR_RANGE = 3.0, 200.0
ERROR_RANGE = 0.05, 1.0

EARLY_ERROR, LATE_ERROR, REST_ERROR = 0.40, 0.30, 0.20
"""Error of a forecast as a share of its mean, beyond chance: window in weeks 0 to 12,
window from week 13, rest of the campaign. From simulation, no published source."""

EARLY_WEEKS = 13
USUAL_WINDOW_WEEKS = 3

_HALVES = (0.0, 6.0, 18.0)
_CERTAIN = 1 - 1e-12

Weeks: TypeAlias = NDArray[np.float64]

Stint: TypeAlias = tuple[float, float, bool]
"""Weeks since the letter at its start and end (the start is 0), whether asked then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """Vehicles alike: the weeks of their letters, and until when they were seen open.

    ``asked`` tells whether they asked at ``until``. Letters are in rising order; one
    that came after ``until`` tells nothing.
    """

    vehicles: int
    letters: tuple[float, ...]
    until: float
    asked: bool

    def __post_init__(self) -> None:
        """Hold letters in order and at least one."""
        rising = all(
            a < b for a, b in zip(self.letters, self.letters[1:], strict=False)
        )
        if not self.letters or not rising or self.vehicles < 0:
            raise ValueError(self)

    def stints(self) -> list[Stint]:
        """Give what was seen after each letter; nothing for who asked before the first."""
        ends = [*self.letters[1:], math.inf]
        return [
            (0.0, min(end, self.until) - start, self.asked and self.until < end)
            for start, end in zip(self.letters, ends, strict=True)
            if start <= self.until
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedCampaign:
    """One campaign at one store from its start to its end."""

    label: str
    seen: tuple[Seen, ...]

    @property
    def vehicles(self) -> int:
        """Give the vehicles that were watched."""
        return sum(one.vehicles for one in self.seen)

    @property
    def last_week(self) -> float:
        """Give the week until which anybody was watched."""
        return max((one.until for one in self.seen), default=0.0)

    def came_between(self, start: float, end: float) -> int:
        """Count who asked after ``start`` and not after ``end``."""
        return sum(
            one.vehicles for one in self.seen if one.asked and start < one.until <= end
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseCurve:
    """How owners come after a first letter, and after a later one.

    ``later`` runs by weeks since the latest letter. Where there is too little record
    for it, None: then a reminder adds ``reminder`` times the first curve, begun anew,
    to the first curve, which runs on.
    """

    first: HazardCurve
    later: HazardCurve | None = None
    reminder: float = 0.0

    def at(self, letters: Sequence[float], weeks: Weeks) -> Weeks:
        """Give the cumulative hazard at each of these weeks.

        All are weeks on one clock; letters in rising order, also those still to come.
        """
        total = np.zeros(len(weeks))
        for number, letter in enumerate(letters):
            until = letters[number + 1] if number + 1 < len(letters) else math.inf
            within = np.clip(weeks, letter, until)
            if number and self.later is not None:
                total += self.later.many(within - letter)
                continue
            base = letters[0]
            total += self.first.many(within - base) - self.first.at(letter - base)
            if number:
                total += self.reminder * self.first.many(within - letter)
        return total

    def hazard(self, letters: Sequence[float], start: float, end: float) -> float:
        """Give the cumulative hazard from week ``start`` to ``end``, as above."""
        low, high = self.at(letters, np.array([start, end], dtype=float))
        return max(0.0, float(high - low))

    def since(self, again: Weeks, until: Weeks) -> Weeks:
        """Give the cumulative hazard of many vehicles, each from its first letter.

        ``until`` are the weeks seen since it, ``again`` those to a later letter: it
        counts where it lies between the two (0: none came).
        """
        anew = np.where((again > 0) & (again < until), until - again, 0.0)
        if self.later is None:
            found = self.first.many(until) + self.reminder * self.first.many(anew)
        else:
            found = self.first.many(until - anew) + self.later.many(anew)
        return np.maximum(found, 0.0)

    @property
    def last_week(self) -> float:
        """Give the weeks after the latest letter when nobody more is expected."""
        later = self.later.last_week if self.later else 0.0
        return max(self.first.last_week, later)


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorFactors:
    """Error of forecasts beyond chance, each as a share of the mean."""

    early: float = EARLY_ERROR
    late: float = LATE_ERROR
    rest: float = REST_ERROR


USUAL_ERRORS = ErrorFactors()


@dataclass(frozen=True, slots=True, kw_only=True)
class Experience:
    """All that a forecast takes from closed campaigns.

    ``campaigns`` were learned from; 0 says that the curve is the built-in one.
    ``prior`` is the weight of the usual pace, in expected requests; ``exits`` is the
    share of open vehicles that leave in a week for another reason.
    """

    curve: ResponseCurve
    prior: float = PRIOR_PACE_SIZE
    errors: ErrorFactors = USUAL_ERRORS
    exits: float = 0.0
    campaigns: int = 0

    @property
    def is_built_in(self) -> bool:
        """Tell whether nothing was learned yet."""
        return self.campaigns == 0


# Curves ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Counted:
    """What closed campaigns come to in weeks since the letter; sums may be taken.

    ``opened`` and ``asked`` have a row for a first letter and one for later letters,
    and a column for each week. ``left`` vehicles went for another reason in
    ``watched`` vehicle-weeks.
    """

    opened: Weeks
    asked: Weeks
    left: float
    watched: float

    def without(self, other: "Counted") -> "Counted":
        """Take out a campaign that is in it."""
        return Counted(
            opened=self.opened - other.opened,
            asked=self.asked - other.asked,
            left=self.left - other.left,
            watched=self.watched - other.watched,
        )

    def curve(self) -> ResponseCurve:
        """Give the class curve, and the one for later letters where enough asked."""
        first = curve_of_weeks(self.opened[0], self.asked[0])
        enough = self.asked[1].sum() >= FEWEST_AFTER_REMINDER
        return ResponseCurve(
            first=first,
            later=curve_of_weeks(self.opened[1], self.asked[1]) if enough else None,
            reminder=reminder_strength(first),
        )

    @property
    def exits(self) -> float:
        """Give the share of open vehicles that leave in a week for another reason."""
        return self.left / self.watched if self.watched else 0.0


def count_weeks(campaign: ClosedCampaign) -> Counted:
    """Count one campaign by week since the letter.

    A vehicle counts as open in the weeks that it was observed to their end, and in the
    week in which it asked; a week that it left in is dropped.
    """
    steps = np.zeros((2, LAST_WEEK + 1))
    asked = np.zeros((2, LAST_WEEK))
    left = watched = 0.0
    end_of_all = campaign.last_week - 1e-9
    for one in campaign.seen:
        watched += one.vehicles * max(0.0, one.until - one.letters[0])
        if not one.asked and one.until < end_of_all:
            left += one.vehicles
        for number, (_start, end, came) in enumerate(one.stints()):
            which = min(number, 1)
            whole = math.floor(end + 1e-9)
            steps[which, 0] += one.vehicles
            steps[which, min(whole + came, LAST_WEEK)] -= one.vehicles
            if came and whole < LAST_WEEK:
                asked[which, whole] += one.vehicles
    opened = np.cumsum(steps, axis=1)[:, :LAST_WEEK]
    return Counted(opened=opened, asked=asked, left=left, watched=watched)


def together(counted: Iterable[Counted]) -> Counted:
    """Add campaigns up."""
    rows = list(counted)
    none = np.zeros((2, LAST_WEEK))
    return Counted(
        opened=sum((one.opened for one in rows), none),
        asked=sum((one.asked for one in rows), none),
        left=sum(one.left for one in rows),
        watched=sum(one.watched for one in rows),
    )


def week_counts(
    campaigns: Iterable[ClosedCampaign],
) -> tuple[tuple[WeekCount, ...], tuple[WeekCount, ...]]:
    """Count by week since the letter: after a first letter, and after a later one."""
    found = together(count_weeks(one) for one in campaigns)
    first, later = (
        tuple(
            WeekCount(week=week, open_at_start=int(size), asked=int(came))
            for week, (size, came) in enumerate(zip(opened, asked, strict=True))
            if size
        )
        for opened, asked in zip(found.opened, found.asked, strict=True)
    )
    return first, later


def learn_curve(campaigns: Sequence[ClosedCampaign]) -> ResponseCurve:
    """Pool closed campaigns into one class curve and one for later letters."""
    return together(count_weeks(one) for one in campaigns).curve()


def reminder_strength(curve: HazardCurve, adds: float = REMINDER_ADDS) -> float:
    """Give how strong a reminder is against a first letter, 0 or more.

    Solved so that one reminder in week 20 adds ``adds`` (a share of all owners) by
    week 60: with H adding, rho = log((1 - c) / (1 - c - adds)) / H(40), c the share
    that comes by week 60 without it.
    """
    without = curve.completed(REMINDER_SEEN_BY)
    base = curve.at(REMINDER_SEEN_BY - REMINDER_WEEK)
    if base <= 0 or adds <= 0 or without + adds >= 1:
        return 0.0
    return math.log((1 - without) / (1 - without - adds)) / base


def weekly_exits(campaigns: Iterable[ClosedCampaign]) -> float:
    """Give the share of open vehicles that leave in a week for another reason.

    Exits before the campaign's end over vehicle-weeks watched.
    """
    return together(count_weeks(one) for one in campaigns).exits


def cumulative_incidence(
    hazards: Sequence[float], exits: Sequence[float] | float
) -> float:
    """Give the share that comes in these weeks when others leave: sum O_{j-1} h_j.

    O_k = prod (1 - h_j - g_j) are those still open (Aalen and Johansen, 1978, from
    memory). ``hazards`` and ``exits`` are weekly shares of those open.
    """
    still_open, came = 1.0, 0.0
    for week, hazard in enumerate(hazards):
        gone = exits if isinstance(exits, int | float) else exits[week]
        came += still_open * hazard
        still_open *= max(0.0, 1 - hazard - gone)
    return came


def week_edges(weeks: float) -> Weeks:
    """Give 0, 1, 2 ... and the end of a stretch of weeks."""
    whole = np.arange(math.floor(weeks) + 1, dtype=float)
    return whole if whole[-1] == weeks else np.append(whole, weeks)


def hazard_beside_exits(cumulative: Weeks, pace: float, exits: float) -> float:
    """Give the hazard whose chance is the share that comes while others leave.

    ``cumulative`` is the hazard at week edges; ``exits`` the weekly share that leaves.
    Without exits it is the plain increase.
    """
    if not exits:
        return max(0.0, float(cumulative[-1] - cumulative[0]))
    weekly = -np.expm1(-pace * np.diff(cumulative))
    came = cumulative_incidence(weekly.tolist(), exits)
    return -math.log1p(-min(came, _CERTAIN)) / pace


# Where a campaign stood -----------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenThen:
    """Vehicles open in some week: their letters by then, on the campaign's clock."""

    vehicles: int
    letters: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoodAt:
    """A campaign as it was known in a week: who was open, asked and expected."""

    week: float
    open: tuple[OpenThen, ...]
    asked: int
    expected: float

    @property
    def vehicles(self) -> int:
        """Give the vehicles still open."""
        return sum(one.vehicles for one in self.open)

    @property
    def age(self) -> float:
        """Give the weeks since the latest letter, on average."""
        if not self.vehicles:
            return 0.0
        ages = (one.vehicles * (self.week - one.letters[-1]) for one in self.open)
        return sum(ages) / self.vehicles

    def groups(
        self, curve: ResponseCurve, weeks: float, *, pace: float, exits: float = 0.0
    ) -> list[OpenGroup]:
        """Give the open vehicles with their hazard of the coming weeks, exits off."""
        return [
            OpenGroup(
                vehicles=one.vehicles,
                hazard=hazard_beside_exits(
                    curve.at(one.letters, self.week + week_edges(weeks)), pace, exits
                ),
            )
            for one in self.open
        ]


def stood_at(campaign: ClosedCampaign, week: float, curve: ResponseCurve) -> StoodAt:
    """Give a campaign as it was known in a week; later letters are not known yet."""
    still_open: Counter[tuple[float, ...]] = Counter()
    watched: dict[tuple[float, ...], Counter[float]] = defaultdict(Counter)
    asked = 0
    for one in campaign.seen:
        known = tuple(letter for letter in one.letters if letter <= week)
        known = known or one.letters[:1]
        if one.until > week:
            still_open[known] += one.vehicles
        elif one.asked and one.until >= one.letters[0]:
            asked += one.vehicles
        watched[known][min(one.until, week)] += one.vehicles
    expected = sum(
        float(curve.at(letters, np.array([*ends], dtype=float)) @ [*ends.values()])
        for letters, ends in watched.items()
    )
    return StoodAt(
        week=week,
        open=tuple(
            OpenThen(vehicles=vehicles, letters=letters)
            for letters, vehicles in sorted(still_open.items())
        ),
        asked=asked,
        expected=expected,
    )


# Pace and errors ------------------------------------------------------------------


def pace_prior(campaigns: Sequence[ClosedCampaign], curve: ResponseCurve) -> float:
    """Give the weight of the usual pace, by split halves of closed campaigns.

    1/r = sum (d1 - E1)(d2 - E2) / sum E1 E2 over weeks 0 to 5 and 6 to 17 since the
    first letter, so that only pace that lasts counts; r is held to 3 to 200 (at 200 a
    campaign's own count hardly counts). Fewer than five campaigns: 6.
    """
    if len(campaigns) < FEWEST_FOR_SPREAD:
        return PRIOR_PACE_SIZE
    together = weight = 0.0
    for campaign in campaigns:
        (came, due), (later, later_due) = _halves(campaign, curve.first)
        together += (came - due) * (later - later_due)
        weight += due * later_due
    low, high = PACE_PRIOR_RANGE
    if together <= 0 or weight <= 0:
        return high
    return min(max(weight / together, low), high)


def _halves(
    campaign: ClosedCampaign, curve: HazardCurve
) -> tuple[tuple[int, float], tuple[int, float]]:
    """Count requests and expected requests in both halves after the first letter."""
    came, due = [0, 0], [0.0, 0.0]
    for one in campaign.seen:
        for _start, end, asked in one.stints()[:1]:
            for half in (0, 1):
                low, high = _HALVES[half], _HALVES[half + 1]
                due[half] += one.vehicles * curve.between(low, min(high, end))
                if asked and low <= end < high:
                    came[half] += one.vehicles
    return (came[0], due[0]), (came[1], due[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """One forecast of a replay: its moments, chance alone, and what came."""

    mean: float
    variance: float
    came: int


def error_factor(missed: Iterable[Missed], usual: float) -> float:
    """Give the error beyond chance as a share of the mean, .05 to 1.

    1/kappa = sum [(D - mu)^2 - Var] / sum mu^2; the factor is its root. Nothing to
    learn from: ``usual``.
    """
    beyond = weight = 0.0
    for one in missed:
        beyond += (one.came - one.mean) ** 2 - one.variance
        weight += one.mean**2
    if weight <= 0:
        return usual
    low, high = ERROR_RANGE
    return min(max(math.sqrt(max(beyond / weight, 0.0)), low), high)


def learn_errors(
    campaigns: Sequence[ClosedCampaign],
    *,
    prior: float,
    window_weeks: float = USUAL_WINDOW_WEEKS,
) -> ErrorFactors:
    """Replay each closed campaign with the curve of the others; see how far it was off.

    Fewer than five campaigns: the usual errors.
    """
    if len(campaigns) < FEWEST_FOR_SPREAD:
        return USUAL_ERRORS
    early: list[Missed] = []
    late: list[Missed] = []
    rest: list[Missed] = []
    counted = [count_weeks(one) for one in campaigns]
    everything = together(counted)
    for campaign, own in zip(campaigns, counted, strict=True):
        others = everything.without(own)
        curve, exits = others.curve(), others.exits
        end = campaign.last_week
        for week in range(math.ceil(end)):
            stood = stood_at(campaign, float(week), curve)
            if not stood.vehicles:
                break
            pace = pace_of(stood.asked, stood.expected, prior=prior)
            within = _missed(
                campaign, stood, curve, pace, weeks=window_weeks, exits=exits
            )
            (early if stood.age < EARLY_WEEKS else late).append(within)
            if week % 4 == 0:
                rest.append(
                    _missed(campaign, stood, curve, pace, weeks=end - week, exits=exits)
                )
    return ErrorFactors(
        early=error_factor(early, EARLY_ERROR),
        late=error_factor(late, LATE_ERROR),
        rest=error_factor(rest, REST_ERROR),
    )


def _missed(
    campaign: ClosedCampaign,
    stood: StoodAt,
    curve: ResponseCurve,
    pace: Pace,
    *,
    weeks: float,
    exits: float,
) -> Missed:
    groups = stood.groups(curve, weeks, pace=pace.mean, exits=exits)
    moments: Moments = window_moments(groups, pace)
    return Missed(
        mean=moments.mean,
        variance=moments.variance,
        came=campaign.came_between(stood.week, stood.week + weeks),
    )


# All together ---------------------------------------------------------------------


def built_in(vehicle_age_years: float | None = None) -> Experience:
    """Give what is known before any campaign was closed; see ``cold_start_curve``."""
    return _built_in(usual_ultimate(vehicle_age_years))


@cache  # a handful of shares; thousands of forecasts take the same curve
def _built_in(ultimate: float) -> Experience:
    curve = cold_start_curve(ultimate)
    return Experience(
        curve=ResponseCurve(first=curve, reminder=reminder_strength(curve))
    )


def learn(
    campaigns: Sequence[ClosedCampaign],
    *,
    vehicle_age_years: float | None = None,
    window_weeks: float = USUAL_WINDOW_WEEKS,
) -> Experience:
    """Learn from closed campaigns; fewer than three: the built-in curve.

    ``vehicle_age_years`` matters to the built-in curve only. ``window_weeks`` is the
    time until the delivery after next, for which errors are measured.
    """
    told = [one for one in campaigns if any(s.stints() for s in one.seen)]
    if len(told) < FEWEST_FOR_A_CURVE:
        return built_in(vehicle_age_years)
    curve = learn_curve(told)
    if curve.first.at(LAST_WEEK) <= 0:
        return built_in(vehicle_age_years)
    prior = pace_prior(told, curve)
    return Experience(
        curve=curve,
        prior=prior,
        errors=learn_errors(told, prior=prior, window_weeks=window_weeks),
        exits=weekly_exits(told),
        campaigns=len(told),
    )


# Keeping it -----------------------------------------------------------------------


def experience_kept(found: Experience) -> dict[str, Any]:
    """Write an experience as plain numbers and lists."""
    later = found.curve.later
    return {
        "weeks": list(found.curve.first.weeks),
        "hazards": list(found.curve.first.hazards),
        "later_weeks": list(later.weeks) if later else [],
        "later_hazards": list(later.hazards) if later else [],
        "reminder": found.curve.reminder,
        "prior": found.prior,
        "errors": [found.errors.early, found.errors.late, found.errors.rest],
        "exits": found.exits,
        "campaigns": found.campaigns,
    }


def experience_of(kept: Mapping[str, Any]) -> Experience:
    """Read what ``experience_kept`` wrote."""
    later = None
    if kept["later_weeks"]:
        later = HazardCurve(
            weeks=tuple(kept["later_weeks"]), hazards=tuple(kept["later_hazards"])
        )
    early, late, rest = kept["errors"]
    return Experience(
        curve=ResponseCurve(
            first=HazardCurve(
                weeks=tuple(kept["weeks"]), hazards=tuple(kept["hazards"])
            ),
            later=later,
            reminder=kept["reminder"],
        ),
        prior=kept["prior"],
        errors=ErrorFactors(early=early, late=late, rest=rest),
        exits=kept["exits"],
        campaigns=kept["campaigns"],
    )
