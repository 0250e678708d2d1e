"""Dates as lists write them, and which of day and month stands first.

One cell such as 03/09/2026 can be read in two ways. A column is read in one way
only, and a cell of it with a part over 12 shows which. Where no cell shows it nobody
guesses: both readings are given and the person is asked.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple


if TYPE_CHECKING:
    from collections.abc import Iterable

# POSIX strptime, %y: 69 to 99 are 1969 to 1999, 00 to 68 are 2000 to 2068.
POSIX_PIVOT = 68
_LAST_MONTH = 12

# ECMA-376 part 1, 18.17.4.1: day 1 is 1900-01-01 and the day 1900-02-29, which
# never was, is counted; so from 1900-03-01 on days count from 1899-12-30.
_SERIAL_ZERO = dt.date(1899, 12, 30)
# Smaller numbers in a list are years, counts or readings, not days: from 1927.
_FIRST_SERIAL, _LAST_SERIAL = 10_000, 109_574

_SERIAL = re.compile(r"^\d{5,6}(?:\.\d+)?$")
_COMPACT = re.compile(r"^(\d{4})(\d{2})(\d{2})$")
_YEAR_FIRST = re.compile(r"^(\d{4})([-/. ])(\d{1,2})\2(\d{1,2})$")
_YEAR_LAST = re.compile(r"^(\d{1,2})([-/. ])\s?(\d{1,2})\2\s?(\d{4}|\d{2})$")
_NAMED_DAY_FIRST = re.compile(r"^(\d{1,2})[ .\-/]*([a-z]{3,})[ .\-/]*(\d{4}|\d{2})$")
_NAMED_MONTH_FIRST = re.compile(r"^([a-z]{3,})[ .\-/]*(\d{1,2})[ ,.\-/]+(\d{4}|\d{2})$")
_NAMED_YEAR_FIRST = re.compile(r"^(\d{4})[ .\-/]*([a-z]{3,})[ .\-/]*(\d{1,2})$")
_TIME = re.compile(
    r"(?:[t ]|,\s?)\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?\s?(?:[ap]\.?m\.?)?"
    r"\s?(?:z|utc|gmt|[+-]\d{2}:?\d{2})?$"
)
_WEEKDAY = re.compile(r"^[a-z]{2,10}[.,]+\s+(?=\d|[a-z])|^[a-z]+day\s+")
_ORDINAL = re.compile(r"(?<=\d)(?:st|nd|rd|th|er|o|a)\b")
_LINK = re.compile(r"\b(?:de|del|of|den)\b")

# English, German, French, Spanish; without accents; long names and short ones.
_MONTH_NAMES = (
    "january jan januar janner janvier janv enero ene",
    "february feb februar fevrier fevr fev febrero",
    "march mar marz mrz maerz mars marzo",
    "april apr avril avr abril abr",
    "may mai mayo",
    "june jun juni juin junio",
    "july jul juli juillet juil julio",
    "august aug aout agosto ago",
    "september sep sept septembre septiembre set setiembre",
    "october oct oktober okt octobre octubre",
    "november nov novembre noviembre",
    "december dec dezember dez decembre diciembre dic",
)
_MONTHS = {
    name: number
    for number, names in enumerate(_MONTH_NAMES, start=1)
    for name in names.split()
}


class DateOrder(StrEnum):
    """Which of day and month stands first in a column."""

    DAY_FIRST = "day"
    MONTH_FIRST = "month"


class OrderState(StrEnum):
    """How the order of a column came about."""

    NOT_NEEDED = "not_needed"
    SETTLED = "settled"
    AMBIGUOUS = "ambiguous"
    CONTRADICTION = "contradiction"


@dataclass(frozen=True, slots=True)
class DateReading:
    """One cell read: a day, or two possible days, or a fault.

    `value` is the day when it is certain. `day_first` and `month_first` are the two
    readings of a cell that depends on the order (None where a reading gives no day).
    `code` is empty, or date_order_open, date_against_order, date_unreadable,
    date_impossible, date_only_year.
    """

    value: dt.date | None
    day_first: dt.date | None = None
    month_first: dt.date | None = None
    code: str = ""


class Witness(NamedTuple):
    """A cell that shows something about its column: row number and text."""

    row: int
    text: str


@dataclass(frozen=True, slots=True)
class OrderVerdict:
    """How the dates of a column are to be read, and which cells show it."""

    state: OrderState
    order: DateOrder | None
    day_witness: Witness | None = None
    month_witness: Witness | None = None
    open_witness: Witness | None = None
    open_cells: int = 0


@dataclass(slots=True)
class OrderEvidence:
    """Collects, cell by cell, what shows the order; holds four values only."""

    day: Witness | None = None
    month: Witness | None = None
    open: Witness | None = None
    open_cells: int = field(default=0)

    def add(self, row: int, text: str, times: int = 1) -> None:
        """Look at one more cell of the column, or at a text that it has more often."""
        reading = read_date(text)
        if reading.code == "date_order_open":
            self.open_cells += times
            self.open = self.open or Witness(row, text)
        elif reading.day_first and not reading.month_first:
            self.day = self.day or Witness(row, text)
        elif reading.month_first and not reading.day_first:
            self.month = self.month or Witness(row, text)

    def verdict(self) -> OrderVerdict:
        """Say what the cells seen so far show."""
        order = None
        state = OrderState.NOT_NEEDED
        if self.day and self.month:
            state = OrderState.CONTRADICTION
        elif self.day or self.month:
            order = DateOrder.DAY_FIRST if self.day else DateOrder.MONTH_FIRST
            state = OrderState.SETTLED
        elif self.open:
            state = OrderState.AMBIGUOUS
        return OrderVerdict(
            state, order, self.day, self.month, self.open, self.open_cells
        )


def settle_order(cells: Iterable[tuple[int, str]]) -> OrderVerdict:
    """Settle the order of a whole column of (row number, text)."""
    evidence = OrderEvidence()
    for row, text in cells:
        evidence.add(row, text)
    return evidence.verdict()


@lru_cache(maxsize=65_536)
def read_date(
    text: str, *, order: DateOrder | None = None, pivot: int = POSIX_PIVOT
) -> DateReading:
    """Read one cell.

    Years of two digits up to `pivot` (0 to 99) are 2000 and later, others 1900 and
    later. A time of day is cut off. Numbers from 10000 to 109574 are spreadsheet
    days (ECMA-376). Never raises: what cannot be read gives a code.
    """
    plain = _plain(text)
    certain = _year_first(plain) or _named(plain, pivot) or _serial(plain)
    if certain is not None:
        return certain
    found = _YEAR_LAST.match(plain)
    if found:
        one, two = int(found[1]), int(found[3])
        return _two_ways(one, two, _full_year(found[4], pivot), order)
    if re.fullmatch(r"\d{4}(?:\.0)?", plain):
        return DateReading(None, code="date_only_year")
    return DateReading(None, code="date_unreadable")


def _plain(text: str) -> str:
    """Take away case, accents, time of day, weekday and small words."""
    plain = " ".join(text.split()).lower()
    if not plain.isascii():
        parts = unicodedata.normalize("NFKD", plain)
        plain = "".join(c for c in parts if not unicodedata.combining(c))
    plain = _TIME.sub("", plain)
    if plain and any(map(str.isalpha, plain)):
        plain = _WEEKDAY.sub("", plain)
        plain = _LINK.sub(" ", _ORDINAL.sub("", plain))
        plain = " ".join(plain.split())
    return plain.strip()


def _day(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def _certain(year: int, month: int, day: int) -> DateReading:
    value = _day(year, month, day)
    return DateReading(value, code="" if value else "date_impossible")


def _full_year(text: str, pivot: int) -> int:
    year = int(text)
    if len(text) > len("99"):
        return year
    return year + (2000 if year <= pivot else 1900)


def _year_first(plain: str) -> DateReading | None:
    found = _YEAR_FIRST.match(plain)
    if found:
        return _certain(int(found[1]), int(found[3]), int(found[4]))
    found = _COMPACT.match(plain)
    if found:
        return _certain(int(found[1]), int(found[2]), int(found[3]))
    return None


def _named(plain: str, pivot: int) -> DateReading | None:
    found = _NAMED_DAY_FIRST.match(plain)
    if found and found[2] in _MONTHS:
        return _certain(_full_year(found[3], pivot), _MONTHS[found[2]], int(found[1]))
    found = _NAMED_MONTH_FIRST.match(plain)
    if found and found[1] in _MONTHS:
        return _certain(_full_year(found[3], pivot), _MONTHS[found[1]], int(found[2]))
    found = _NAMED_YEAR_FIRST.match(plain)
    if found and found[2] in _MONTHS:
        return _certain(int(found[1]), _MONTHS[found[2]], int(found[3]))
    return None


def _serial(plain: str) -> DateReading | None:
    if not _SERIAL.match(plain):
        return None
    number = int(float(plain))
    if not _FIRST_SERIAL <= number <= _LAST_SERIAL:
        return None
    return DateReading(_SERIAL_ZERO + dt.timedelta(days=number))


def _two_ways(one: int, two: int, year: int, order: DateOrder | None) -> DateReading:
    day_first, month_first = _day(year, two, one), _day(year, one, two)
    if day_first is None and month_first is None:
        return DateReading(None, code="date_impossible")
    if day_first == month_first:
        return DateReading(day_first)
    if order is None:
        if day_first and month_first:
            return DateReading(None, day_first, month_first, "date_order_open")
        return DateReading(day_first or month_first, day_first, month_first)
    value = day_first if order is DateOrder.DAY_FIRST else month_first
    code = "" if value else "date_against_order"
    if value is None and max(one, two) <= _LAST_MONTH:
        code = "date_impossible"
    return DateReading(value, day_first, month_first, code)
