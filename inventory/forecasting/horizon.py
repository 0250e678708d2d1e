"""When stock may run out, and how it may stand on the days to come."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.forecasting.proposal import PartPosition, demand_within


RISK = 0.05
"""Chance to run out from which a day counts as at risk: 1 in 20."""

HORIZON_DAYS = 120

_LOW, _HIGH = 0.10, 0.90


@dataclass(frozen=True, slots=True, kw_only=True)
class StockPoint:
    """What may be there at the end of a day: most likely between ``low`` and ``high``.

    Pieces; 8 of 10 outcomes lie between, half lie below ``middle``. Below zero:
    customers without a part.
    """

    day: date
    low: int
    middle: int
    high: int


def risk_date(
    position: PartPosition, *, chance: float = RISK, days: int = HORIZON_DAYS
) -> date | None:
    """Give the first day with P(D_t > on hand + receipts by t) above ``chance``.

    Between two receipts the risk only grows, so each stretch is looked at on its last
    day and then halved. A delivery counts from its day on; None within ``days``.
    """
    edges = sorted(
        {
            offset
            for one in position.receipts
            if 0 < (offset := (one.day - position.today).days) <= days
        }
    )
    start = 0
    for end in [*(edge - 1 for edge in edges), days]:
        if end >= start and _risk(position, end) > chance:
            return position.today + timedelta(
                days=_first_day(position, start, end, chance)
            )
        start = max(start, end + 1)
    return None


def _first_day(position: PartPosition, start: int, end: int, chance: float) -> int:
    """Give the first day of a stretch that is at risk; its last day is."""
    low, high = start, end
    while low < high:
        middle = (low + high) // 2
        if _risk(position, middle) > chance:
            high = middle
        else:
            low = middle + 1
    return low


def _risk(position: PartPosition, days: int) -> float:
    """Give the chance that more is wanted within the days than is there by then."""
    return 1.0 - demand_within(position, days).at_most(position.have(days))


def stock_fan(position: PartPosition, days: Sequence[int]) -> tuple[StockPoint, ...]:
    """Give what may be there at the end of each of these days from today."""
    found = []
    for offset in days:
        demand, have = demand_within(position, offset), position.have(offset)
        found.append(
            StockPoint(
                day=position.today + timedelta(days=offset),
                low=have - demand.level(_HIGH),
                middle=have - demand.level(0.5),
                high=have - demand.level(_LOW),
            )
        )
    return tuple(found)
