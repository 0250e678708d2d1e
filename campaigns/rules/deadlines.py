"""The days that law and terms set: reports, remedies, deliveries, claims, returns.

What stands here is a help to remember; the regulations, the manufacturer's bulletin
and the franchise agreement prevail.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from campaigns.rules.lifecycle import STILL_OPEN, CampaignClass, WorkState
from dealership.rules.workdays import (
    Quarter,
    emissions_report_due,
    safety_report_due,
)
from vehicles.rules.standing import Standing


SAFETY_QUARTERS, SAFETY_YEARLY = 8, 3
"""49 USC 30118(f): eight quarters, then a report in each of the three years after."""

EMISSIONS_QUARTERS = 6
"""40 CFR 1068.525(b): six consecutive quarters, or until all are inspected."""

DAYS_TO_REMEDY = 60
"""49 USC 30120(c)."""

RENTAL_FLEET = 35
"""49 USC 30102(a)(1), (11): a fleet of 35 or more is covered."""

RENTAL_LARGE_NOTICE = 5_000
"""49 USC 30120(i)(3): above it a rental company has 48 hours, else 24."""


class ReportPeriod(StrEnum):
    """What a report covers."""

    QUARTER = "quarter"
    YEAR = "year"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportDue:
    """One of the manufacturer's reports: its number, what it covers, when it is due.

    The store's counts feed it, so they are wanted before.
    """

    number: int
    period: ReportPeriod
    first_day: date
    last_day: date
    due: date


def report_schedule(
    campaign_class: CampaignClass, began: date
) -> tuple[ReportDue, ...]:
    """Give the reports of a campaign that began on a day, in order.

    ``began`` is the first day of owner notification. Safety: 8 quarterly reports from
    the quarter in which the campaign began, then 3 yearly ones (49 USC 30118(f)); the
    statute sets no day for the yearly ones, so they are shown as due like the report
    of their last quarter. Emissions: 6 quarterly reports. Other classes: none.
    """
    first = Quarter.of(began)
    match campaign_class:
        case CampaignClass.SAFETY:
            quarterly = _quarterly(first, SAFETY_QUARTERS, safety=True)
            return (*quarterly, *_yearly(first.later(SAFETY_QUARTERS)))
        case CampaignClass.EMISSIONS:
            return _quarterly(first, EMISSIONS_QUARTERS, safety=False)
        case CampaignClass.SATISFACTION | CampaignClass.SERVICE_ACTION:
            return ()


def next_report(
    campaign_class: CampaignClass, began: date, today: date
) -> ReportDue | None:
    """Give the first report that is due today or later, or None."""
    for report in report_schedule(campaign_class, began):
        if report.due >= today:
            return report
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyPeriod:
    """The 60 days for a safety remedy: from when, until when.

    ``present_again``: the vehicle was presented before the earliest date in the
    notice, which does not count; the owner must present it again.
    """

    runs_from: date
    last_day: date
    present_again: bool

    def days_left(self, today: date) -> int:
        """Give the days left; below zero when they have passed."""
        return (self.last_day - today).days


def remedy_period(presented: date, earliest: date | None) -> RemedyPeriod:
    """Give the 60 days after presentation for a safety recall.

    49 USC 30120(c): not repaired adequately within 60 days of presentation is on its
    face unreasonable. ``earliest`` is the notice's earliest remedy date, if any.
    """
    runs_from = max(presented, earliest) if earliest else presented
    return RemedyPeriod(
        runs_from=runs_from,
        last_day=runs_from + timedelta(days=DAYS_TO_REMEDY),
        present_again=runs_from > presented,
    )


class HandOver(StrEnum):
    """Whether a vehicle may be handed over."""

    MAY = "may"
    MUST_NOT = "must_not"
    CHECK_STATE_LAW = "check_state_law"


class HandOverReason(StrEnum):
    """Why."""

    NOTHING_OPEN = "nothing_open"
    NEW_NOT_REMEDIED = "new_not_remedied"
    STOP_SALE = "stop_sale"
    RENTAL_NOT_REMEDIED = "rental_not_remedied"
    USED_NOT_REMEDIED = "used_not_remedied"
    TELL_THE_CUSTOMER = "tell_the_customer"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandOverVerdict:
    """Whether a vehicle may be handed over, why, and by when it must be held.

    ``hold_by`` is for a rental fleet: from then on it must not be rented.
    """

    verdict: HandOver
    reason: HandOverReason
    hold_by: datetime | None = None


def judge_hand_over(
    *,
    stands: Standing,
    work: WorkState,
    campaign_class: CampaignClass,
    stop_sale: bool,
    noticed_at: datetime,
    rental_fleet: int = 0,
    vehicles_in_notice: int = 0,
) -> HandOverVerdict:
    """Judge whether a vehicle may be sold, leased, rented or lent.

    New stock in a safety recall may be offered but not handed over before the remedy
    (49 USC 30120(i)(1)); the manufacturer's stop-sale holds new stock in any class. A
    fleet of 35 or more rental vehicles has 24 hours, or 48 when the notice covers
    more than 5,000 of them (30120(i)(3)); whether loaners count is unsure, so a fleet
    of that size is treated alike. Used stock: no federal ban on sale by a dealer;
    state law and agreements may differ. ``noticed_at`` is when the notice came.
    """
    if work not in STILL_OPEN:
        return HandOverVerdict(verdict=HandOver.MAY, reason=HandOverReason.NOTHING_OPEN)
    safety = campaign_class is CampaignClass.SAFETY
    if stands is Standing.NEW and (safety or stop_sale):
        reason = HandOverReason.NEW_NOT_REMEDIED if safety else HandOverReason.STOP_SALE
        return HandOverVerdict(verdict=HandOver.MUST_NOT, reason=reason)
    if stands in {Standing.RENTAL, Standing.LOANER} and safety:
        if rental_fleet >= RENTAL_FLEET:
            return HandOverVerdict(
                verdict=HandOver.MUST_NOT,
                reason=HandOverReason.RENTAL_NOT_REMEDIED,
                hold_by=noticed_at
                + timedelta(hours=rental_notice_hours(vehicles_in_notice)),
            )
        return HandOverVerdict(
            verdict=HandOver.CHECK_STATE_LAW,
            reason=HandOverReason.USED_NOT_REMEDIED,
        )
    if stands is Standing.USED:
        return HandOverVerdict(
            verdict=HandOver.CHECK_STATE_LAW,
            reason=HandOverReason.USED_NOT_REMEDIED,
        )
    return HandOverVerdict(
        verdict=HandOver.MAY, reason=HandOverReason.TELL_THE_CUSTOMER
    )


def rental_notice_hours(vehicles_in_notice: int) -> int:
    """Give the hours a rental company has: 24, or 48 above 5,000 vehicles."""
    return 48 if vehicles_in_notice > RENTAL_LARGE_NOTICE else 24


class DeadlineKind(StrEnum):
    """What a campaign's last day is for."""

    CLAIM = "claim"
    RETURN = "return"
    REMEDY_OFFERED = "remedy_offered"


