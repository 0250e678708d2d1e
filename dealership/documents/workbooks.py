"""Spreadsheets in: which kind, which sheet, and each cell as text.

Before the reader sees a workbook, every part is unpacked once and counted: it shows
damage, bombs, and cells so far apart that the reader would run out of memory.
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
import zlib
from typing import TYPE_CHECKING, Any, BinaryIO, NamedTuple

from python_calamine import (
    CalamineWorkbook,
    PasswordError,
    SheetTypeEnum,
    SheetVisibleEnum,
)

from dealership.documents.unreadable import (
    CorruptedFile,
    EncryptedWorkbook,
    NoSuchSheet,
    UnpacksTooLarge,
    WrongFileType,
)


if TYPE_CHECKING:
    from collections.abc import Iterator

UNPACKED_LIMIT = 600 * 2**20
_MOST_PARTS = 5_000
_CHUNK = 1 << 20
_OVERLAP = 200
_LARGEST_SPARSE_AREA = 4_000_000
_LEAST_FILLED = 0.01
_EXACT_WHOLE = 10**15
_MIDNIGHT = dt.time()

_SPREADSHEET_PARTS = ("xl/workbook.xml", "xl/workbook.bin")
_ODS = b"application/vnd.oasis.opendocument.spreadsheet"
_OTHER_PARTS = {
    "word/document.xml": "a text document (Word)",
    "ppt/presentation.xml": "a presentation",
}
_OTHER_MIMETYPES = {
    b"application/vnd.oasis.opendocument.text": "a text document (OpenDocument)",
    b"application/vnd.oasis.opendocument.presentation": "a presentation",
}
# [MS-CFB] 2.6.1: names of streams are UTF-16.
_ENCRYPTED_STREAM = "EncryptedPackage".encode("utf-16-le")
_WORD_STREAM = "WordDocument".encode("utf-16-le")
_BOOK_STREAMS = tuple(name.encode("utf-16-le") for name in ("Workbook", "Book"))
_CELL = re.compile(rb"""<(?:\w+:)?c\s[^>]*?\br=["']([A-Z]{1,4})(\d{1,8})["']""")

# OpenDocument 1.3 part 3, 9.1.3 and 9.1.4: rows and cells may stand for many.
_ODS_ROW = re.compile(rb"<(/?)(?:\w+:)?table-row\b([^>]*)>")
_ODS_CELL = re.compile(rb"<(?:\w+:)?table-cell\b([^>]*)>")
_ODS_ROWS_REPEATED = re.compile(rb"""rows-repeated=["'](\d{1,9})["']""")
_ODS_CELLS_REPEATED = re.compile(rb"""columns-repeated=["'](\d{1,9})["']""")
_LONGEST_ODS_ROW = 16 * 2**20


class Workbook(NamedTuple):
    """One sheet of a workbook, and what else there is."""

    sheet: str
    others: tuple[str, ...]
    first_column: int
    body: Any

    def rows(self) -> Iterator[list[str]]:
        """Give the cells of each row as text, from the sheet's first row on."""
        for row in self.body.iter_rows():
            yield [as_text(cell) for cell in row]


def open_workbook(stream: BinaryIO, filename: str, *, sheet: str | None) -> Workbook:
    """Open the named sheet, else the first visible one that holds anything.

    Raises NoSuchSheet, EncryptedWorkbook, CorruptedFile.
    """
    book = _loaded(stream, filename)
    sheets = [
        known for known in book.sheets_metadata if known.typ == SheetTypeEnum.WorkSheet
    ]
    names = tuple(known.name for known in sheets)
    if sheet is not None and sheet not in names:
        raise NoSuchSheet(filename, sheet, names)
    visible = [k.name for k in sheets if k.visible == SheetVisibleEnum.Visible]
    body = None
    for name in (sheet,) if sheet is not None else (*visible, *names):
        body = _sheet(book, name, filename)
        if body.start is not None:
            break
    if body is None:
        raise CorruptedFile(filename)
    others = tuple(name for name in names if name != body.name)
    first_column = body.start[1] if body.start else 0
    return Workbook(body.name, others, first_column, body)


def check_zipped(stream: BinaryIO, filename: str, *, limit_bytes: int) -> None:
    """Check a spreadsheet in a ZIP container, part by part.

    Raises WrongFileType, EncryptedWorkbook, UnpacksTooLarge, CorruptedFile.
    """
    try:
        with zipfile.ZipFile(stream) as archive:
            _check_kind(archive, filename)
            _unpack(archive, filename, limit_bytes)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError):
        raise CorruptedFile(filename) from None


def check_compound(content: bytes, filename: str) -> None:
    """Check an older binary spreadsheet. Raises WrongFileType, EncryptedWorkbook."""
    if _ENCRYPTED_STREAM in content:
        raise EncryptedWorkbook(filename)
    if _WORD_STREAM in content:
        raise WrongFileType(filename, "a text document (Word)")
    if not any(name in content for name in _BOOK_STREAMS):
        raise WrongFileType(filename, "a binary file")


