"""From a raw row of a list to a cleaned record and a list of what is wrong."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

from vehicles.rules import cells
from vehicles.rules.dates import POSIX_PIVOT, DateOrder, read_date
from vehicles.rules.records import (
    CLOSED_FIELDS,
    DATE_FIELDS,
    CleanRow,
    Fault,
    Severity,
    VehicleRecord,
)
from vehicles.rules.standing import PartyKind, VehicleKind
from vehicles.rules.vin import Grade, Market, judge_vin


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Mapping, Sequence
    from enum import StrEnum

_SHOWN = 200
_LARGEST_ODOMETER = 2_000_000
_YEARS_AHEAD = 2
_FIRST_MODEL_YEAR = 1900
_CENTURY = 100
_MOST_DIGITS = 20
# Cells of one column whose readings are kept; more of them would not repeat.
_MOST_KEPT = 4_096

# The longest text that each field keeps.
LONGEST = {
    "line": 60, "engine": 40, "plant": 40, "serial": 20, "plate": 16,
    "owner_name": 160, "owner_given_name": 160, "street": 120, "street2": 120,
    "city": 80, "region": 40, "postal_code": 16, "phone": 40, "email": 254,
}  # fmt: skip
CODES = frozenset(
    {"serial", "plate", "postal_code", "phone", "plant", "engine", "line"}
)
_WORDS = {
    "build_date": "build date",
    "first_use_date": "day of first use",
    "odometer_date": "day of the odometer reading",
    "tenure_from": "day from which the owner has it",
}


_OF_GRADE = {
    Grade.OK: Severity.ASK,
    Grade.WARN: Severity.WARN,
    Grade.REJECT: Severity.REFUSE,
}


@dataclass(frozen=True, slots=True)
class RowRules:
    """How the rows of one list are to be read.

    `mapping` gives field name to column index. `date_orders` holds the order of each
    date field that is settled. `market`, `kind` and `country` are what holds where
    the row says nothing. Two-digit years up to `pivot` are 2000 and later.
    """

    headers: Sequence[str]
    mapping: Mapping[str, int]
    today: dt.date
    date_orders: Mapping[str, DateOrder] = field(default_factory=dict)
    market: Market = Market.UNKNOWN
    kind: VehicleKind = VehicleKind.UNKNOWN
    country: str = "US"
    odometer_in_kilometres: bool = False
    pivot: int = POSIX_PIVOT


def clean_row(row: int, raw: Sequence[str], rules: RowRules) -> CleanRow:
    """Clean one row. Never raises: whatever is wrong becomes a fault.

    A REFUSE fault means that the row is handed back; ASK that a person decides;
    WARN that it is taken as it stands and said so. For many rows of one list take one
    RowCleaner.
    """
    return RowCleaner(rules).clean(row, raw)


class _Note(NamedTuple):
    """What is wrong with a field's cell; a fault without its place."""

    field: str
    code: str
    sentence: str
    severity: Severity = Severity.REFUSE


class Reading(NamedTuple):
    """What a cell says, and what is wrong with it."""

    value: Any
    notes: tuple[_Note, ...] = ()


class _Column:
    """Reads the cells of one field. Lists repeat themselves: readings are kept."""

    __slots__ = ("_empty", "_kept", "_place", "_reader", "name")

    def __init__(
        self,
        name: str,
        rules: RowRules,
        reader: Callable[[str], Reading],
        empty: object = None,
    ) -> None:
        self.name = name
        self._place = rules.mapping.get(name)
        self._reader = reader
        self._empty = Reading(empty)
        self._kept: dict[str, Reading] = {}

    def read(self, raw: Sequence[str]) -> Reading:
        """Read the field's cell in a row; it may have none."""
        place = self._place
        if place is None or place >= len(raw):
            return self._empty
        text = raw[place]
        if not text:
            return self._empty
        found = self._kept.get(text)
        if found is None:
            found = self._reader(text)
            if len(self._kept) < _MOST_KEPT:
                self._kept[text] = found
        return found


