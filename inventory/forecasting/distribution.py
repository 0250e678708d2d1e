"""Numbers of pieces that are not known yet, as distributions, and a campaign's pace."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Self, TypeAlias

import numpy as np
from numpy.typing import NDArray


Chances: TypeAlias = NDArray[np.float64]

PRIOR_PACE_SIZE = 6.0
"""Weight of "the usual pace", in expected requests, with fewer than five closed
campaigns to learn it from."""

_TAIL = 1e-12
_TIE = 1e-12
_SEEN = 5e-5


@dataclass(frozen=True, eq=False, slots=True)
class Demand:
    """A number of pieces that is not known yet: ``chances[k]`` is P(D = k).

    A proposal asks the same demand a dozen times, so its sums are kept once made.
    """

    chances: Chances
    _sums: list[Chances] = field(init=False, repr=False, default_factory=list)

    @classmethod
    def of(cls, chances: Chances) -> Self:
        """Take chances of 0, 1, 2 ..., cut the tail below 1e-12, make them add to 1."""
        above = np.cumsum(chances[::-1])[::-1]
        kept = chances[: max(1, int((above > _TAIL).sum()))]
        return cls(kept / kept.sum())

    @classmethod
    def certain(cls, pieces: int) -> Self:
        """Give a demand of exactly so many pieces."""
        chances = np.zeros(pieces + 1)
        chances[pieces] = 1.0
        return cls(chances)

    @property
    def below(self) -> Chances:
        """Give P(D <= k) for each k."""
        if not self._sums:
            self._sums.append(self.chances.cumsum())
        return self._sums[0]

    @property
    def mean(self) -> float:
        """Give E D in pieces."""
        return float(np.arange(len(self.chances)) @ self.chances)

    @property
    def variance(self) -> float:
        """Give Var D."""
        away = np.arange(len(self.chances)) - self.mean
        return float(away**2 @ self.chances)

    @property
    def largest(self) -> int:
        """Give the largest demand that has a chance."""
        return len(self.chances) - 1

    def at_most(self, pieces: int) -> float:
        """Give P(D <= pieces)."""
        if pieces < 0:
            return 0.0
        return min(1.0, float(self.below[min(pieces, self.largest)]))

    def at_least(self, pieces: int) -> float:
        """Give P(D >= pieces)."""
        return min(1.0, float(self.chances[max(0, pieces) :].sum()))

    def level(self, chance: float) -> int:
        """Give the smallest number of pieces that suffices with this chance, 0 to 1."""
        reached = int(self.below.searchsorted(chance - _TIE))
        return min(reached, self.largest)

    def short(self, pieces: int) -> float:
        """Give E(D - pieces)+: customers without a part, on average."""
        wanting = np.arange(len(self.chances)) - pieces
        return float(np.maximum(wanting, 0) @ self.chances)

    def left(self, pieces: int) -> float:
        """Give E(pieces - D)+: pieces left over, on average."""
        return float(self.below[: max(0, min(pieces, len(self.chances)))].sum()) + max(
            0, pieces - len(self.chances)
        )

    def tail(self) -> tuple[float, ...]:
        """Give P(D >= 1), P(D >= 2) ..., four decimals each, while above zero."""
        above = np.cumsum(self.chances[::-1])[::-1][1:]
        return tuple(round(min(1.0, one), 4) for one in above.tolist() if one >= _SEEN)

    def shortages(self, top: int) -> Chances:
        """Give E(D - y)+ for y = 0, 1 ... top: n(y) = sum of P(D > x) from x = y on."""
        above = np.zeros(max(top + 1, len(self.chances)))
        above[: len(self.chances)] = 1.0 - np.cumsum(self.chances)
        beyond: Chances = np.cumsum(np.maximum(above, 0.0)[::-1])[::-1]
        return beyond[: top + 1]

    def fill_rate(self, pieces: int) -> float:
        """Give the share of demand met at once: 1 - E(D - pieces)+ / E D."""
        return 1.0 - self.short(pieces) / self.mean if self.mean else 1.0

    def plus(self, other: "Demand") -> "Demand":
        """Give the demand of two independent sources together."""
        if other.largest == 0:
            return self
        if self.largest == 0:
            return other
        return Demand.of(np.convolve(self.chances, other.chances))

    def times(self, pieces: int) -> "Demand":
        """Give the demand in pieces when each vehicle takes so many."""
        chances = np.zeros(self.largest * pieces + 1)
        np.add.at(chances, np.arange(len(self.chances)) * pieces, self.chances)
        return Demand(chances)


NONE_WANTED = Demand.certain(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How this campaign runs against the class curve: theta ~ Gamma(alpha, beta)."""

    alpha: float
    beta: float

    @property
    def mean(self) -> float:
        """Give the pace: 1.2 is 1.2 times the usual."""
        return self.alpha / self.beta

    def blurred(self, error: float) -> "Pace":
        """Add a forecast error of ``error`` times the mean, the mean unchanged.

        1/alpha' = 1/alpha + 1/kappa + 1/(alpha kappa) with kappa = 1/error^2: the
        product of two independent gamma factors has this variation.
        """
        if error <= 0:
            return self
        kappa = 1 / error**2
        alpha = 1 / (1 / self.alpha + 1 / kappa + 1 / (self.alpha * kappa))
        return Pace(alpha=alpha, beta=alpha / self.mean)

    def none_come(self, hazard: float) -> float:
        """Give E exp(-theta x hazard), the chance that one vehicle stays away."""
        return math.exp(-self.alpha * math.log1p(hazard / self.beta))

    def all_stay(self, hazards: Chances) -> Chances:
        """Give ``none_come`` for many hazards at once."""
        stay: Chances = np.exp(-self.alpha * np.log1p(hazards / self.beta))
        return stay


