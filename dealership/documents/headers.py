"""Finding the row with the headers of a list, and naming its columns."""

from __future__ import annotations

import statistics
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple


if TYPE_CHECKING:
    from collections.abc import Sequence

_VIN_LENGTH, _LEAST_DIGITS = 17, 3
_LONGEST_HEADER = 80
_HALF = 0.5
_FEW = 0.2
_NARROW = 2


class Row(NamedTuple):
    """One filled row. Short rows are filled up with empty cells.

    A row with more filled cells than there are columns keeps them all, so that the
    surplus is seen.
    """

    number: int
    cells: tuple[str, ...]


def column_letters(column: int) -> str:
    """Give a spreadsheet's letters for a column counted from 0: A, Z, AA."""
    letters = ""
    column += 1
    while column:
        column, place = divmod(column - 1, 26)
        letters = chr(ord("A") + place) + letters
    return letters


def find_header(sample: Sequence[Row]) -> int:
    """Give the number of the row with the headers, 0 when there is none.

    Headers fill at least half of the usual width and hold words, no data. Above the
    headers of a narrow list stand titles that look the same: then the last one.
    """
    counts = [sum(bool(cell.strip()) for cell in row.cells) for row in sample]
    usual = statistics.median_high(counts)
    candidates = []
    for row, count in zip(sample, counts, strict=True):
        if count < usual * _HALF:
            continue
        data = sum(_looks_like_data(cell) for cell in row.cells)
        if data > count * _FEW:
            break
        candidates.append(row.number)
    else:
        return candidates[0] if candidates else 0
    if not candidates:
        return 0
    return candidates[-1] if usual <= _NARROW else candidates[0]


def _looks_like_data(cell: str) -> bool:
    text = cell.strip()
    digits = sum(map(str.isdigit, text))
    return (
        "@" in text
        or len(text) > _LONGEST_HEADER
        or (digits > 0 and digits >= len(text) * _HALF)
        or (len(text) == _VIN_LENGTH and text.isalnum() and digits >= _LEAST_DIGITS)
    )


def table_width(headers: Sequence[str], below: Sequence[Sequence[str]]) -> int:
    """Give the number of columns: more than headers where most rows go further."""
    usual = int(statistics.median_high([len(cells) for cells in below]))
    widest = max(len(cells) for cells in below)
    return max(len(headers), usual) if headers else widest


def name_columns(
    headers: Sequence[str], width: int, first_column: int, notes: list[str]
) -> tuple[str, ...]:
    """Name each column once; what is changed is noted."""
    names: list[str] = []
    taken: set[str] = set()
    nameless, doubled = [], []
    for place, header in enumerate(chain(headers, [""] * (width - len(headers)))):
        letters = column_letters(place + first_column)
        stem = " ".join(header.split())
        if not stem:
            stem = f"Column {letters}"
            nameless.append(letters)
        name, copy = stem, 1
        while name.casefold() in taken:
            copy += 1
            name = f"{stem} ({copy})"
        if copy > 1:
            doubled.append(f"{letters} is now “{name}”")
        taken.add(name.casefold())
        names.append(name)
    if headers and nameless:
        notes.append(f"Columns without a header: {', '.join(nameless)}.")
    if doubled:
        notes.append(f"Headers that occur twice were renamed: {'; '.join(doubled)}.")
    return tuple(names)