def as_text(cell: object) -> str:
    """Give a cell as text: 12345.0 as 12345, a midnight as its day.

    Whole numbers from 10**15 on are no longer exact in a spreadsheet; they keep the
    form 1.2E+16 so that the loss is seen.
    """
    if isinstance(cell, str):
        return cell.replace("\0", "")
    if isinstance(cell, bool):
        return str(cell).upper()
    if isinstance(cell, float):
        whole = cell.is_integer() and abs(cell) < _EXACT_WHOLE
        return str(int(cell)) if whole else f"{cell:.15g}"
    if isinstance(cell, dt.datetime):
        moment = cell.time() != _MIDNIGHT
        return cell.isoformat(" ") if moment else cell.date().isoformat()
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    return str(cell)


def _loaded(stream: BinaryIO, filename: str) -> CalamineWorkbook:
    try:
        return CalamineWorkbook.from_filelike(stream)
    except PasswordError:
        raise EncryptedWorkbook(filename) from None
    except BaseException as error:  # noqa: BLE001 - a panic of the reader is no Exception
        raise _damage(error, filename) from None


def _sheet(book: CalamineWorkbook, name: str, filename: str) -> Any:  # noqa: ANN401 - the reader has no types
    try:
        return book.get_sheet_by_name(name)
    except BaseException as error:  # noqa: BLE001 - a panic of the reader is no Exception
        raise _damage(error, filename) from None


def _damage(error: BaseException, filename: str) -> BaseException:
    """Give the refusal for a fault of the reader.

    The reader is compiled; where it panics, what it raises is no Exception.
    """
    passes = isinstance(error, KeyboardInterrupt | SystemExit | MemoryError)
    return error if passes else CorruptedFile(filename)


def _check_kind(archive: zipfile.ZipFile, filename: str) -> None:
    names = set(archive.namelist())
    for part, found in _OTHER_PARTS.items():
        if part in names:
            raise WrongFileType(filename, found)
    if any(info.flag_bits & 1 for info in archive.infolist()):
        raise EncryptedWorkbook(filename)
    mimetype = b""
    if "mimetype" in names:
        with archive.open("mimetype") as part_stream:
            mimetype = part_stream.read(100).strip()
    if mimetype in _OTHER_MIMETYPES:
        raise WrongFileType(filename, _OTHER_MIMETYPES[mimetype])
    if not names.intersection(_SPREADSHEET_PARTS) and not mimetype.startswith(_ODS):
        raise WrongFileType(filename, "a ZIP archive")


def _unpack(archive: zipfile.ZipFile, filename: str, limit_bytes: int) -> None:
    parts = archive.infolist()
    if len(parts) > _MOST_PARTS:
        raise UnpacksTooLarge(filename, limit_bytes)
    left = limit_bytes
    for info in parts:
        area = _area_of(info.filename)
        tail = b""
        with archive.open(info) as part:
            while chunk := part.read(_CHUNK):
                left -= len(chunk)
                if left < 0:
                    raise UnpacksTooLarge(filename, limit_bytes)
                if area is not None:
                    tail = area.add(tail + chunk)
                elif b"encryption-data" in chunk and info.filename.startswith(
                    "META-INF"
                ):
                    raise EncryptedWorkbook(filename)
        if area is not None and area.is_scattered():
            raise UnpacksTooLarge(filename, limit_bytes)


def _area_of(part: str) -> _Area | None:
    if part.startswith("xl/worksheets/"):
        return _Area()
    return _OdsArea() if part == "content.xml" else None


class _Area:
    """How far apart the cells of a sheet lie; the reader keeps the whole rectangle."""

    def __init__(self) -> None:
        self.cells = self.last_row = self.last_column = 0

    def add(self, content: bytes) -> bytes:
        """Look at one more piece; give its end, for a cell may go on in the next."""
        end = 0
        for found in _CELL.finditer(content):
            end = found.end()
            self.cells += 1
            self.last_row = max(self.last_row, int(found[2]))
            self.last_column = max(self.last_column, _column_number(found[1]))
        return content[max(end, len(content) - _OVERLAP) :]

    def is_scattered(self) -> bool:
        """Tell whether a large rectangle is almost empty."""
        area = self.last_row * self.last_column
        return area > _LARGEST_SPARSE_AREA and self.cells < area * _LEAST_FILLED


class _OdsArea(_Area):
    """The same for OpenDocument, where one row or cell may stand for a million."""

    def __init__(self) -> None:
        super().__init__()
        self.row = 0

    def add(self, content: bytes) -> bytes:
        """Look at the whole rows of one more piece; give the row cut in two."""
        end = start = 0
        count = 1
        for found in _ODS_ROW.finditer(content):
            if not found[1]:
                start = found.end()
                repeated = _ODS_ROWS_REPEATED.search(found[2])
                count = int(repeated[1]) if repeated else 1
                continue
            end = found.end()
            self.row += count
            width = self._filled_width(content[start : found.start()])
            if width:
                self.last_row = self.row
                self.last_column = max(self.last_column, width)
        tail = content[end:]
        return tail if len(tail) <= _LONGEST_ODS_ROW else tail[-_OVERLAP:]

    def _filled_width(self, row: bytes) -> int:
        """Give the place of the last filled cell of a row, 0 when all are empty."""
        width = filled = 0
        for cell in _ODS_CELL.finditer(row):
            attributes = cell[1]
            repeated = _ODS_CELLS_REPEATED.search(attributes)
            width += int(repeated[1]) if repeated else 1
            if not attributes.endswith(b"/") or b"value" in attributes:
                self.cells += 1
                filled = width
        return filled


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number
