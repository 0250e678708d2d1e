"""Many rows of a list cleaned at once, column by column.

The same rules as in `vehicles.rules.rows`, whose readers are used here: what comes out
equals what `RowCleaner` says of each row. Most rows of a list have nothing wrong with
them, and their cells repeat or are plain text; those are read here with one look-up or
one pattern a cell. A row with anything to say about it is only named, to be cleaned
by itself, so that no sentence is written in two places.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from enum import StrEnum
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from vehicles.rules import cells
from vehicles.rules.records import CLOSED_FIELDS, DATE_FIELDS, VehicleRecord
from vehicles.rules.rows import CODES, LONGEST, readers_of
from vehicles.rules.standing import PartyKind, TenureRole, VehicleKind
from vehicles.rules.vin import BulkResult, check_many, model_years, normalise_vin


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from vehicles.rules.rows import Reading, RowRules

Column = list[Any]
"""Cells of one field: texts and numbers, days as 2026-03-09, "" for what is missing."""

# Cells whose readings are kept, for each field.
_MOST_KEPT = 20_000
# A text that is kept as it stands: printable ASCII, single spaces, no formula.
_WORDS = re.compile(r"[A-Za-z0-9#(][!-~]*(?: [!-~]+)*").fullmatch
# The same for a code; 1E5 and 12.0 may be numbers of a spreadsheet and are not it.
_CODE = re.compile(
    r"[A-Za-z(][!-~]*(?: [!-~]+)*|[0-9]+(?:[ -]?[0-9A-DF-Za-df-z]+)*"
).fullmatch
# With what such a text begins, and what may be a number of a spreadsheet.
_FIRST = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789#(")
_NUMBER = re.compile(r"\|[0-9][0-9.,]*[eE.]")
_SEVEN_DIGITS = re.compile(r"(?:[^0-9]*[0-9]){7}").match
# Whole miles below a million, with or without marks at the thousands.
_MILES = re.compile(r"[0-9]{1,3}(?:,[0-9]{3}|[0-9]{0,3})").fullmatch
_YEAR_AT, _PERIOD_AT = 9, 6
_MENDED_LENGTH = len("02108")
_NO_LONGER_NAMES = ("owner_given_name",)


@dataclass(slots=True)
class Block:
    """Cleaned rows, column by column; ``odd`` are the places to be cleaned singly.

    At the ``told`` places the row is right as it stands here, but there is something
    to tell of it: its postal code had lost zeros.

    What stands at the places of odd rows means nothing. A column that the list does
    not have is not there, save ``vin``, ``kind``, ``model_year`` and ``country``.
    """

    numbers: Sequence[int]
    columns: dict[str, Column]
    odd: set[int]
    told: set[int]

    def record(self, place: int) -> VehicleRecord:
        """Give one row as a record."""
        return record_of(self.columns, place)

    def keys(self) -> Iterable[tuple[str, str]]:
        """Give VIN and role of each row: what may stand only once in a list."""
        roles = self.columns.get("role")
        vins = self.columns["vin"]
        owner = TenureRole.OWNER.value
        if roles is None:
            return ((vin, owner) for vin in vins)
        return ((vin, role or owner) for vin, role in zip(vins, roles, strict=True))

    def marks(self) -> list[int]:
        """Give a number for all that each row says; rows that say the same share it."""
        return list(map(hash, zip(*self.columns.values(), strict=True)))

    def mark_of(self, record: VehicleRecord) -> int:
        """Give the number of a row that was cleaned by itself."""
        return hash(tuple(_plain(getattr(record, name)) for name in self.columns))


def record_of(columns: dict[str, Column], place: int) -> VehicleRecord:
    """Give one row of columns as a record."""
    told = {name: column[place] for name, column in columns.items()}
    told = {name: value for name, value in told.items() if value != ""}
    kind = VehicleKind(told["kind"])
    told["model_years"] = model_years(told["vin"], kind=kind)
    return VehicleRecord.from_json(told)


def _plain(value: object) -> object:
    """Give a value of a record as columns hold it."""
    if value is None:
        return ""
    if isinstance(value, StrEnum):
        return value.value
    return value.isoformat() if isinstance(value, dt.date) else value


class BlockCleaner:
    """Cleans the rows of one list, many at a time."""

    def __init__(self, rules: RowRules) -> None:
        self.rules = rules
        self._readers = readers_of(rules)
        names = ("model_year", "odometer", "country", "language")
        fields = (*LONGEST, *DATE_FIELDS, *CLOSED_FIELDS, *names)
        self._known: dict[str, dict[str, Any]] = {
            name: {"": rules.country if name == "country" else ""}
            for name in fields
            if name in rules.mapping
        }
        self._years: dict[tuple[str, str, str, Any], Any] = {}
        self._posts: dict[tuple[str, str], str] = {}
        self._last_words: dict[str, str] = {}
        self._zeros: set[tuple[str, str]] = set()

    def clean(self, numbers: Sequence[int], raw: Sequence[Sequence[str]]) -> Block:
        """Clean rows, given by their numbers and cells; each has a cell a header."""
        width = len(self.rules.headers)
        odd = {n for n, row in enumerate(raw) if len(row) > width}
        told = list(zip(*(row[:width] for row in raw) if odd else raw, strict=True))
        cells_of = {name: told[at] for name, at in self.rules.mapping.items()}
        columns = {
            name: self._column(name, cells_of[name], odd) for name in self._known
        }
        self._kinds(columns, len(raw))
        self._vehicles(cells_of["vin"], columns, odd)
        told_of = self._posts_of(columns, odd, len(raw))
        self._people(columns, odd)
        _days(columns, odd)
        return Block(numbers, columns, odd, told_of - odd)

    def _column(self, name: str, texts: Sequence[str], odd: set[int]) -> Column:
        """Read the cells of one field, each by itself."""
        known = self._known[name]
        out: Column = list(map(known.get, texts))
        if None not in out:
            return out
        longest = LONGEST.get(name, 0)
        if longest and _all_plain(texts, longest, code=name in CODES):
            return list(texts)
        plain: Callable[[str], object] = _CODE if name in CODES else _WORDS
        nothing, read = cells.is_nothing, self._readers[name]
        if name == "odometer" and not self.rules.odometer_in_kilometres:
            _read_miles(texts, out)
        for place, value in enumerate(out):
            if value is not None:
                continue
            text = texts[place]
            if len(text) <= longest and plain(text) and not nothing(text):
                out[place] = text
            else:
                out[place] = self._read(known, read, text, place, odd)
        return out

    def _read(
        self,
        known: dict[str, Any],
        read: Callable[[str], Reading],
        text: str,
        place: int,
        odd: set[int],
    ) -> Any:  # noqa: ANN401 (a text or a number)
        found = known.get(text)
        if found is not None:
            return found
        reading = read(text)
        if reading.notes:
            odd.add(place)
            return ""
        value = _plain(reading.value)
        if len(known) < _MOST_KEPT:
            known[text] = value
        return value

    def _kinds(self, columns: dict[str, Column], count: int) -> None:
        usual = self.rules.kind.value
        kinds = columns.get("kind")
        if kinds is None:
            columns["kind"] = [usual] * count
        elif "" in kinds:
            columns["kind"] = [kind or usual for kind in kinds]

    def _vehicles(
        self, texts: Sequence[str], columns: dict[str, Column], odd: set[int]
    ) -> None:
        """Read VINs and model years together, for one checks the other."""
        vins = list(map(normalise_vin, texts))
        odd.update((check_many(vins) != BulkResult.GOOD).nonzero()[0].tolist())
        odd.update(n for n, text in enumerate(texts) if not _is_plain_vin(text))
        columns["vin"] = vins
        stated = columns.get("model_year") or [""] * len(vins)
        years = self._years
        out: Column = []
        judged = zip(vins, columns["kind"], stated, strict=True)
        for place, (vin, kind, year) in enumerate(judged):
            key = (vin[_YEAR_AT:10], vin[_PERIOD_AT:7], kind, year)
            found = years.get(key)
            if found is None:
                if place in odd:
                    out.append("")
                    continue
                found = years[key] = _settled(vin, kind, year)
            if not found:
                odd.add(place)
            out.append(found)
        columns["model_year"] = out

    def _posts_of(
        self, columns: dict[str, Column], odd: set[int], count: int
    ) -> set[int]:
        """Mend postal codes by the shape of their country; gives where zeros came."""
        countries = columns.setdefault("country", [self.rules.country] * count)
        codes = columns.get("postal_code")
        if codes is None:
            return set()
        known, zeros = self._posts, self._zeros
        pairs = list(zip(codes, countries, strict=True))
        out: Column = list(map(known.get, pairs))
        if None in out:
            for place, value in enumerate(out):
                if value is None:
                    out[place] = self._post(*pairs[place], place, odd)
        columns["postal_code"] = out
        if not zeros:
            return set()
        return {place for place, pair in enumerate(pairs) if pair in zeros}

    def _post(self, code: str, country: str, place: int, odd: set[int]) -> str:
        known = self._posts
        if len(known) > _MOST_KEPT:
            known.clear()
        mended = cells.mend_postal_code(code, country) if code else ""
        if code and not cells.postal_code_fits(mended, country):
            odd.add(place)
            return ""
        if mended != code and len(mended) == _MENDED_LENGTH:
            self._zeros.add((code, country))
        known[code, country] = mended
        return mended

    def _people(self, columns: dict[str, Column], odd: set[int]) -> None:
        """Join names, tell firms, and look at how to reach people."""
        given = columns.pop("owner_given_name", None)
        names = columns.get("owner_name")
        if given is not None:
            names = names or [""] * len(given)
            names = [
                f"{first} {last}" if first and last else first or last
                for first, last in zip(given, names, strict=True)
            ]
            columns["owner_name"] = names
        if names is not None:
            longest = LONGEST["owner_name"]
            odd.update(n for n, name in enumerate(names) if len(name) > longest)
            kinds = columns.get("owner_kind") or [""] * len(names)
            firms = self._firms(names)
            columns["owner_kind"] = [
                kind or firm for kind, firm in zip(kinds, firms, strict=True)
            ]
        for name, fits in (("email", cells.is_email), ("phone", _is_phone)):
            there = columns.get(name) or ()
            odd.update(n for n, text in enumerate(there) if text and not fits(text))

    def _firms(self, names: Column) -> Column:
        """Tell firms by the last word of their names."""
        known = self._last_words
        last = [name[name.rfind(" ") + 1 :] for name in names]
        out: Column = list(map(known.get, last))
        for place, value in enumerate(out) if None in out else ():
            if value is None:
                word = last[place]
                firm = PartyKind.FIRM.value if cells.names_a_firm(word) else ""
                out[place] = firm
                if len(known) < _MOST_KEPT:
                    known[word] = firm
        return out


def _is_phone(text: str) -> bool:
    return bool(_SEVEN_DIGITS(text)) or cells.is_phone(text)


def _all_plain(texts: Sequence[str], longest: int, *, code: bool) -> bool:
    """Tell whether every text of a column stays as it stands, in a few looks at all.

    Where it says no, each text is looked at by itself.
    """
    filled = list(filter(None, texts))
    joined = "|".join(filled)
    return (
        joined.isascii()
        and joined.isprintable()
        and not any(gap in f"|{joined}|" for gap in ("  ", "| ", " |"))
        and max(map(len, filled)) <= longest
        and _FIRST.issuperset(map(itemgetter(0), filled))
        and cells.NOTHING.isdisjoint(map(str.lower, filled))
        and not (code and _NUMBER.search(f"|{joined}"))
    )


def _read_miles(texts: Sequence[str], out: Column) -> None:
    """Read the plain numbers among the odometer cells that are not known yet."""
    for place, value in enumerate(out):
        if value is None and _MILES(text := texts[place]):
            out[place] = int(text.replace(",", ""))


def _is_plain_vin(text: str) -> bool:
    """Tell a VIN cell that neither says more nor is a spreadsheet's number."""
    return text.isascii() and text.isprintable() and not cells.lost_digits(text)


def _settled(vin: str, kind: str, stated: int | str) -> int | str:
    """Give the one model year that is certain, "" where something is to be said."""
    years = model_years(vin, kind=VehicleKind(kind))
    if stated == "":
        return years[0] if len(years) == 1 else ""
    return stated if stated in years else ""


def _days(columns: dict[str, Column], odd: set[int]) -> None:
    """Find vehicles that were used before they were built."""
    built, used = columns.get("build_date"), columns.get("first_use_date")
    if built is None or used is None:
        return
    odd.update(
        n
        for n, (first, then) in enumerate(zip(built, used, strict=True))
        if first > then and then
    )