class Urgency(StrEnum):
    """How near a last day is."""

    PASSED = "passed"
    TODAY = "today"
    SOON = "soon"
    LATER = "later"


SOON_DAYS = 30
"""A last day within so many days is soon: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Deadline:
    """A last day, itself inside, and how many days are left."""

    kind: DeadlineKind
    last_day: date
    days_left: int

    @property
    def urgency(self) -> Urgency:
        """Give how near it is."""
        if self.days_left < 0:
            return Urgency.PASSED
        if self.days_left == 0:
            return Urgency.TODAY
        return Urgency.SOON if self.days_left <= SOON_DAYS else Urgency.LATER


def deadlines_of(
    last_days: Iterable[tuple[DeadlineKind, date | None]], *, today: date
) -> tuple[Deadline, ...]:
    """Give a campaign's last days that are set, the nearest first."""
    found = [
        Deadline(kind=kind, last_day=last, days_left=(last - today).days)
        for kind, last in last_days
        if last is not None
    ]
    return tuple(sorted(found, key=lambda one: (one.last_day, one.kind)))


def _quarterly(first: Quarter, count: int, *, safety: bool) -> tuple[ReportDue, ...]:
    """Give quarterly reports from a quarter on."""
    quarters = [first.later(place) for place in range(count)]
    return tuple(
        ReportDue(
            number=number,
            period=ReportPeriod.QUARTER,
            first_day=quarter.first_day,
            last_day=quarter.last_day,
            due=safety_report_due(quarter) if safety else emissions_report_due(quarter),
        )
        for number, quarter in enumerate(quarters, start=1)
    )


def _yearly(first: Quarter) -> tuple[ReportDue, ...]:
    """Give the three yearly reports that follow the quarterly ones."""
    return tuple(
        ReportDue(
            number=SAFETY_QUARTERS + year + 1,
            period=ReportPeriod.YEAR,
            first_day=first.later(4 * year).first_day,
            last_day=first.later(4 * year + 3).last_day,
            due=safety_report_due(first.later(4 * year + 3)),
        )
        for year in range(SAFETY_YEARLY)
    )
