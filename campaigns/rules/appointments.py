"""Reading a list of appointments that somebody pasted: a vehicle and perhaps an hour."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dealership.rules.refusals import Refusal
from vehicles.rules.vin import VIN_LENGTH, normalise_vin


if TYPE_CHECKING:
    from collections.abc import Iterable

LONGEST_LIST = 300
"""Lines of one day; more than that is a list of vehicles, not of appointments."""

TAIL_LENGTH = 8
"""Characters at the end of a VIN by which papers name a vehicle."""

_HOUR = re.compile(
    r"(?<![\d:.])(?P<hour>[01]?\d|2[0-3])[:.](?P<minute>[0-5]\d)(?::[0-5]\d)?"
    r"(?![\d:.])\s*(?P<half>[ap]\.?m\.?)?",
    re.IGNORECASE,
)
_BETWEEN = re.compile(r"[\t;,|]+|\s{2,}")
_NOON = 12


class TooManyAppointments(Refusal):
    """More lines than a day has; ``lines`` were given."""

    def __init__(self, lines: int) -> None:
        self.lines = lines
        super().__init__(
            f"The list has {lines} vehicles; {LONGEST_LIST} are taken at once. Give the"
            " appointments of one day, or take the file in as a vehicle list."
        )


class NoAppointments(Refusal):
    """A list in which no line names a vehicle."""

    def __init__(self) -> None:
        super().__init__(
            "No line of the list names a vehicle. Paste one VIN, last eight or plate a"
            " line, or choose a file with a column of VINs."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Appointment:
    """One line: its number from 1, what names the vehicle, and the hour if one stands.

    ``codes`` are what may be the vehicle, the surest first: a VIN of 17 characters,
    else the last eight, else a plate.
    """

    number: int
    text: str
    codes: tuple[str, ...]
    hour: dt.time | None = None


def read_lines(text: str) -> list[Appointment]:
    """Read a pasted list, one vehicle a line; a vehicle named twice counts once.

    A line may hold an hour (8:30, 8.30, 2:15 pm) and other words, parted by tabs,
    commas or semicolons. Raises NoAppointments and TooManyAppointments.
    """
    return _kept(
        (number, line, *_parted(line))
        for number, line in enumerate(text.splitlines(), start=1)
    )


def read_rows(rows: Iterable[tuple[int, str, str]]) -> list[Appointment]:
    """Read rows of a file: number, what names the vehicle, and what may be an hour.

    Raises NoAppointments and TooManyAppointments.
    """
    return _kept(
        (number, named, [named], hour_in(hour_text))
        for number, named, hour_text in rows
    )


def hour_in(text: str) -> dt.time | None:
    """Find an hour in a text, written with 24 hours or with am and pm."""
    found = _HOUR.search(text)
    if not found:
        return None
    hour, half = int(found["hour"]), (found["half"] or "")[:1].lower()
    if half and hour > _NOON:
        return None
    if half:
        hour = hour % _NOON + (_NOON if half == "p" else 0)
    return dt.time(hour, int(found["minute"]))


def _parted(line: str) -> tuple[list[str], dt.time | None]:
    """Part a line into its hour and the pieces that may name the vehicle."""
    hour = hour_in(line)
    rest = _HOUR.sub("\t", line) if hour else line
    return [piece for piece in _BETWEEN.split(rest) if piece.strip()], hour


def _kept(
    lines: Iterable[tuple[int, str, list[str], dt.time | None]],
) -> list[Appointment]:
    """Keep each vehicle once, and refuse a list of none or of far too many."""
    found: dict[str, Appointment] = {}
    for number, text, pieces, hour in lines:
        codes = _codes(pieces)
        if codes and codes[0] not in found:
            found[codes[0]] = Appointment(
                number=number, text=text.strip()[:120], codes=codes, hour=hour
            )
    if not found:
        raise NoAppointments
    if len(found) > LONGEST_LIST:
        raise TooManyAppointments(len(found))
    return list(found.values())


def _codes(pieces: list[str]) -> tuple[str, ...]:
    """Order what may be the vehicle: a whole VIN, a last eight, then the rest.

    A VIN of which people part the characters by spaces is put together again.
    """
    whole = [normalise_vin(piece) for piece in pieces]
    plates = [" ".join(piece.split()).upper() for piece in pieces]
    words = [normalise_vin(word) for piece in pieces for word in piece.split()]
    every = dict.fromkeys(code for code in (*whole, *words, *plates) if code)
    return tuple(sorted(every, key=_rank))


def _rank(code: str) -> int:
    """Rank a code: 0 a VIN, 1 a last eight, 2 something with a figure, 3 a word."""
    figures = any(sign.isdigit() for sign in code)
    if len(code) == VIN_LENGTH and figures:
        return 0
    if len(code) == TAIL_LENGTH and code[-4:].isdigit():
        return 1
    return 2 if figures else 3
