"""The manufacturer's status list: each row read or refused, and held against ours.

Columns are told from their headers, states from words of the trade in English (common
practice, no source). What a row says against what stands here:

    the list says   here it is                      what follows
    done            to be verified, open            it is closed as done elsewhere
                    done, inspected clear           both agree
                    disqualified, removed           a person is asked
    open, refused   to be verified, open            both agree
                    done elsewhere, and the list    it is opened again
                    is later than that
                    done elsewhere, later than      the list is older, nothing follows
                    the list
                    done here, inspected clear,     a person is asked; what is recorded
                    disqualified, removed           here is never overridden
    left out        removed                         both agree
                    anything else                   a person is asked

A vehicle that somebody here opened again after the day on which the list says that it
was done is asked about too.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from campaigns.rules.lifecycle import STILL_OPEN, WorkState
from dealership.rules.refusals import Refusal
from vehicles.rules.dates import DateOrder, OrderState, read_date, settle_order
from vehicles.rules.vin import Grade, judge_vin


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

HEADERS: dict[str, tuple[str, ...]] = {
    "vin": ("vin", "vin number", "vehicle identification number", "chassis number"),
    "campaign": (
        "campaign", "campaign number", "campaign no", "recall", "recall number",
        "recall no", "action", "action number", "program", "bulletin",
    ),
    "status": (
        "status", "state", "campaign status", "recall status", "completion status",
        "completion", "remedy status", "result",
    ),
    "dated": (
        "date", "status date", "completed on", "completion date", "repair date",
        "date completed", "done on", "as of", "dated",
    ),
}  # fmt: skip
NEEDED = ("vin", "status")
LONGEST = 40


class ListedStatus(StrEnum):
    """What the manufacturer says of one vehicle in one campaign."""

    DONE = "done"
    OPEN = "open"
    REFUSED = "refused"
    OUT = "out"


STATUS_WORDS: dict[str, ListedStatus] = {
    word: status
    for status, words in {
        ListedStatus.DONE: (
            "done", "complete", "completed", "closed", "remedied", "repaired",
            "performed", "inspected", "c", "y", "yes",
        ),
        ListedStatus.OPEN: (
            "open", "incomplete", "not done", "not completed", "outstanding", "pending",
            "unrepaired", "unremedied", "not performed", "o", "n", "no",
        ),
        ListedStatus.REFUSED: (
            "refused", "rejected", "denied", "claim refused", "claim rejected",
            "returned", "reopened",
        ),
        ListedStatus.OUT: (
            "out",
            "not involved", "not affected", "not applicable", "excluded", "withdrawn",
            "removed", "cancelled", "canceled", "n a",
        ),
    }.items()
    for word in words
}  # fmt: skip


class Meets(StrEnum):
    """What follows from one row."""

    AGREES = "agrees"
    CLOSES = "closes"
    REOPENS = "reopens"
    ASKS = "asks"
    OLDER = "older"
    NOT_IN = "not_in"
    UNKNOWN = "unknown"


class StatusColumnMissing(Refusal):
    """The file lacks a column that it cannot do without."""

    def __init__(self, field: str, columns: Sequence[str]) -> None:
        self.field_name = field
        super().__init__(
            f"No column is headed like one of: {', '.join(HEADERS[field][:3])}. The"
            f" file has: {', '.join(columns) or 'no headers'}. Head the column so and"
            " send the file again."
        )


class DateOrderOpen(Refusal):
    """Whether day or month stands first cannot be told from the file."""

    def __init__(self, row: int, text: str) -> None:
        super().__init__(
            f"The dates of the file can be read in two ways, such as “{text}” in row"
            f" {row}. Say whether day or month stands first."
        )
        self.row = row
        self.text = text


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusRow:
    """One row: what it says of a VIN; ``campaign`` is empty where no column says it."""

    row: int
    vin: str
    campaign: str
    status: ListedStatus
    dated: dt.date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusFault:
    """What is wrong with one row; ``column`` is its header in the file."""

    row: int
    column: str
    value: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusRead:
    """A file's rows, what could not be read, and the headers of its columns."""

    rows: tuple[StatusRow, ...]
    faults: tuple[StatusFault, ...]
    columns: dict[str, str]


