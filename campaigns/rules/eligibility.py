"""Whether a campaign still covers a vehicle, and who pays if not.

Limits by class. A safety recall's free remedy is not required when the first buyer
bought the vehicle more than 15 calendar years before the notice (49 USC 30120(g)(1));
the recall itself never closes. An emissions recall has no limit by age or mileage (40
CFR 85 Subpart S, Appendix A). Satisfaction campaigns and service actions have the
limits that the manufacturer sets. The manufacturer's bulletin and local law prevail.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from campaigns.rules.lifecycle import CampaignClass, Payer


SAFETY_YEARS = 15
"""49 USC 30120(g)(1); 5 for tyres."""


class Cover(StrEnum):
    """Whether the limits cover a vehicle."""

    COVERED = "covered"
    PAST_LIMIT = "past_limit"
    FREE_NOT_REQUIRED = "free_not_required"
    ASK = "ask"


class Reason(StrEnum):
    """Why it stands so."""

    NO_LIMIT = "no_limit"
    WITHIN_LIMITS = "within_limits"
    LAST_DAY_PASSED = "last_day_passed"
    ODOMETER_OVER = "odometer_over"
    TOO_OLD = "too_old"
    ODOMETER_UNKNOWN = "odometer_unknown"
    FIRST_USE_UNKNOWN = "first_use_unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a campaign covers.

    ``notice_on`` is the day of the manufacturer's notice. ``last_day`` and the
    odometer limit in miles, both inside; ``years`` since the first purchase. Safety
    uses 15 years whatever ``years`` says unless it is set lower by the law's tyre
    rule; last day and odometer limit do not hold for safety and emissions.
    """

    campaign_class: CampaignClass
    notice_on: date
    last_day: date | None = None
    odometer_miles: int | None = None
    years: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """How a vehicle stands, every reason, and who pays.

    ``payer`` is None while a fact is missing: ask before anything is promised. Where
    the free remedy is not required the manufacturer may still pay, so ask it first.
    """

    cover: Cover
    reasons: tuple[Reason, ...]
    payer: Payer | None

    @property
    def counts_as_expected(self) -> bool:
        """Tell whether the vehicle counts in expected demand and in letter rounds."""
        return self.cover in {Cover.COVERED, Cover.ASK}


def judge_eligibility(
    limits: Limits,
    *,
    on: date,
    odometer_miles: int | None,
    first_used_on: date | None,
) -> Verdict:
    """Judge one vehicle on a day, by the campaign's class and limits.

    ``odometer_miles`` is the latest reading, ``first_used_on`` the first purchase;
    None where unknown. A vehicle past a limit that is known is past it, whatever else
    is missing.
    """
    match limits.campaign_class:
        case CampaignClass.EMISSIONS:
            return _covered(Reason.NO_LIMIT)
        case CampaignClass.SAFETY:
            return _judge_safety(limits, first_used_on)
        case CampaignClass.SATISFACTION | CampaignClass.SERVICE_ACTION:
            return _judge_offer(
                limits,
                on=on,
                odometer_miles=odometer_miles,
                first_used_on=first_used_on,
            )


def years_later(day: date, years: int) -> date:
    """Give the same day so many years on; 29 February becomes 28 February."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return day.replace(year=day.year + years, day=28)


def _judge_safety(limits: Limits, first_used_on: date | None) -> Verdict:
    """Judge by the 15 years, counted from date to date.

    "More than 15 calendar years" is read date to date: first purchase 15 June 2010 is
    covered by a notice of 15 June 2025 and not required from the day after. The text
    could also be read by calendar year, so a close case is one to ask about.
    """
    years = min(limits.years or SAFETY_YEARS, SAFETY_YEARS)
    if first_used_on is None:
        return Verdict(cover=Cover.ASK, reasons=(Reason.FIRST_USE_UNKNOWN,), payer=None)
    if limits.notice_on > years_later(first_used_on, years):
        return Verdict(
            cover=Cover.FREE_NOT_REQUIRED,
            reasons=(Reason.TOO_OLD,),
            payer=Payer.CUSTOMER,
        )
    return _covered(Reason.WITHIN_LIMITS)


def _judge_offer(
    limits: Limits,
    *,
    on: date,
    odometer_miles: int | None,
    first_used_on: date | None,
) -> Verdict:
    """Judge by the limits that the manufacturer set."""
    over: list[Reason] = []
    unknown: list[Reason] = []
    if limits.last_day is not None and on > limits.last_day:
        over.append(Reason.LAST_DAY_PASSED)
    if limits.odometer_miles is not None:
        if odometer_miles is None:
            unknown.append(Reason.ODOMETER_UNKNOWN)
        elif odometer_miles > limits.odometer_miles:
            over.append(Reason.ODOMETER_OVER)
    if limits.years is not None:
        if first_used_on is None:
            unknown.append(Reason.FIRST_USE_UNKNOWN)
        elif on > years_later(first_used_on, limits.years):
            over.append(Reason.TOO_OLD)
    if over:
        return Verdict(
            cover=Cover.PAST_LIMIT, reasons=tuple(over), payer=Payer.CUSTOMER
        )
    if unknown:
        return Verdict(cover=Cover.ASK, reasons=tuple(unknown), payer=None)
    unlimited = (limits.last_day, limits.odometer_miles, limits.years)
    none_set = all(limit is None for limit in unlimited)
    return _covered(Reason.NO_LIMIT if none_set else Reason.WITHIN_LIMITS)


def _covered(reason: Reason) -> Verdict:
    """Give a verdict that the manufacturer pays."""
    return Verdict(cover=Cover.COVERED, reasons=(reason,), payer=Payer.MANUFACTURER)