def pace_of(asked: int, expected: float, *, prior: float = PRIOR_PACE_SIZE) -> Pace:
    """Learn the pace: theta given the data ~ Gamma(prior + asked, prior + expected).

    The mean is Z x asked/expected + (1 - Z) with credibility Z = expected/(expected +
    prior): the Poisson-gamma or Bühlmann formula (Klugman, Panjer and Willmot, from
    memory). ``asked`` and ``expected`` count requests so far; ``prior`` is above 0.
    """
    if asked < 0 or expected < 0 or prior <= 0:
        raise ValueError("a pace needs counts of zero or more and a prior above zero")
    return Pace(alpha=prior + asked, beta=prior + expected)


def credibility(expected: float, *, prior: float = PRIOR_PACE_SIZE) -> float:
    """Give the weight of the campaign's own count, 0 to 1."""
    return expected / (expected + prior)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenGroup:
    """Vehicles that share one cumulative hazard over the stretch of days."""

    vehicles: int
    hazard: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UseShare:
    """The share of vehicles that need the part, and how sure it is.

    ``mean`` is E p and ``square`` E p^2; a share that is known has square = mean^2.
    """

    mean: float = 1.0
    square: float = 1.0


ALWAYS_USED = UseShare()


def use_share(published: float, *, needed: int = 0, not_needed: int = 0) -> UseShare:
    """Give the share by inspections so far, or the published one before any.

    p ~ Beta(needed + 1, not_needed + 1) once vehicles were looked at.
    """
    if not needed + not_needed:
        return UseShare(mean=published, square=published**2)
    a, b = needed + 1, not_needed + 1
    mean = a / (a + b)
    return UseShare(mean=mean, square=mean * (a + 1) / (a + b + 1))


def beta_binomial(vehicles: int, a: float, b: float) -> Demand:
    """Give D ~ Beta-binomial(vehicles, a, b); a and b above 0."""
    from scipy import stats  # noqa: PLC0415 (47 MB that letters and pages do without)

    return Demand.of(stats.betabinom.pmf(np.arange(vehicles + 1), vehicles, a, b))


def binomial(vehicles: int, chance: float) -> Demand:
    """Give D ~ Binomial(vehicles, chance)."""
    from scipy import stats  # noqa: PLC0415 (47 MB that letters and pages do without)

    return Demand.of(stats.binom.pmf(np.arange(vehicles + 1), vehicles, chance))