def readers_of(rules: RowRules) -> dict[str, Callable[[str], Reading]]:
    """Give what reads the cells of each field; none of it looks at other cells."""
    readers: dict[str, Callable[[str], Reading]] = {
        "vin": partial(_cell, "vin"),
        "model_year": partial(_year, rules.today),
        "odometer": partial(_odometer, rules),
        "country": partial(_country, rules.country),
        "language": _language,
    }
    readers |= {name: partial(_text, name) for name in LONGEST}
    readers |= {name: partial(_date, name, rules) for name in DATE_FIELDS}
    return readers | {
        name: partial(_choice, name, sort) for name, sort in CLOSED_FIELDS.items()
    }


class RowCleaner:
    """Cleans the rows of one list, one after the other, as `clean_row` does."""

    def __init__(self, rules: RowRules) -> None:
        self.rules = rules
        there = rules.mapping
        self._blank: dict[str, Any] = {
            **dict.fromkeys(LONGEST, ""),
            **dict.fromkeys(DATE_FIELDS),
            **dict.fromkeys(CLOSED_FIELDS),
        }
        readers = readers_of(rules)
        plain = (*LONGEST, *DATE_FIELDS, *CLOSED_FIELDS)
        self._plain = [_Column(n, rules, readers[n]) for n in plain if n in there]
        self._vin = _Column("vin", rules, readers["vin"], "")
        self._year = _Column("model_year", rules, readers["model_year"])
        self._odometer = _Column("odometer", rules, readers["odometer"])
        self._country = _Column("country", rules, readers["country"], rules.country)
        self._language = _Column("language", rules, readers["language"], "")

    def clean(self, row: int, raw: Sequence[str]) -> CleanRow:
        """Clean one row; see `clean_row`."""
        notes: list[_Note] = []
        if len(raw) > len(self.rules.headers):
            notes.append(_too_wide(len(raw), len(self.rules.headers)))
        values = self._blank.copy()
        for column in self._plain:
            text = column.read(raw)
            if text.value is not None:
                values[column.name] = text.value
            if text.notes:
                notes += text.notes
        values["kind"] = values["kind"] or self.rules.kind
        self._read_vehicle(raw, values, notes)
        values["odometer"], found = self._odometer.read(raw)
        notes += found
        _check_days(values, notes)
        country, found = self._country.read(raw)
        notes += found
        _check_postal_code(country, values, notes)
        _check_person(values, notes)
        values["language"], found = self._language.read(raw)
        notes += found
        faults = tuple(self._fault(row, raw, note) for note in notes) if notes else ()
        return CleanRow(row, VehicleRecord(**values), faults)

    def _fault(self, row: int, raw: Sequence[str], note: _Note) -> Fault:
        column = self.rules.mapping.get(note.field)
        there = column is not None and column < len(raw)
        value = raw[column] if there and column is not None else ""
        header = self.rules.headers[column] if column is not None else ""
        return Fault(
            row,
            header,
            note.field,
            value[:_SHOWN],
            note.code,
            note.sentence,
            note.severity,
        )

    def _read_vehicle(
        self, raw: Sequence[str], values: dict[str, Any], notes: list[_Note]
    ) -> None:
        """Read the VIN and the model year together, for one checks the other."""
        text, found = self._vin.read(raw)
        notes += found
        if cells.lost_digits(text):
            notes.append(
                _Note(
                    "vin",
                    "digits_lost",
                    "A spreadsheet made a rounded number of the VIN. Format the column"
                    " as text and save the list again.",
                )
            )
            values["vin"] = text[:40]
            return
        stated, found = self._year.read(raw)
        notes += found
        verdict = judge_vin(
            text,
            market=self.rules.market,
            kind=values["kind"],
            stated_model_year=stated,
        )
        for reason in verdict.reasons:
            name = "model_year" if reason.code == "vin_model_year" else "vin"
            notes.append(
                _Note(name, reason.code, reason.sentence, _OF_GRADE[reason.grade])
            )
        values["vin"] = verdict.vin[:40]
        values["model_year"] = verdict.model_year
        values["model_years"] = verdict.model_years


# Single cells ------------------------------------------------------------------------


