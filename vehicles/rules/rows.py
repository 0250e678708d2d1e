"""From a raw row of a list to a cleaned record and a list of what is wrong."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeVar

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
from vehicles.rules.vin import Grade, Market, VinVerdict, judge_vin


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

_SHOWN = 200
_LARGEST_ODOMETER = 2_000_000
_YEARS_AHEAD = 2
_FIRST_MODEL_YEAR = 1900
_CENTURY = 100

# The longest text that each field keeps.
LONGEST = {
    "line": 60, "engine": 40, "plant": 40, "serial": 20, "plate": 16,
    "owner_name": 160, "owner_given_name": 160, "street": 120, "street2": 120,
    "city": 80, "region": 40, "postal_code": 16, "phone": 40, "email": 254,
}  # fmt: skip
_CODES = frozenset(
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
_E = TypeVar("_E", bound=StrEnum)


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
    WARN that it is taken as it stands and said so.
    """
    reader = _RowReader(row, raw, rules)
    record = reader.read()
    return CleanRow(row, record, tuple(reader.faults))


class _RowReader:
    """Reads the fields of one row and notes the faults on the way."""

    def __init__(self, row: int, raw: Sequence[str], rules: RowRules) -> None:
        self.row = row
        self.raw = raw
        self.rules = rules
        self.faults: list[Fault] = []

    def read(self) -> VehicleRecord:
        """Read all fields."""
        if len(self.raw) > len(self.rules.headers):
            self.note(
                "",
                "row_too_wide",
                f"The row has {len(self.raw)} cells under {len(self.rules.headers)}"
                " headers. A separator inside a text may want quotation marks.",
            )
        there = self.rules.mapping
        values: dict[str, Any] = dict.fromkeys(LONGEST, "")
        values |= {name: self.text(name) for name in LONGEST if name in there}
        values |= {
            name: self.date(name) if name in there else None for name in DATE_FIELDS
        }
        values |= {
            name: self.choice(name, _LISTS[name], sort) if name in there else None
            for name, sort in CLOSED_FIELDS.items()
        }
        values["kind"] = values["kind"] or self.rules.kind
        values |= self.vehicle(values["kind"])
        values["odometer"] = self.odometer()
        self.check_days(values)
        self.address(values)
        self.person(values)
        return VehicleRecord(**values)

    def cell(self, name: str) -> str:
        """Give the cleaned text of a field's cell; empty where it has no column."""
        column = self.rules.mapping.get(name)
        if column is None or column >= len(self.raw) or not self.raw[column]:
            return ""
        text, had_controls = cells.clean_text(self.raw[column])
        if had_controls:
            self.note(
                name,
                "control_characters",
                "Characters that cannot be seen were taken out.",
                Severity.WARN,
            )
        return text

    def note(
        self, name: str, code: str, sentence: str, severity: Severity = Severity.REFUSE
    ) -> None:
        """Note a fault of a field's cell."""
        column = self.rules.mapping.get(name)
        there = column is not None and column < len(self.raw)
        value = self.raw[column] if there and column is not None else ""
        header = self.rules.headers[column] if column is not None else ""
        self.faults.append(
            Fault(self.row, header, name, value[:_SHOWN], code, sentence, severity)
        )

    def text(self, name: str) -> str:
        """Read a text, within its length; a formula stays a text and is told."""
        text = self.cell(name)
        if cells.is_nothing(text):
            return ""
        if name in _CODES:
            if cells.lost_digits(text):
                self.note(
                    name,
                    "digits_lost",
                    "A spreadsheet made a rounded number of this. Format the column as"
                    " text and save the list again.",
                )
            text = cells.as_code(text)
        if cells.looks_like_formula(text):
            self.note(
                name,
                "formula",
                "This looks like a formula. It is kept as plain text and never run.",
                Severity.WARN,
            )
        if len(text) > LONGEST[name]:
            self.note(
                name,
                "too_long",
                f"{len(text)} characters are too many; at most {LONGEST[name]} fit.",
            )
            return text[: LONGEST[name]]
        return text

    def date(self, name: str) -> dt.date | None:
        """Read a day that is not in the future."""
        text = self.cell(name)
        if cells.is_no_date(text):
            return None
        reading = read_date(
            text, order=self.rules.date_orders.get(name), pivot=self.rules.pivot
        )
        words = _WORDS[name]
        if reading.code == "date_order_open":
            self.note(
                name,
                reading.code,
                f"This is {reading.day_first} or {reading.month_first}: say whether"
                " the day or the month stands first.",
                Severity.ASK,
            )
        elif reading.code:
            self.note(
                name, reading.code, _DATE_FAULTS[reading.code].format(words=words)
            )
        elif reading.value and reading.value > self.rules.today:
            self.note(
                name, "date_in_future", f"The {words} {reading.value} is in the future."
            )
        return reading.value

    def choice(self, name: str, words: Mapping[str, str], sort: type[_E]) -> _E | None:
        """Read one of a closed list."""
        text = self.cell(name)
        if cells.is_nothing(text):
            return None
        found = words.get(cells.folded_word(text))
        if found is None:
            known = ", ".join(sort)
            self.note(
                name,
                "word_unknown",
                f"“{text[:40]}” is none of: {known}. The cell is left out.",
                Severity.WARN,
            )
            return None
        return sort(found)

    def vehicle(self, kind: VehicleKind) -> dict[str, Any]:
        """Read the VIN and the model year together, for one checks the other."""
        text = self.cell("vin")
        if cells.lost_digits(text):
            self.note(
                "vin",
                "digits_lost",
                "A spreadsheet made a rounded number of the VIN. Format the column as"
                " text and save the list again.",
            )
            return {"vin": text[:40]}
        stated = self.stated_year()
        verdict = judge_vin(
            text, market=self.rules.market, kind=kind, stated_model_year=stated
        )
        self.vin_faults(verdict)
        return {
            "vin": verdict.vin[:40],
            "model_year": verdict.model_year,
            "model_years": verdict.model_years,
        }

    def vin_faults(self, verdict: VinVerdict) -> None:
        """Note what the VIN's verdict says."""
        for reason in verdict.reasons:
            name = "model_year" if reason.code == "vin_model_year" else "vin"
            self.note(name, reason.code, reason.sentence, _OF_GRADE[reason.grade])

    def stated_year(self) -> int | None:
        """Read the list's own model year: four digits, or two near today."""
        text = cells.as_code(self.cell("model_year"))
        if cells.is_nothing(text) or text == "0":
            return None
        latest = self.rules.today.year + _YEARS_AHEAD
        year = int(text) if text.isascii() and text.isdigit() else 0
        if len(text) == len("26") and year:
            year += latest - latest % _CENTURY
            year -= _CENTURY if year > latest else 0
        if not _FIRST_MODEL_YEAR <= year <= latest:
            self.note(
                "model_year",
                "model_year_unreadable",
                f"“{text[:40]}” is no model year from {_FIRST_MODEL_YEAR} to {latest}.",
            )
            return None
        return year

    def odometer(self) -> int | None:
        """Read an odometer in miles."""
        text = self.cell("odometer")
        if cells.is_nothing(text):
            return None
        number = cells.read_number(text)
        if number is None:
            self.note("odometer", "number_unreadable", "This is no whole number.")
            return None
        if not 0 <= number.value <= _LARGEST_ODOMETER:
            sentence = f"An odometer reading lies between 0 and {_LARGEST_ODOMETER}."
            code = "odometer_negative" if number.value < 0 else "odometer_too_large"
            self.note("odometer", code, sentence)
            return None
        return cells.miles_of(number, kilometres=self.rules.odometer_in_kilometres)

    def check_days(self, values: Mapping[str, Any]) -> None:
        """Note a vehicle that was used before it was built."""
        built, used = values["build_date"], values["first_use_date"]
        if built and used and built > used:
            self.note(
                "build_date",
                "built_after_first_use",
                f"Built on {built}, but first used on {used}. One of them is wrong.",
            )

    def address(self, values: dict[str, Any]) -> None:
        """Read the country, then the postal code by its shape."""
        text = self.cell("country")
        country: str | None = self.rules.country
        if not cells.is_nothing(text):
            country = cells.read_country(text)
        if country is None:
            self.note(
                "country",
                "country_unknown",
                f"“{text[:40]}” is no country we know. Write its two letters, as in US.",
            )
        code = values["postal_code"]
        values["country"] = country or ""
        if not code or country is None:
            return
        mended = cells.mend_postal_code(code, country)
        values["postal_code"] = mended
        if mended != code and len(mended) == len("02108"):
            self.note(
                "postal_code",
                "zeros_restored",
                f"The list had lost leading zeros: {code} was read as {mended}.",
                Severity.WARN,
            )
        if not cells.postal_code_fits(mended, country):
            self.note(
                "postal_code",
                "postal_code_shape",
                f"Postal codes of {country} look different.",
                Severity.WARN,
            )

    def person(self, values: dict[str, Any]) -> None:
        """Read what is told of the owner."""
        given = values.pop("owner_given_name")
        values["owner_name"] = " ".join(filter(None, (given, values["owner_name"])))
        if len(values["owner_name"]) > LONGEST["owner_name"]:
            values["owner_name"] = values["owner_name"][: LONGEST["owner_name"]]
            self.note("owner_name", "too_long", "First and last name are too long.")
        if values["owner_kind"] is None and cells.names_a_firm(values["owner_name"]):
            values["owner_kind"] = PartyKind.FIRM
        shapes = (
            ("email", cells.is_email, "This is no e-mail address."),
            ("phone", cells.is_phone, "This is no telephone number."),
        )
        for name, fits, sentence in shapes:
            if values[name] and not fits(values[name]):
                self.note(name, f"{name}_shape", sentence, Severity.WARN)
        text = self.cell("language")
        code = None if cells.is_nothing(text) else cells.read_language(text)
        values["language"] = code or ""
        if code is None and not cells.is_nothing(text):
            self.note(
                "language",
                "language_unknown",
                f"“{text[:40]}” is no language we know. The cell is left out.",
                Severity.WARN,
            )


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
