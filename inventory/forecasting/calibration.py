"""Forecasts held against what came, to see whether 8 of 10 fall where they should.

Counts are discrete, so a bound seldom falls between two of them. The share of an
outcome that lies within the bounds is taken instead of a yes or no: what came, x, stands
for the stretch from F(x - 1) to F(x), and its part between .1 and .9 counts. That is the
mean of the randomised probability integral transform (Czado, Gneiting and Held,
*Predictive model assessment for count data*, Biometrics 65, 2009, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.forecasting.distribution import Demand

INTERVAL = 0.10, 0.90
"""The bounds between which 8 of 10 outcomes should fall."""

ORDER_LEVEL = 0.95
"""Share of outcomes at which a level is held against the model's own share, whatever
level is ordered to: at .98 few outcomes are left to tell by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One forecast until the delivery after next, and what came.

    ``within`` is the share of the outcome between the bounds. ``level`` covers
    ``service`` of the outcomes by the forecast, ``chance`` is its own F(level), which
    is a little more; ``under`` says whether not more came. ``usual`` ones likewise at
    ``ORDER_LEVEL``. ``losses`` are the pinball losses at ``service`` of the level and of
    the levels of the other rules, in their order.
    """

    early: bool
    mean: float
    came: int
    within: float
    level: int
    chance: float
    under: bool
    usual_chance: float
    usual_under: bool
    losses: tuple[float, ...]

    @classmethod
    def of(
        cls,
        demand: Demand,
        *,
        came: int,
        early: bool,
        service: float,
        others: tuple[int, ...] = (),
    ) -> Said:
        """Hold a forecast against what came."""
        level, usual = demand.level(service), demand.level(ORDER_LEVEL)
        return cls(
            early=early,
            mean=demand.mean,
            came=came,
            within=share_within(demand, came),
            level=level,
            chance=demand.at_most(level),
            under=came <= level,
            usual_chance=demand.at_most(usual),
            usual_under=came <= usual,
            losses=tuple(
                pinball(came, one, service=service) for one in (level, *others)
            ),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """How many forecasts came true; shares lie in 0 to 1.

    ``said`` and ``was`` are the model's own F at the level ordered to and the share of
    forecasts that it covered; ``usual_said`` and ``usual_was`` at ``ORDER_LEVEL``.
    ``losses`` are mean pinball losses: of the level, then of the other rules.
    """

    forecasts: int
    within: float
    said: float
    was: float
    usual_said: float
    usual_was: float
    mean: float
    came: float
    losses: tuple[float, ...]


def calibrate(rows: Iterable[Said]) -> Calibration | None:
    """Take the means over forecasts; None where there is none."""
    found = list(rows)
    if not found:
        return None
    size = len(found)
    return Calibration(
        forecasts=size,
        within=sum(one.within for one in found) / size,
        said=sum(one.chance for one in found) / size,
        was=sum(one.under for one in found) / size,
        usual_said=sum(one.usual_chance for one in found) / size,
        usual_was=sum(one.usual_under for one in found) / size,
        mean=sum(one.mean for one in found) / size,
        came=sum(one.came for one in found) / size,
        losses=tuple(
            sum(column) / size
            for column in zip(*(one.losses for one in found), strict=True)
        ),
    )


def share_within(
    demand: Demand, came: int, bounds: tuple[float, float] = INTERVAL
) -> float:
    """Give the part of F(came - 1) to F(came) that lies within the bounds, 0 to 1.

    What the forecast gave no chance at all lies outside.
    """
    low, high = demand.at_most(came - 1), demand.at_most(came)
    if high <= low:
        return 0.0
    inside = min(high, bounds[1]) - max(low, bounds[0])
    return max(0.0, inside) / (high - low)


def pinball(came: float, level: float, *, service: float) -> float:
    """Give the loss of a level as a quantile: p (x - q) above it, (1 - p) (q - x) below.

    Koenker and Bassett, *Regression quantiles*, Econometrica 46, 1978, from memory.
    """
    over = came - level
    return service * over if over >= 0 else (service - 1) * over