def _cell(name: str, raw: str) -> Reading:
    """Clean the text of a cell."""
    text, had_controls = cells.clean_text(raw)
    if not had_controls:
        return Reading(text)
    sentence = "Characters that cannot be seen were taken out."
    note = _Note(name, "control_characters", sentence, Severity.WARN)
    return Reading(text, (note,))


def _text(name: str, raw: str) -> Reading:
    """Read a text, within its length; a formula stays a text and is told."""
    text, notes = _cell(name, raw)
    if cells.is_nothing(text):
        return Reading("", notes)
    if name in CODES:
        if cells.lost_digits(text):
            sentence = (
                "A spreadsheet made a rounded number of this. Format the column as"
                " text and save the list again."
            )
            notes += (_Note(name, "digits_lost", sentence),)
        text = cells.as_code(text)
    if cells.looks_like_formula(text):
        sentence = "This looks like a formula. It is kept as plain text and never run."
        notes += (_Note(name, "formula", sentence, Severity.WARN),)
    longest = LONGEST[name]
    if len(text) > longest:
        sentence = f"{len(text)} characters are too many; at most {longest} fit."
        notes += (_Note(name, "too_long", sentence),)
    return Reading(text[:longest], notes)


def _date(name: str, rules: RowRules, raw: str) -> Reading:
    """Read a day that is not in the future."""
    text, notes = _cell(name, raw)
    if cells.is_no_date(text):
        return Reading(None, notes)
    reading = read_date(text, order=rules.date_orders.get(name), pivot=rules.pivot)
    words = _WORDS[name]
    if reading.code == "date_order_open":
        sentence = (
            f"This is {reading.day_first} or {reading.month_first}: say whether the"
            " day or the month stands first."
        )
        notes += (_Note(name, reading.code, sentence, Severity.ASK),)
    elif reading.code:
        sentence = _DATE_FAULTS[reading.code].format(words=words)
        notes += (_Note(name, reading.code, sentence),)
    elif reading.value and reading.value > rules.today:
        sentence = f"The {words} {reading.value} is in the future."
        notes += (_Note(name, "date_in_future", sentence),)
    return Reading(reading.value, notes)


def _choice(name: str, sort: type[StrEnum], raw: str) -> Reading:
    """Read one of a closed list."""
    text, notes = _cell(name, raw)
    if cells.is_nothing(text):
        return Reading(None, notes)
    found = _LISTS[name].get(cells.folded_word(text))
    if found is not None:
        return Reading(sort(found), notes)
    known = ", ".join(sort)
    sentence = f"“{text[:40]}” is none of: {known}. The cell is left out."
    return Reading(None, (*notes, _Note(name, "word_unknown", sentence, Severity.WARN)))


def _year(today: dt.date, raw: str) -> Reading:
    """Read the list's own model year: four digits, or two near today."""
    text, notes = _cell("model_year", raw)
    text = cells.as_code(text)
    if cells.is_nothing(text) or text == "0":
        return Reading(None, notes)
    latest = today.year + _YEARS_AHEAD
    whole = text.isascii() and text.isdigit() and len(text) < _MOST_DIGITS
    year = int(text) if whole else 0
    if len(text) == len("26") and year:
        year += latest - latest % _CENTURY
        year -= _CENTURY if year > latest else 0
    if _FIRST_MODEL_YEAR <= year <= latest:
        return Reading(year, notes)
    sentence = f"“{text[:40]}” is no model year from {_FIRST_MODEL_YEAR} to {latest}."
    return Reading(
        None, (*notes, _Note("model_year", "model_year_unreadable", sentence))
    )


def _odometer(rules: RowRules, raw: str) -> Reading:
    """Read an odometer in miles."""
    text, notes = _cell("odometer", raw)
    if cells.is_nothing(text):
        return Reading(None, notes)
    number = cells.read_number(text)
    if number is None:
        note = _Note("odometer", "number_unreadable", "This is no whole number.")
        return Reading(None, (*notes, note))
    if not 0 <= number.value <= _LARGEST_ODOMETER:
        sentence = f"An odometer reading lies between 0 and {_LARGEST_ODOMETER}."
        code = "odometer_negative" if number.value < 0 else "odometer_too_large"
        return Reading(None, (*notes, _Note("odometer", code, sentence)))
    in_km = rules.odometer_in_kilometres
    return Reading(cells.miles_of(number, kilometres=in_km), notes)


