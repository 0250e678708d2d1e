"""How many pieces will be wanted in a stretch of days.

Class curve, pace and open vehicles give a beta-binomial number per campaign; booked
vehicles, scheduled service and certain work are added by convolution, since they are
independent of it. Nothing here knows a clock: ``today`` comes in.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from inventory.forecasting.distribution import (
    NONE_WANTED,
    PRIOR_PACE_SIZE,
    Demand,
    OpenGroup,
    Pace,
    UseShare,
    binomial,
    chance_not_booked,
    pace_of,
    poisson,
    use_share,
    window_demand,
)
from inventory.forecasting.response import (
    EARLY_WEEKS,
    USUAL_ERRORS,
    ErrorFactors,
    ResponseCurve,
    Weeks,
    hazard_beside_exits,
    week_edges,
)


SHOW_RATE = 0.9
"""Share of booked visits that happen: common practice, no source."""

LEAST_UNBOOKED = 1 / 3
"""Share of a forecast that comes beside those booked, at the least: common practice,
no source."""

_CERTAIN = 1 - 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Cohort:
    """Open vehicles, neither booked nor waiting, by weeks since their latest letter.

    A negative number of weeks is a letter still to come. ``weeks_since_first`` is set
    where the latest letter was not the first.
    """

    weeks_since_letter: float
    vehicles: int
    weeks_since_first: float | None = None

    def letters(self, reminder_in: float | None = None) -> tuple[float, ...]:
        """Give the weeks of the letters, today being 0; the planned one at the end."""
        found = [-self.weeks_since_letter]
        if self.weeks_since_first is not None:
            found.insert(0, -self.weeks_since_first)
        if reminder_in is not None and reminder_in > found[-1]:
            found.append(reminder_in)
        return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignUse:
    """What one campaign wants of one part at one store.

    ``booked`` has one day for each booked vehicle. ``asked`` and ``expected`` are the
    requests so far, counted and by the curve. ``unbooked_ahead`` (see
    ``chance_not_booked``) is empty while the store's own record is too short.
    ``exits`` is the share of open vehicles that leave in a week; ``learned_from`` the
    closed campaigns behind the curve, 0 for the built-in one; ``reminder_in`` the
    weeks until a letter that is planned.
    """

    label: str
    curve: ResponseCurve
    cohorts: tuple[Cohort, ...]
    booked: tuple[date, ...] = ()
    asked: int = 0
    expected: float = 0.0
    prior: float = PRIOR_PACE_SIZE
    pieces_per_vehicle: int = 1
    published_share: float = 1.0
    needed: int = 0
    not_needed: int = 0
    show_rate: float = SHOW_RATE
    unbooked_ahead: tuple[float, ...] = ()
    last_day: date | None = None
    errors: ErrorFactors = USUAL_ERRORS
    exits: float = 0.0
    learned_from: int = 0
    reminder_in: float | None = None

    @property
    def pace(self) -> Pace:
        """Give the campaign's pace."""
        return pace_of(self.asked, self.expected, prior=self.prior)

    @property
    def error(self) -> float:
        """Give the error of a forecast of the window beyond chance, by age."""
        early = self.mean_age_weeks() < EARLY_WEEKS
        return self.errors.early if early else self.errors.late

    @property
    def open_vehicles(self) -> int:
        """Give the vehicles open, booked ones included, waiting ones not."""
        return sum(cohort.vehicles for cohort in self.cohorts) + len(self.booked)

    @property
    def share(self) -> UseShare:
        """Give the share of vehicles that need the part."""
        return use_share(
            self.published_share, needed=self.needed, not_needed=self.not_needed
        )

    def mean_age_weeks(self) -> float:
        """Give the average weeks since the letter of the vehicles not booked."""
        vehicles = sum(cohort.vehicles for cohort in self.cohorts)
        weeks = sum(c.vehicles * c.weeks_since_letter for c in self.cohorts)
        return weeks / vehicles if vehicles else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduledUse:
    """A service item that takes the same part, whoever pays: pieces a week."""

    label: str
    pieces_per_week: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CertainUse:
    """Work that will be done on a day, such as the store's own vehicles."""

    label: str
    day: date
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignDemand:
    """A campaign's demand over a stretch of days, booked and not booked apart.

    ``booked_vehicles`` are booked within the stretch; the two demands are in pieces.
    """

    label: str
    booked_vehicles: int
    booked: Demand
    unbooked: Demand

    @property
    def total(self) -> Demand:
        """Give both together."""
        return self.booked.plus(self.unbooked)


