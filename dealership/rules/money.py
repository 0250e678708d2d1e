"""Money in whole cents: read, round, add, prorate; never a float.

A sum is a plain ``int`` of cents (``Cents``) in one currency with two decimals, the
store's. Rates are ``Decimal`` shares: 0.30 is 30 per cent. A line is rounded once, on
the extended amount, and a total is the sum of the rounded lines, because a claim or
a bill prints lines that must add up (EN 16931: line amounts have at most two
decimals, BR-DEC; total = sum of lines, BR-CO-10, from memory). Half a cent is rounded
up (Regulation (EC) 1103/97, art. 5) unless the payer's profile says otherwise.
"""

import calendar
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal
from enum import StrEnum
from fractions import Fraction
from typing import TypeAlias

from dealership.rules.refusals import Refusal


Cents: TypeAlias = int

LARGEST_CENTS: Cents = 9_999_999_999_999
"""The largest sum that is read, either sign: 99,999,999,999.99."""

_LONGEST_TEXT = 40
_EXACT = Context(prec=200)
_SYMBOLS = {"$": "USD", "US$": "USD", "€": "EUR", "£": "GBP", "C$": "CAD"}
_SHAPE = re.compile(
    r"(?P<before>[A-Z]{3}|US\$|C\$|[$€£])?(?P<figure>[0-9.,' ]*[0-9][0-9.,' ]*)"
    r"(?P<after>[A-Z]{3}|[$€£])?"
)


class NotMoney(Refusal):
    """A text that cannot be read as a sum of money; ``text`` is what was given."""

    def __init__(self, text: str, why: str) -> None:
        self.text = _shortened(text)
        super().__init__(why)


class MoneyMissing(NotMoney):
    """Nothing was given where a sum is needed."""


class MoneyUnreadable(NotMoney):
    """The text is not a number, or its separators contradict each other."""


class MoneyTooFine(NotMoney):
    """The sum has more than two decimals."""


class MoneyTooLarge(NotMoney):
    """The sum is larger than ``LARGEST_CENTS``."""


class MoneyNegative(NotMoney):
    """The sum is below zero where only zero or more makes sense."""


class OtherCurrency(NotMoney):
    """The sum is in another currency than the store's."""


class PeriodBackwards(Refusal):
    """A period that ends before it starts."""

    def __init__(self, start: date, end: date) -> None:
        self.start = start
        self.end = end
        super().__init__(
            f"The period ends on {end}, before it starts on {start}. Check both dates."
        )


class Rounding(StrEnum):
    """What becomes of exactly half a cent."""

    HALF_UP = "half_up"
    HALF_EVEN = "half_even"


class RoundedOn(StrEnum):
    """Where a payer rounds: each line, or the total once."""

    LINE = "line"
    TOTAL = "total"


class DayCount(StrEnum):
    """How days become months; the Act gives no rule, the agreement decides."""

    ANNIVERSARY_MONTHS = "anniversary_months"
    ACTUAL_30 = "actual_30"
    ACTUAL_365_12 = "actual_365_12"


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundingProfile:
    """How one payer rounds."""

    rounding: Rounding = Rounding.HALF_UP
    rounded_on: RoundedOn = RoundedOn.LINE