def _country(usual: str, raw: str) -> Reading:
    """Read a country; one that is not known gives none, an empty cell the usual."""
    text, notes = _cell("country", raw)
    if cells.is_nothing(text):
        return Reading(usual, notes)
    country = cells.read_country(text)
    if country is not None:
        return Reading(country, notes)
    sentence = f"“{text[:40]}” is no country we know. Write its two letters, as in US."
    return Reading(None, (*notes, _Note("country", "country_unknown", sentence)))


def _language(raw: str) -> Reading:
    """Read a language."""
    text, notes = _cell("language", raw)
    if cells.is_nothing(text):
        return Reading("", notes)
    code = cells.read_language(text)
    if code is not None:
        return Reading(code, notes)
    sentence = f"“{text[:40]}” is no language we know. The cell is left out."
    note = _Note("language", "language_unknown", sentence, Severity.WARN)
    return Reading("", (*notes, note))


# Cells together ----------------------------------------------------------------------


def _too_wide(there: int, headers: int) -> _Note:
    return _Note(
        "",
        "row_too_wide",
        f"The row has {there} cells under {headers} headers. A separator inside a text"
        " may want quotation marks.",
    )


def _check_days(values: Mapping[str, Any], notes: list[_Note]) -> None:
    """Note a vehicle that was used before it was built."""
    built, used = values["build_date"], values["first_use_date"]
    if built and used and built > used:
        sentence = f"Built on {built}, but first used on {used}. One of them is wrong."
        notes.append(_Note("build_date", "built_after_first_use", sentence))


def _check_postal_code(
    country: str | None, values: dict[str, Any], notes: list[_Note]
) -> None:
    """Mend the postal code by the shape of its country."""
    code = values["postal_code"]
    values["country"] = country or ""
    if not code or country is None:
        return
    mended = cells.mend_postal_code(code, country)
    values["postal_code"] = mended
    if mended != code and len(mended) == len("02108"):
        sentence = f"The list had lost leading zeros: {code} was read as {mended}."
        notes.append(_Note("postal_code", "zeros_restored", sentence, Severity.WARN))
    if not cells.postal_code_fits(mended, country):
        sentence = f"Postal codes of {country} look different."
        notes.append(_Note("postal_code", "postal_code_shape", sentence, Severity.WARN))


def _check_person(values: dict[str, Any], notes: list[_Note]) -> None:
    """Join the owner's names, and look at how to reach them."""
    given = values.pop("owner_given_name")
    name = values["owner_name"]
    name = f"{given} {name}" if given and name else given or name
    longest = LONGEST["owner_name"]
    if len(name) > longest:
        name = name[:longest]
        sentence = "First and last name are too long."
        notes.append(_Note("owner_name", "too_long", sentence))
    values["owner_name"] = name
    if values["owner_kind"] is None and cells.names_a_firm(name):
        values["owner_kind"] = PartyKind.FIRM
    email, phone = values["email"], values["phone"]
    if email and not cells.is_email(email):
        sentence = "This is no e-mail address."
        notes.append(_Note("email", "email_shape", sentence, Severity.WARN))
    if phone and not cells.is_phone(phone):
        sentence = "This is no telephone number."
        notes.append(_Note("phone", "phone_shape", sentence, Severity.WARN))


_LISTS = {
    name: {
        word: value.value for value, words in known.items() for word in words.split()
    }
    for name, known in (
        ("kind", cells.KIND_WORDS),
        ("standing", cells.STANDING_WORDS),
        ("owner_kind", cells.OWNER_KIND_WORDS),
        ("role", cells.ROLE_WORDS),
        ("address_source", cells.SOURCE_WORDS),
    )
}
_DATE_FAULTS = {
    "date_against_order": "The other {words} cells show the other order of day and month.",
    "date_unreadable": "This cannot be read as a {words}. Write it as 2026-03-09.",
    "date_impossible": "There is no such day. Write the {words} as 2026-03-09.",
    "date_only_year": "This is only a year. Write the whole {words} as 2026-03-09.",
}