def find_columns(columns: Sequence[str]) -> dict[str, int]:
    """Give the place of each field by its header; raises StatusColumnMissing."""
    plain = [_folded(one) for one in columns]
    found: dict[str, int] = {}
    for field, words in HEADERS.items():
        places = [
            plain.index(word)
            for word in words
            if word in plain and plain.index(word) not in found.values()
        ]
        if places:
            found[field] = places[0]
    for field in NEEDED:
        if field not in found:
            raise StatusColumnMissing(field, columns)
    return found


def read_status(text: str) -> ListedStatus | None:
    """Read a word of the trade; None where it is not known."""
    return STATUS_WORDS.get(_folded(text))


def read_rows(
    columns: Sequence[str],
    rows: Iterable[tuple[int, Sequence[str]]],
    *,
    order: DateOrder | None = None,
) -> StatusRead:
    """Read every row; ``order`` settles dates that can be read in two ways.

    Raises StatusColumnMissing and DateOrderOpen.
    """
    places = find_columns(columns)
    told = list(rows)
    if "dated" in places and order is None:
        order = _order_of(told, places["dated"])
    good: list[StatusRow] = []
    faults: list[StatusFault] = []
    for number, cells in told:
        values = {name: _cell(cells, place) for name, place in places.items()}
        if not any(values.values()):
            continue
        read = _read_row(number, values, order)
        if isinstance(read, StatusRow):
            good.append(read)
        else:
            field, sentence = read
            header = columns[places[field]]
            value = values[field][:LONGEST]
            faults.append(
                StatusFault(row=number, column=header, value=value, sentence=sentence)
            )
    headers = {name: columns[place] for name, place in places.items()}
    return StatusRead(rows=tuple(good), faults=tuple(faults), columns=headers)


def _order_of(rows: list[tuple[int, Sequence[str]]], place: int) -> DateOrder | None:
    """Tell from the cells which of day and month stands first."""
    verdict = settle_order((number, _cell(cells, place)) for number, cells in rows)
    if verdict.state in {OrderState.AMBIGUOUS, OrderState.CONTRADICTION}:
        witness = verdict.open_witness or verdict.day_witness
        assert witness is not None, "something was not settled"
        raise DateOrderOpen(witness.row, witness.text)
    return verdict.order


def _read_row(
    number: int, values: dict[str, str], order: DateOrder | None
) -> StatusRow | tuple[str, str]:
    """Read one row; else the field that is wrong, and a sentence."""
    verdict = judge_vin(values["vin"])
    if verdict.grade is Grade.REJECT:
        wrong = [r.sentence for r in verdict.reasons if r.grade is Grade.REJECT]
        return "vin", " ".join(wrong)
    status = read_status(values["status"])
    if status is None:
        return "status", "This status is not known. Write done, open, refused or out."
    day = None
    if values.get("dated"):
        day = read_date(values["dated"], order=order).value
        if day is None:
            return "dated", "This is no date that can be read. Write it as 2026-03-09."
    return StatusRow(
        row=number,
        vin=verdict.vin,
        campaign=values.get("campaign", ""),
        status=status,
        dated=day,
    )


def meets(
    said: ListedStatus, work: WorkState, *, since: dt.date, listed_on: dt.date
) -> Meets:
    """Say what follows from a row; the table stands above.

    ``since``: from when the vehicle stands here as it does; ``listed_on``: up to when
    the list knows.
    """
    if said is ListedStatus.OUT:
        return Meets.AGREES if work is WorkState.REMOVED else Meets.ASKS
    if said is ListedStatus.DONE:
        if work in STILL_OPEN:
            return Meets.CLOSES if since <= listed_on else Meets.ASKS
        settled = {
            WorkState.REMEDIED_HERE,
            WorkState.REMEDIED_ELSEWHERE,
            WorkState.INSPECTED_CLEAR,
        }
        return Meets.AGREES if work in settled else Meets.ASKS
    if work in STILL_OPEN:
        return Meets.AGREES
    if work is WorkState.REMEDIED_ELSEWHERE:
        return Meets.REOPENS if since <= listed_on else Meets.OLDER
    return Meets.ASKS


def _folded(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9]+", text.lower()))


def _cell(cells: Sequence[str], place: int) -> str:
    return cells[place].strip() if place < len(cells) else ""