STANDARD_PROFILE = RoundingProfile()


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtendedLine:
    """Quantity times unit price, plus a mark-up: one line of a bill or claim.

    ``quantity`` may be pieces or hours, ``markup`` is a share (0.30: 30 per cent more;
    -0.15: 15 per cent less).
    """

    quantity: Decimal | int
    unit_cents: Cents
    markup: Decimal = Decimal(0)

    def exact_cents(self) -> Decimal:
        """Give quantity x unit x (1 + markup) in cents, not yet rounded."""
        quantity = _exact(self.quantity)
        unit = _exact(self.unit_cents)
        factor = _EXACT.add(Decimal(1), _exact(self.markup))
        return _EXACT.multiply(_EXACT.multiply(quantity, unit), factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """Rounded lines and their total.

    ``rounding_cents`` is what must be added to the printed lines to reach the total:
    always zero when the payer rounds each line.
    """

    line_cents: tuple[Cents, ...]
    total_cents: Cents

    @property
    def rounding_cents(self) -> Cents:
        """Give total less the sum of the printed lines."""
        return self.total_cents - sum(self.line_cents)


def parse_money(
    text: str,
    *,
    currency: str = "USD",
    decimal_mark: str = ".",
    allow_negative: bool = False,
) -> Cents:
    """Read a typed or imported sum as whole cents.

    Forgiving about blanks, thousands marks (comma, point, apostrophe, blank), a
    currency sign or code before or after, a sign before or after, and brackets for
    less than zero. Where one mark alone could be either ("1,234"), ``decimal_mark``
    decides; with two kinds the last one is the decimal mark.

    Raises MoneyMissing, MoneyUnreadable, MoneyTooFine, MoneyTooLarge, MoneyNegative
    or OtherCurrency, all of them NotMoney.
    """
    shown = _shortened(text)
    squeezed = re.sub(r"[\s\u00a0\u202f]+", " ", text[: _LONGEST_TEXT * 2]).strip()
    if not text.strip():
        raise MoneyMissing(text, "A sum is missing. Give one such as 1,234.50.")
    if len(text.strip()) > _LONGEST_TEXT:
        raise MoneyUnreadable(text, f"“{shown}” is too long for a sum of money.")
    negative, body = _taken_sign(squeezed)
    match = _SHAPE.fullmatch(body.upper())
    if match is None:
        raise MoneyUnreadable(
            text, f"“{shown}” is not a sum of money. Write it as 1,234.50."
        )
    for mark in (match["before"], match["after"]):
        found = _SYMBOLS.get(mark, mark) if mark else currency
        if found != currency and not (mark == "$" and currency.endswith("D")):
            raise OtherCurrency(
                text, f"“{shown}” is in {found}, but this store counts in {currency}."
            )
    cents = _cents_of(match["figure"].strip(), text, decimal_mark)
    if cents > LARGEST_CENTS:
        raise MoneyTooLarge(text, f"“{shown}” is too large. Check the figure.")
    if negative and cents and not allow_negative:
        raise MoneyNegative(text, f"“{shown}” is below zero. Give zero or more.")
    return -cents if negative else cents


def plain_money(cents: Cents, *, grouped: bool = True) -> str:
    """Write cents as ``1,234.50`` (or ``1234.50`` for files), without a currency."""
    whole, rest = divmod(abs(cents), 100)
    sign = "-" if cents < 0 else ""
    return f"{sign}{whole:,}.{rest:02d}" if grouped else f"{sign}{whole}.{rest:02d}"


def share_of_basis_points(basis_points: int) -> Decimal:
    """Turn hundredths of a per cent into a share: 3000 gives 0.3."""
    return _EXACT.divide(Decimal(basis_points), Decimal(10_000))


def round_cents(
    exact: Decimal | Fraction, rounding: Rounding = Rounding.HALF_UP
) -> Cents:
    """Round an exact number of cents to whole ones.

    Half a cent goes away from zero (HALF_UP: a credit undoes its bill to the cent) or
    to the even cent (HALF_EVEN).
    """
    if isinstance(exact, Fraction):
        return _rounded_fraction(exact, rounding)
    mode = ROUND_HALF_UP if rounding is Rounding.HALF_UP else ROUND_HALF_EVEN
    return int(_exact(exact).to_integral_value(rounding=mode))


def line_cents(
    quantity: Decimal | int,
    unit_cents: Cents,
    markup: Decimal = Decimal(0),
    rounding: Rounding = Rounding.HALF_UP,
) -> Cents:
    """Give one line in cents: round(quantity x unit x (1 + markup)), rounded once.

    The unit price is never rounded first: 2 x 18.25 at 30 per cent is 47.45, not
    2 x 23.73.
    """
    line = ExtendedLine(quantity=quantity, unit_cents=unit_cents, markup=markup)
    return round_cents(line.exact_cents(), rounding)


def add_lines(
    lines: Sequence[ExtendedLine], profile: RoundingProfile = STANDARD_PROFILE
) -> Totals:
    """Round lines and add them up as the payer's profile says."""
    rounded = tuple(round_cents(line.exact_cents(), profile.rounding) for line in lines)
    if profile.rounded_on is RoundedOn.LINE:
        return Totals(line_cents=rounded, total_cents=sum(rounded))
    exact = Decimal(0)
    for line in lines:
        exact = _EXACT.add(exact, line.exact_cents())
    return Totals(line_cents=rounded, total_cents=round_cents(exact, profile.rounding))


def fitted_lines(
    lines: Sequence[ExtendedLine], profile: RoundingProfile = STANDARD_PROFILE
) -> tuple[Cents, ...]:
    """Round lines so that they always add up to what the payer works out.

    Where the payer rounds the total once, each line is cut to the cent and the cents
    that are missing go to the lines that lost most by it, the first ones first (the
    method of largest remainders). Lines must be zero or more.
    """
    totals = add_lines(lines, profile)
    if profile.rounded_on is RoundedOn.LINE:
        return totals.line_cents
    exact = [line.exact_cents() for line in lines]
    cut = [int(one) for one in exact]
    missing = totals.total_cents - sum(cut)
    lost_most = sorted(range(len(cut)), key=lambda n: (cut[n] - exact[n], n))
    for place in lost_most[:missing]:
        cut[place] += 1
    return tuple(cut)


def return_credit_cents(
    quantity: int,
    unit_cents: Cents,
    restocking: Decimal,
    *,
    freight_cents: Cents = 0,
    rounding: Rounding = Rounding.HALF_UP,
) -> Cents:
    """Give the credit for parts sent back: round(quantity x unit x (1-rate)) - freight.

    ``restocking`` is the share the manufacturer keeps, 0 to 1. The answer is below
    zero when freight costs more than the parts bring.
    """
    return line_cents(quantity, unit_cents, -restocking, rounding) - freight_cents


def months_between(
    start: date, end: date, day_count: DayCount = DayCount.ANNIVERSARY_MONTHS
) -> Fraction:
    """Count the months from start to end as an exact fraction.

    ANNIVERSARY_MONTHS: whole months from date to date, then the days left over the
    days of the month they fall in; a day that the month lacks becomes its last day.
    ACTUAL_30: days / 30. ACTUAL_365_12: days x 12 / 365. The Act (49 USC 30116)
    defines no month, so the store's agreement picks one. Raises PeriodBackwards.
    """
    if end < start:
        raise PeriodBackwards(start, end)
    days = (end - start).days
    match day_count:
        case DayCount.ACTUAL_30:
            return Fraction(days, 30)
        case DayCount.ACTUAL_365_12:
            return Fraction(days * 12, 365)
        case DayCount.ANNIVERSARY_MONTHS:
            months = (end.year - start.year) * 12 + end.month - start.month
            if _months_later(start, months) > end:
                months -= 1
            reached = _months_later(start, months)
            length = (_months_later(start, months + 1) - reached).days
            return months + Fraction((end - reached).days, length)


def monthly_share_cents(
    base_cents: Cents,
    start: date,
    end: date,
    *,
    monthly_rate: Decimal = Decimal("0.01"),
    grace_days: int = 0,
    day_count: DayCount = DayCount.ANNIVERSARY_MONTHS,
    rounding: Rounding = Rounding.HALF_UP,
) -> Cents:
    """Give the monthly compensation for a vehicle that could not be sold, in cents.

    49 USC 30116: at least 1 per cent a month of the price, prorated from the notice
    (``start``) to the correction or repurchase (``end``). ``grace_days`` are not paid,
    counted from the start. This is a floor: agreement and law set the amount due.
    Zero when the end falls within the grace. Raises PeriodBackwards.
    """
    if end < start:
        raise PeriodBackwards(start, end)
    paid_from = start + timedelta(days=grace_days)
    if end <= paid_from:
        return 0
    months = months_between(paid_from, end, day_count)
    return round_cents(base_cents * Fraction(monthly_rate) * months, rounding)


def _taken_sign(text: str) -> tuple[bool, str]:
    """Take a minus sign or brackets off, wherever people put them."""
    text = text.replace("\u2212", "-")
    if text.startswith("(") and text.endswith(")"):
        return True, text[1:-1].strip()
    if text.endswith("-"):
        return True, text[:-1].strip()
    bare = re.sub(r"^([^0-9-]*)-\s*", r"\1", text)
    return bare != text, bare.removeprefix("+").strip()


def _cents_of(figure: str, text: str, decimal_mark: str) -> Cents:
    """Turn a figure with marks into cents; ``text`` is for the refusal."""
    whole, decimals = _split_figure(figure.replace("'", " "), decimal_mark)
    groups = re.split(r"[., ]", whole)
    marks = set(re.findall(r"[., ]", whole))
    grouped_well = all(len(group) == 3 for group in groups[1:]) and len(groups[0]) <= 3  # noqa: PLR2004 -- thousands
    if len(marks) > 1 or (len(groups) > 1 and not (grouped_well and groups[0])):
        raise MoneyUnreadable(
            text,
            f"“{_shortened(text)}” has its marks in odd places. Write it as 1,234.50.",
        )
    if len(decimals.rstrip("0")) > 2:  # noqa: PLR2004 -- cents
        raise MoneyTooFine(
            text,
            f"“{_shortened(text)}” has more than two decimals. Round it to the cent.",
        )
    return int("".join(groups) or "0") * 100 + int(decimals[:2].ljust(2, "0"))


def _split_figure(figure: str, decimal_mark: str) -> tuple[str, str]:
    """Tell the whole part from the decimals."""
    points, commas = figure.count("."), figure.count(",")
    if points and commas:
        mark = "." if figure.rfind(".") > figure.rfind(",") else ","
    elif points + commas == 1:
        mark = "." if points else ","
        looks_grouped = re.search(r"^[0-9]{1,3}[.,][0-9]{3}$", figure) is not None
        if looks_grouped and mark != decimal_mark:
            return figure, ""
    else:
        return figure, ""
    whole, _, decimals = figure.rpartition(mark)
    return whole, decimals


def _months_later(start: date, months: int) -> date:
    """Give the same day of a later month, or that month's last day."""
    years, month = divmod(start.month - 1 + months, 12)
    year = start.year + years
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(start.day, last))


def _rounded_fraction(exact: Fraction, rounding: Rounding) -> Cents:
    """Round a fraction half up (away from zero) or half even."""
    if rounding is Rounding.HALF_EVEN:
        return round(exact)
    size = (2 * abs(exact) + 1) // 2
    return -size if exact < 0 else size


def _exact(figure: Decimal | int) -> Decimal:
    """Take a figure as a Decimal; a float here is our own mistake."""
    if isinstance(figure, float):
        raise TypeError("money is never a float")
    return Decimal(figure)


def _shortened(text: str) -> str:
    """Keep what a message can show of a text of any length."""
    flat = " ".join(text[:200].split())
    return flat if len(flat) <= _LONGEST_TEXT else flat[: _LONGEST_TEXT - 1] + "…"
