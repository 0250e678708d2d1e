"""Whether an odometer reading can be right, beside the last one that is known."""

from datetime import date
from enum import StrEnum


MILES_A_YEAR = 60_000
"""More than a vehicle in daily use is driven in a year; common practice, no source."""

MILES_AT_LEAST = 5_000
"""A rise of so much is never odd, however near the last reading is."""

LARGEST_MILES = 999_999
"""What an odometer of six digits shows."""


class OdometerVerdict(StrEnum):
    """How a reading stands beside the last one."""

    PLAUSIBLE = "plausible"
    BELOW_LAST = "below_last"
    FAR_ABOVE = "far_above"


def judge_odometer(
    *, miles: int, on: date, last_miles: int | None, last_on: date | None
) -> OdometerVerdict:
    """Judge a reading in miles; the last one may be unknown, and so may its day.

    Far above: a rise of more than 60,000 miles a year since the last reading (a full
    year where its day is unknown), or more than six digits. Equal is plausible.
    """
    if miles > LARGEST_MILES:
        return OdometerVerdict.FAR_ABOVE
    if last_miles is None:
        return OdometerVerdict.PLAUSIBLE
    if miles < last_miles:
        return OdometerVerdict.BELOW_LAST
    days = max((on - last_on).days, 0) if last_on else 365
    allowed = max(MILES_AT_LEAST, MILES_A_YEAR * days // 365)
    far = miles - last_miles > allowed
    return OdometerVerdict.FAR_ABOVE if far else OdometerVerdict.PLAUSIBLE
