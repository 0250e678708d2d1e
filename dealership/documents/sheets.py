"""Tables out: CSV and XLSX in which no cell can act as a formula."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import TYPE_CHECKING

import xlsxwriter


if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

Cell = str | int | float | dt.date | None

_ACTS = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")
_LEADING_BLANKS = " \u00a0\u200b\ufeff"
_WIDEST = 60


def defused(text: str) -> str:
    """Give a text that a spreadsheet shows and never works out.

    A text that begins with a character that starts a formula gets an apostrophe in
    front (the cure that the OWASP page on CSV injection names).
    """
    return f"'{text}" if text.lstrip(_LEADING_BLANKS).startswith(_ACTS) else text


def to_csv(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """Write a table as CSV (RFC 4180) in UTF-8 with a mark, dates as 2026-03-09."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([defused(word) for word in head])
    for row in rows:
        writer.writerow([_plain(cell) for cell in row])
    return out.getvalue().encode("utf-8-sig")


def to_xlsx(
    head: Sequence[str],
    rows: Iterable[Sequence[Cell]],
    *,
    sheet: str,
    made: dt.date,
    money_columns: Collection[int] = (),
) -> bytes:
    """Write a table as a workbook of one sheet, the head frozen and filtered.

    Every text is written as text, whatever it begins with. ``made`` stands in the
    file's properties, so that the same table gives the same bytes. Whole numbers in
    ``money_columns`` (from 0) are cents: they are written as 12.50, so that a sheet can
    add them up.
    """
    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    book.set_properties({"created": dt.datetime.combine(made, dt.time())})
    bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    money = book.add_format({"num_format": "#,##0.00"})
    page = book.add_worksheet(sheet[:31])
    page.freeze_panes(1, 0)
    page.set_paper(9)
    widths = [len(word) for word in head]
    for column, word in enumerate(head):
        page.write_string(0, column, defused(word), bold)
    count = 0
    for count, row in enumerate(rows, start=1):
        for column, cell in enumerate(row):
            widths[column] = max(widths[column], len(_plain(cell)))
            if cell is None:
                continue
            if isinstance(cell, dt.date):
                page.write_datetime(count, column, _midnight(cell), day)
            elif isinstance(cell, str):
                page.write_string(count, column, defused(cell))
            elif column in money_columns:
                page.write_number(count, column, cell / 100, money)
            else:
                page.write_number(count, column, cell)
    for column, width in enumerate(widths):
        page.set_column(column, column, min(width, _WIDEST) + 2)
    page.autofilter(0, 0, count, max(len(head) - 1, 0))
    book.close()
    return out.getvalue()


def _midnight(day: dt.date) -> dt.datetime:
    """Give the day as the moment that the writer wants."""
    return dt.datetime.combine(day, dt.time())


def _plain(cell: Cell) -> str:
    """Give a cell as text."""
    if cell is None:
        return ""
    if isinstance(cell, dt.date):
        return cell.isoformat()
    return defused(cell) if isinstance(cell, str) else str(cell)