def campaign_demand(
    use: CampaignUse, *, today: date, days: int, error: float | None = None
) -> CampaignDemand:
    """Forecast one campaign's demand for ``days`` days from today.

    ``error`` is the forecast error beyond chance (default by the campaign's age).
    Booked vehicles come with the show rate. Those not booked come with the rest of
    the forecast, at least ``LEAST_UNBOOKED`` of it, or as ``unbooked_ahead`` says.
    A campaign that ends within the stretch wants nothing after its last day.
    """
    if use.last_day is not None:
        days = min(days, (use.last_day - today).days + 1)
    if days <= 0:
        return CampaignDemand(
            label=use.label, booked_vehicles=0, booked=NONE_WANTED, unbooked=NONE_WANTED
        )
    within = sum((day - today).days <= days for day in use.booked)
    chance = use.show_rate * use.share.mean
    error = use.error if error is None else error
    groups = _unbooked_groups(use, days=days, booked_within=within)
    unbooked = window_demand(groups, use.pace.blurred(error), use.share)
    return CampaignDemand(
        label=use.label,
        booked_vehicles=within,
        booked=binomial(within, chance).times(use.pieces_per_vehicle),
        unbooked=unbooked.times(use.pieces_per_vehicle),
    )


def scheduled_demand(use: ScheduledUse, *, days: int) -> Demand:
    """Give a service item's demand: Poisson at its weekly rate."""
    return poisson(use.pieces_per_week * days / 7)


def certain_demand(uses: Iterable[CertainUse], *, today: date, days: int) -> Demand:
    """Give the pieces of all certain work that falls within the days, late included."""
    return Demand.certain(
        sum(use.pieces for use in uses if (use.day - today).days <= days)
    )


def _unbooked_groups(
    use: CampaignUse, *, days: int, booked_within: int
) -> list[OpenGroup]:
    """Give the cohorts with the hazard that is left beside bookings and exits."""
    pace, edges = use.pace.mean, week_edges(days / 7)
    paths = [use.curve.at(c.letters(use.reminder_in), edges) for c in use.cohorts]
    if use.unbooked_ahead:
        chances = [_left_by_record(use, path, pace) for path in paths]
    else:
        hazards = [hazard_beside_exits(path, pace, use.exits) for path in paths]
        chances = [1 - math.exp(-pace * hazard) for hazard in hazards]
        counts = [c.vehicles for c in use.cohorts]
        kept = _kept_share(chances, counts, booked_within, use.show_rate)
        chances = [chance * kept for chance in chances]
    return [
        OpenGroup(
            vehicles=c.vehicles, hazard=-math.log1p(-min(chance, _CERTAIN)) / pace
        )
        for c, chance in zip(use.cohorts, chances, strict=True)
    ]


def _kept_share(
    chances: Sequence[float], counts: Sequence[int], booked: int, show_rate: float
) -> float:
    """Give the share of the forecast still to come beside the booked, 0 to 1."""
    forecast = sum(n * chance for n, chance in zip(counts, chances, strict=True))
    if not forecast or not booked:
        return 1.0
    average = forecast / sum(counts)
    rest = forecast + booked * (average - show_rate)
    return min(1.0, max(rest / forecast, LEAST_UNBOOKED))


def _left_by_record(use: CampaignUse, path: Weeks, pace: float) -> float:
    """Give one cohort's chance to come unbooked, by the store's own record."""
    weekly = -np.expm1(-pace * np.diff(path))
    return chance_not_booked(weekly.tolist(), use.unbooked_ahead, exits=use.exits)
