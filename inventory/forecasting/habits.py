"""How owners keep their bookings, and how long ahead they book, at one store."""

from __future__ import annotations

from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Mapping

WEIGHT_OF_USUAL = 20
"""Visits that the store's given show rate weighs against its own count: a judgement,
no source."""

FEWEST_REPAIRS = 30
"""Repairs from which on it is learned how long ahead owners book: a judgement."""

WEEKS_AHEAD = 8

WALKED_IN = -1
"""Days ahead of who came without a booking."""


def learned_show_rate(usual: float, *, kept: int, missed: int) -> float:
    """Give the share of booked visits that happen, 0 to 1.

    The mean of a beta whose prior has the usual rate and the weight of twenty visits:
    (20 usual + kept) / (20 + kept + missed).
    """
    if kept < 0 or missed < 0 or not 0 <= usual <= 1:
        raise ValueError("visits are counted from zero, and a rate lies in 0 to 1")
    weight = WEIGHT_OF_USUAL
    return (weight * usual + kept) / (weight + kept + missed)


def unbooked_ahead(days_ahead: Mapping[int, int]) -> tuple[float, ...]:
    """Give the share of past repairs not yet booked so many weeks ahead.

    ``days_ahead`` counts repairs by the days from booking to visit; ``WALKED_IN`` for
    no booking. Place j is the mean over the seven days of week j, as seen from today:
    of the visits that will fall into it, the share not booked today. The last place
    serves all later weeks. Empty with fewer than thirty repairs.
    """
    total = sum(days_ahead.values())
    if total < FEWEST_REPAIRS:
        return ()
    shares = []
    for week in range(WEEKS_AHEAD):
        days = range(7 * week + 1, 7 * week + 8)
        later = sum(
            number
            for day in days
            for ahead, number in days_ahead.items()
            if ahead < day
        )
        shares.append(round(later / (7 * total), 6))
    return tuple(shares)
