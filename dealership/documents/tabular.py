"""Lists that people hand in, as rows of text: CSV and its kin, and spreadsheets.

What a file is, its first bytes say, not its name. Every cell comes out as text in
one form, whichever program wrote it. Row numbers are those that a spreadsheet
program shows. A text file is streamed; of a workbook one sheet is held in memory.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from itertools import islice
from operator import methodcaller
from typing import TYPE_CHECKING, BinaryIO, NamedTuple, Protocol

from dealership.documents.headers import (
    Row,
    column_letters,
    find_header,
    name_columns,
    table_width,
)
from dealership.documents.plaintext import (
    choose_delimiter,
    choose_encoding,
    first_lines,
    foreign_content,
)
from dealership.documents.unreadable import (
    CellTooLong,
    EmptyFile,
    HeaderOnly,
    NoSuchRow,
    TooManyColumns,
    TooManyRows,
    WrongFileType,
)
from dealership.documents.workbooks import (
    UNPACKED_LIMIT,
    Workbook,
    check_compound,
    check_zipped,
    open_workbook,
)
from dealership.rules.uploads import ContentKind, content_kind


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

_HEAD = 8_192
_SAMPLE_ROWS = 100
# The reader's own limit; a longer "cell" is a file whose quotation mark never closes.
_CSV_FIELD_LIMIT = 4_000_000
_ENDS = ("", "\x1a")  # an empty cell, and the mark of an old end of file
# It says nothing, and PostgreSQL keeps it in no text ("Character Types").
_NOTHING = "\0"
_SEPARATOR_LINE = re.compile(r"^\ufeff?sep=(.)\r?\n", re.IGNORECASE)

# What spreadsheet programs take for the beginning of a formula (OWASP, CSV
# injection, from memory). An apostrophe before it makes it a text.
_DANGEROUS = re.compile(r"^'*[=+\-@\t\r]")
_DEFUSED = re.compile(r"^'+[=+\-@\t\r]")
FAULT_HEADERS = ("Row in the file sent", "Where", "What is wrong")


class Limits(NamedTuple):
    """How much is taken in."""

    columns: int = 150
    rows: int = 1_000_000
    cell: int = 32_767
    unpacked_bytes: int = UNPACKED_LIMIT


class FaultText(Protocol):
    """What `write_refused` needs to know of a fault."""

    @property
    def column(self) -> str:
        """The header of the column."""

    @property
    def sentence(self) -> str:
        """What is wrong."""


@dataclass(frozen=True, slots=True)
class Table:
    """A list, ready to be read as often as wanted.

    `header_row` is 0 where no row looks like headers; the columns are then named by
    their letters. `notes` tells what was found or changed on the way in.
    """

    filename: str
    kind: str
    header_row: int
    columns: tuple[str, ...]
    encoding: str
    delimiter: str
    sheet: str
    sheets: tuple[str, ...]
    notes: tuple[str, ...]
    limits: Limits
    _lines: Callable[[], Iterator[Row]]

    def rows(self) -> Iterator[Row]:
        """Give the filled rows below the headers, one at a time.

        Raises TooManyRows, TooManyColumns, CellTooLong when it comes to them.
        """
        taken, width = 0, len(self.columns)
        for row in self._lines():
            if row.number <= self.header_row:
                continue
            taken += 1
            if taken > self.limits.rows:
                raise TooManyRows(self.filename, self.limits.rows)
            lacking = width - len(row.cells)
            yield Row(row.number, row.cells + ("",) * lacking) if lacking > 0 else row


def open_table(
    source: Path | bytes,
    filename: str,
    *,
    sheet: str | None = None,
    header_row: int | None = None,
    limits: Limits = Limits(),  # noqa: B008 - a frozen tuple of numbers
) -> Table:
    """Open a list, by its content. `filename` is only for what people are told.

    `header_row` corrects the row that was found; 0 says that there is none. Raises
    an UnreadableList: WrongFileType, EmptyFile, HeaderOnly, EncryptedWorkbook and
    so on.
    """
    opened = _opener(source)
    with opened() as stream:
        head = stream.read(_HEAD)
    if not head.strip():
        raise EmptyFile(filename)
    kind = content_kind(head)
    if kind in {ContentKind.ZIPPED, ContentKind.COMPOUND}:
        draft = _workbook(opened, kind, filename, sheet, limits)
    else:
        draft = _text(opened, head, kind, filename, limits)
    return _with_headers(draft, filename, header_row, limits)


def write_refused(
    columns: Sequence[str],
    rows: Iterable[Row],
    faults: Mapping[int, Sequence[FaultText]],
) -> bytes:
    """Write refused rows as CSV, with what is wrong, to be mended and sent again.

    `faults` is keyed by row number. UTF-8 with a byte order mark, so that spreadsheet
    programs show accents. No cell can run as a formula; reading the file back with
    `open_table` gives the very cells.
    """
    kept = [n for n, name in enumerate(columns) if name not in FAULT_HEADERS]
    target = io.StringIO(newline="")
    writer = csv.writer(target)
    writer.writerow(
        defuse(text) for text in (*(columns[n] for n in kept), *FAULT_HEADERS)
    )
    for number, cells in rows:
        told = faults.get(number, ())
        where = "; ".join(dict.fromkeys(fault.column for fault in told if fault.column))
        wrong = " ".join(
            f"{fault.column}: {fault.sentence}" if fault.column else fault.sentence
            for fault in told
        )
        mine = [cells[n] if n < len(cells) else "" for n in kept]
        writer.writerow(map(defuse, (*mine, str(number), where, wrong)))
    return target.getvalue().encode("utf-8-sig", "surrogatepass")


def defuse(cell: str) -> str:
    """Put an apostrophe before what a spreadsheet program would run."""
    return f"'{cell}" if _DANGEROUS.match(cell) else cell


def restore(cell: str) -> str:
    """Take away the apostrophe that `defuse` put there."""
    return cell[1:] if _DEFUSED.match(cell) else cell


class _Draft(NamedTuple):
    """A list whose headers are not yet found."""

    kind: str
    lines: Callable[[], Iterator[Row]]
    notes: list[str]
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    first_column: int = 0


def _opener(source: Path | bytes) -> Callable[[], BinaryIO]:
    if isinstance(source, bytes):
        return lambda: io.BytesIO(source)
    return lambda: source.open("rb")


def _workbook(
    opened: Callable[[], BinaryIO],
    kind: ContentKind,
    filename: str,
    sheet: str | None,
    limits: Limits,
) -> _Draft:
    with opened() as stream:
        if kind is ContentKind.ZIPPED:
            check_zipped(stream, filename, limit_bytes=limits.unpacked_bytes)
        else:
            check_compound(stream.read(), filename)
        stream.seek(0)
        book = open_workbook(stream, filename, sheet=sheet)
    notes = []
    if book.others:
        notes.append(
            f"Sheet “{book.sheet}” was read. Not read: {', '.join(book.others)}."
        )
    return _Draft(
        kind="spreadsheet",
        lines=lambda: _checked(_numbered(book), filename, limits, book.first_column),
        notes=notes,
        sheet=book.sheet,
        sheets=(book.sheet, *book.others),
        first_column=book.first_column,
    )


def _numbered(book: Workbook) -> Iterator[tuple[int, list[str]]]:
    return enumerate(book.rows(), start=1)


def _text(
    opened: Callable[[], BinaryIO],
    head: bytes,
    kind: ContentKind,
    filename: str,
    limits: Limits,
) -> _Draft:
    found = "a PDF document" if kind is ContentKind.PDF else foreign_content(head)
    if found:
        raise WrongFileType(filename, found)
    encoding = choose_encoding(opened)
    sample = first_lines(opened, encoding.name)
    stated = _SEPARATOR_LINE.match(sample)
    delimiter = stated[1] if stated else choose_delimiter(sample)
    notes = []
    if not encoding.certain:
        notes.append(
            f"The letters were read as {encoding.name}. If names look wrong, save the"
            " list as UTF-8 and send it again."
        )

    def lines() -> Iterator[Row]:
        raw = _csv_lines(
            opened, encoding.name, delimiter, filename, skip_first=stated is not None
        )
        return _checked(raw, filename, limits, 0)

    return _Draft("text", lines, notes, encoding=encoding.name, delimiter=delimiter)


def _csv_lines(
    opened: Callable[[], BinaryIO],
    encoding: str,
    delimiter: str,
    filename: str,
    *,
    skip_first: bool,
) -> Iterator[tuple[int, list[str]]]:
    csv.field_size_limit(_CSV_FIELD_LIMIT)
    number = 0
    with (
        opened() as stream,
        io.TextIOWrapper(stream, encoding, errors="replace", newline="") as text,
    ):
        if skip_first:
            text.readline()
        lines = map(methodcaller("replace", _NOTHING, ""), text)
        reader = csv.reader(lines, delimiter=delimiter)
        try:
            for number, cells in enumerate(reader, start=1):
                if "'" in "".join(cells):
                    yield number, [restore(cell) for cell in cells]
                else:
                    yield number, cells
        except csv.Error:
            raise CellTooLong(filename, number + 1, "", Limits().cell) from None


def _checked(
    lines: Iterator[tuple[int, list[str]]],
    filename: str,
    limits: Limits,
    first_column: int,
) -> Iterator[Row]:
    """Give the filled rows without empty cells at their end, within the limits."""
    for number, cells in lines:
        while cells and ((last := cells[-1]) in _ENDS or last.isspace()):
            cells.pop()
        if not cells:
            continue
        if len(cells) > limits.columns:
            raise TooManyColumns(filename, number, len(cells), limits.columns)
        if len("".join(cells)) > limits.cell < max(map(len, cells)):
            place = next(n for n, cell in enumerate(cells) if len(cell) > limits.cell)
            letters = column_letters(place + first_column)
            raise CellTooLong(filename, number, letters, limits.cell)
        yield Row(number, tuple(cells))


def _with_headers(
    draft: _Draft, filename: str, header_row: int | None, limits: Limits
) -> Table:
    sample = list(islice(draft.lines(), _SAMPLE_ROWS))
    if not sample:
        raise EmptyFile(filename)
    notes = list(draft.notes)
    if header_row is None:
        header_row = find_header(sample)
        if not header_row:
            notes.append("No row looks like headers; the columns are named by letters.")
    headers: tuple[str, ...] = ()
    if header_row:
        headers = next((row.cells for row in sample if row.number == header_row), ())
        if not headers:
            raise NoSuchRow(filename, header_row)
    below = [row.cells for row in sample if row.number > header_row]
    if not below:
        raise HeaderOnly(filename, header_row)
    if sample[0].number < header_row:
        notes.append(f"The rows above row {header_row} are titles and were left out.")
    columns = name_columns(
        headers, table_width(headers, below), draft.first_column, notes
    )
    return Table(
        filename=filename,
        kind=draft.kind,
        header_row=header_row,
        columns=columns,
        encoding=draft.encoding,
        delimiter=draft.delimiter,
        sheet=draft.sheet,
        sheets=draft.sheets,
        notes=tuple(notes),
        limits=limits,
        _lines=draft.lines,
    )
