"""What an unsold new vehicle costs its dealer while a campaign holds it.

49 USC 30116: a defect found after the manufacturer sold a vehicle to the dealer and
before the dealer sold it on. Bought back: price paid, transport, and at least 1 per
cent a month of the price paid, prorated from notice to repurchase (subsection (a)(1)).
Repaired by the dealer with reasonable diligence: the value of the installation and at
least 1 per cent a month of the manufacturer's selling price, prorated from the notice
to the correction (subsection (b)). The parties set the amount, or a court does
(subsection (c)). The Act defines no month; the agreement does. States have rules of
their own, with other rates, other beginnings and days that do not count.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from dealership.rules.money import (
    Cents,
    DayCount,
    monthly_share_cents,
    months_between,
)
from dealership.rules.refusals import Refusal


class Base(StrEnum):
    """Of what the share a month is taken."""

    SELLING_PRICE = "selling_price"
    PRICE_PAID = "price_paid"


class Start(StrEnum):
    """What sets it running."""

    NOTICE = "notice"
    STOP_SALE = "stop_sale"


class End(StrEnum):
    """What stops it."""

    CORRECTED = "corrected"
    REMEDY_AVAILABLE = "remedy_available"
    BOUGHT_BACK = "bought_back"


class EndsBeforeItStarts(Refusal):
    """A vehicle whose end lies before its beginning."""

    def __init__(self, vin: str, start: date, end: date) -> None:
        self.vin = vin
        super().__init__(
            f"{vin}: it is counted from {start}, but ended on {end}. Check both days."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What a store and a manufacturer have agreed; without that, what the Act says.

    ``monthly_rate`` is a share (0.01: 1 per cent a month).
    """

    monthly_rate: Decimal = Decimal("0.01")
    base: Base = Base.SELLING_PRICE
    start: Start = Start.NOTICE
    grace_days: int = 0
    end: End = End.CORRECTED
    day_count: DayCount = DayCount.ANNIVERSARY_MONTHS


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is known of one vehicle; a day that has not come is None."""

    vin: str
    selling_price_cents: Cents | None
    price_paid_cents: Cents | None
    notice_on: date
    stop_sale_on: date | None
    corrected_on: date | None
    remedy_available_on: date | None
    bought_back_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """What one vehicle comes to.

    ``ended_on`` is None while it still runs; then ``until`` is the day it was asked
    for. ``cents`` is None where the price is not known.
    """

    start: date
    until: date
    ended_on: date | None
    base_cents: Cents | None
    months: Fraction
    cents: Cents | None

    @property
    def days(self) -> int:
        """Give the days from start to end, those of grace too."""
        return (self.until - self.start).days


def amount_of(facts: Facts, terms: Terms, *, today: date) -> Amount:
    """Work out one vehicle up to its end, or up to ``today`` while it runs.

    A vehicle that is bought back ends there, whatever the terms say. One that ended
    before it began comes to nothing.
    """
    start = start_of(facts, terms)
    ended = end_of(facts, terms)
    if ended is not None and ended > today:
        ended = None
    until = max(ended or today, start)
    bought_back = ended is not None and ended == facts.bought_back_on
    on_paid = bought_back or terms.base is Base.PRICE_PAID
    base = facts.price_paid_cents if on_paid else facts.selling_price_cents
    paid_from = min(start + timedelta(days=terms.grace_days), until)
    return Amount(
        start=start,
        until=until,
        ended_on=ended,
        base_cents=base,
        months=months_between(paid_from, until, terms.day_count),
        cents=None if base is None else share(base, start, until, terms),
    )


def share(base_cents: Cents, start: date, end: date, terms: Terms) -> Cents:
    """Give the share for a period in cents; nothing within the days of grace."""
    return monthly_share_cents(
        base_cents,
        start,
        end,
        monthly_rate=terms.monthly_rate,
        grace_days=terms.grace_days,
        day_count=terms.day_count,
    )


def require_order(facts: Facts, terms: Terms) -> None:
    """Raise EndsBeforeItStarts where the days entered contradict each other."""
    start = start_of(facts, terms)
    for day in (facts.corrected_on, facts.bought_back_on):
        if day and day < start:
            raise EndsBeforeItStarts(facts.vin, start, day)


def start_of(facts: Facts, terms: Terms) -> date:
    """Give the day from which it runs; a stop-sale never given is the notice."""
    if terms.start is Start.STOP_SALE and facts.stop_sale_on:
        return facts.stop_sale_on
    return facts.notice_on


def end_of(facts: Facts, terms: Terms) -> date | None:
    """Give the day on which it stops, None while it runs."""
    agreed = {
        End.CORRECTED: facts.corrected_on,
        End.REMEDY_AVAILABLE: facts.remedy_available_on,
        End.BOUGHT_BACK: None,
    }[terms.end]
    days = [day for day in (agreed, facts.bought_back_on) if day]
    return min(days) if days else None