def poisson(mean: float) -> Demand:
    """Give D ~ Poisson(mean), cut where less than 1e-12 is left."""
    from scipy import stats  # noqa: PLC0415 (47 MB that letters and pages do without)

    top = int(stats.poisson.isf(_TAIL, mean)) + 1 if mean > 0 else 0
    return Demand.of(stats.poisson.pmf(np.arange(top + 1), mean))


def window_demand(
    groups: Sequence[OpenGroup], pace: Pace, share: UseShare = ALWAYS_USED
) -> Demand:
    """Give how many of the open vehicles come and need the part.

    Groups of different ages share one pace. With m_g = 1 - M(h_g) and p_gh = 1 -
    M(h_g) - M(h_h) + M(h_g + h_h), M the gamma's Laplace transform: E D = sum n_g
    m_g and E D(D-1) = sum n_g n_h p_gh - sum n_g p_gg; a beta is matched to these two
    moments and D is beta-binomial.
    """
    moments = window_moments(groups, pace, share)
    if not moments.vehicles:
        return NONE_WANTED
    if moments.vehicles == 1:
        return binomial(1, moments.first)
    return _matched(moments.vehicles, moments.first, moments.second)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Vehicles, and the first two moments of their common chance to come.

    E D = n first; E D(D - 1) = n (n - 1) second.
    """

    vehicles: int
    first: float
    second: float

    @property
    def mean(self) -> float:
        """Give E D."""
        return self.vehicles * self.first

    @property
    def variance(self) -> float:
        """Give Var D."""
        pairs = self.vehicles * (self.vehicles - 1) * self.second
        return max(0.0, pairs + self.mean - self.mean**2)


def window_moments(
    groups: Sequence[OpenGroup], pace: Pace, share: UseShare = ALWAYS_USED
) -> Moments:
    """Give the moments of ``window_demand`` alone, which cost little."""
    present = [group for group in groups if group.vehicles > 0]
    vehicles = sum(group.vehicles for group in present)
    if not vehicles:
        return Moments(vehicles=0, first=0.0, second=0.0)
    counts = np.array([group.vehicles for group in present], dtype=float)
    hazards = np.array([group.hazard for group in present])
    stay = pace.all_stay(hazards)
    both = pace.all_stay(hazards[:, None] + hazards[None, :])
    pairs = 1 - stay[:, None] - stay[None, :] + both
    first = share.mean * float(counts @ (1 - stay)) / vehicles
    if vehicles == 1:
        return Moments(vehicles=1, first=first, second=0.0)
    ordered = float(counts @ pairs @ counts - counts @ np.diag(pairs))
    second = share.square * ordered / (vehicles * (vehicles - 1))
    return Moments(vehicles=vehicles, first=first, second=second)


def chance_not_booked(
    weekly: Sequence[float], unbooked: Sequence[float], *, exits: float = 0.0
) -> float:
    """Give the chance that a vehicle not booked now still comes in these weeks.

    ``weekly`` are the hazards h_j of weeks 0, 1 ...; ``unbooked[j]`` is the share of
    past repairs not yet booked j weeks ahead (the last one serves all later weeks);
    ``exits`` the share of those open that leave in a week.
    q' = P_new / (1 - P_booked), exact given the hazards.
    """
    new = booked = 0.0
    still_open = 1.0
    for week, hazard in enumerate(weekly):
        share = unbooked[min(week, len(unbooked) - 1)]
        new += still_open * hazard * share
        booked += still_open * hazard * (1 - share)
        still_open *= max(0.0, 1 - hazard - exits)
    return new / (1 - booked) if booked < 1 else 0.0


def _matched(vehicles: int, first: float, second: float) -> Demand:
    """Give the beta-binomial with these moments of the chance, or its limit."""
    spread = second - first**2
    if first <= 0:
        return NONE_WANTED
    if spread <= _TAIL * first or second >= first:
        return binomial(vehicles, min(first, 1.0))
    size = (first - second) / spread
    return beta_binomial(vehicles, first * size, (1 - first) * size)
