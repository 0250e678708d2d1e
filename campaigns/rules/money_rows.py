"""Bill files and payment advices: which column is which, and each row read or refused.

Columns are told from their headers (words of the trade in English; common practice, no
source). A row that cannot be read is handed back with its column and what is wrong.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from dealership.rules.money import NotMoney, parse_money
from dealership.rules.refusals import Refusal
from vehicles.rules.dates import DateOrder, read_date, settle_order


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence


class FileKind(StrEnum):
    """What a file tells."""

    PAYMENTS = "payments"
    BILLS = "bills"


HEADERS: dict[FileKind, dict[str, tuple[str, ...]]] = {
    FileKind.PAYMENTS: {
        "claim": ("claim", "claim number", "claim no", "dealer claim", "our claim"),
        "line": ("line", "part", "part number", "part no", "item", "operation"),
        "amount": ("paid", "amount paid", "amount", "payment", "paid amount", "net"),
        "advice": ("advice", "payment advice", "advice number", "remittance", "check"),
        "dated": ("date", "paid on", "payment date", "dated", "value date"),
        "vin": ("vin", "vehicle identification number", "chassis number"),
        "reason": ("reason", "remark", "rejection reason", "reject reason", "comment"),
    },
    FileKind.BILLS: {
        "bill": ("bill", "bill number", "bill no", "invoice", "invoice number"),
        "dated": ("date", "dated", "bill date", "invoice date"),
        "part": ("part", "part number", "part no", "item", "item number"),
        "quantity": ("quantity", "qty", "pieces", "billed quantity", "units"),
        "price": ("price", "unit price", "price a piece", "unit cost", "cost"),
        "slip": ("slip", "packing slip", "delivery note", "shipment"),
    },
}
NEEDED = {
    FileKind.PAYMENTS: ("claim", "amount"),
    FileKind.BILLS: ("bill", "dated", "part", "quantity", "price"),
}
LONGEST = 40


class ColumnMissing(Refusal):
    """The file lacks a column that its kind cannot do without."""

    def __init__(self, kind: FileKind, field: str, columns: Sequence[str]) -> None:
        self.field_name = field
        words = ", ".join(HEADERS[kind][field][:3])
        super().__init__(
            f"No column is headed like one of: {words}. The file has:"
            f" {', '.join(columns) or 'no headers'}. Head the column so and send the"
            " file again."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RowFault:
    """What is wrong with one row; ``column`` is its header in the file."""

    row: int
    column: str
    value: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PaidRow:
    """One row of a payment advice; ``line`` is empty where the claim is paid whole."""

    row: int
    claim: int
    line: str
    cents: int
    advice: str
    dated: dt.date | None
    vin: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BilledRow:
    """One row of a bill file."""

    row: int
    bill: str
    dated: dt.date
    part: str
    quantity: int
    unit_cents: int
    slip: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """A file's rows, and what could not be read."""

    rows: tuple[PaidRow | BilledRow, ...]
    faults: tuple[RowFault, ...]


def find_columns(kind: FileKind, columns: Sequence[str]) -> dict[str, int]:
    """Give the place of each field by its header; raises ColumnMissing."""
    plain = [" ".join(re.findall(r"[a-z0-9]+", one.lower())) for one in columns]
    found: dict[str, int] = {}
    for field, words in HEADERS[kind].items():
        places = [
            plain.index(word)
            for word in words
            if word in plain and plain.index(word) not in found.values()
        ]
        if places:
            found[field] = places[0]
    for field in NEEDED[kind]:
        if field not in found:
            raise ColumnMissing(kind, field, columns)
    return found


def read_rows(
    kind: FileKind,
    columns: Sequence[str],
    rows: Iterable[tuple[int, Sequence[str]]],
    *,
    currency: str,
) -> Read:
    """Read every row as its kind says. Raises ColumnMissing."""
    found = find_columns(kind, columns)
    every = list(rows)
    order = _order_of(found.get("dated"), every)
    reader = _Reader(columns=columns, places=found, currency=currency, order=order)
    read: list[PaidRow | BilledRow] = []
    for number, cells in every:
        reader.begin(number, cells)
        one = reader.paid() if kind is FileKind.PAYMENTS else reader.billed()
        if one is not None:
            read.append(one)
    return Read(rows=tuple(read), faults=tuple(reader.faults))


def _order_of(
    place: int | None, rows: Iterable[tuple[int, Sequence[str]]]
) -> DateOrder | None:
    """Tell from the whole column whether day or month stands first."""
    if place is None:
        return None
    cells = [(number, row[place]) for number, row in rows if place < len(row)]
    return settle_order(cells).order


class _Reader:
    """Reads the cells of one row after another, and keeps what is wrong."""

    def __init__(
        self,
        *,
        columns: Sequence[str],
        places: dict[str, int],
        currency: str,
        order: DateOrder | None,
    ) -> None:
        self.columns = columns
        self.places = places
        self.currency = currency
        self.order = order
        self.faults: list[RowFault] = []
        self.row = 0
        self.cells: Sequence[str] = ()
        self.bad = False

    def begin(self, row: int, cells: Sequence[str]) -> None:
        """Go to the next row."""
        self.row, self.cells, self.bad = row, cells, False

    def paid(self) -> PaidRow | None:
        """Read a row of a payment advice."""
        claim = self._whole("claim")
        cents = self._money("amount")
        dated = self._day("dated")
        if self.bad or claim is None or cents is None:
            return None
        return PaidRow(
            row=self.row,
            claim=claim,
            line=self._text("line"),
            cents=cents,
            advice=self._text("advice"),
            dated=dated,
            vin=self._text("vin").upper(),
            reason=self._text("reason", 200),
        )

    def billed(self) -> BilledRow | None:
        """Read a row of a bill file."""
        bill, part = self._needed("bill"), self._needed("part")
        quantity = self._whole("quantity")
        cents = self._money("price")
        dated = self._day("dated")
        if not self.bad and dated is None:
            self._fault("dated", "a bill has its date; give it as 2026-03-09.")
        if self.bad or quantity is None or cents is None or dated is None:
            return None
        return BilledRow(
            row=self.row,
            bill=bill,
            dated=dated,
            part=part.upper(),
            quantity=quantity,
            unit_cents=cents,
            slip=self._text("slip"),
        )

    def _text(self, field: str, longest: int = LONGEST) -> str:
        place = self.places.get(field)
        if place is None or place >= len(self.cells):
            return ""
        text = " ".join(self.cells[place].replace("\0", "").split())
        if len(text) > longest:
            self._fault(field, f"is longer than {longest} characters.")
        return text

    def _needed(self, field: str) -> str:
        text = self._text(field)
        if not text:
            self._fault(field, "is empty.")
        return text

    def _whole(self, field: str) -> int | None:
        text = self._needed(field)
        plain = re.sub(r"\.0+$", "", text.replace(",", ""))
        if text and not re.fullmatch(r"[0-9]{1,9}", plain):
            self._fault(field, "is not a whole number.")
            return None
        if text and int(plain) < 1:
            self._fault(field, "is not one or more.")
        return int(plain) if text else None

    def _money(self, field: str) -> int | None:
        text = self._needed(field)
        if not text:
            return None
        try:
            return parse_money(text, currency=self.currency)
        except NotMoney as wrong:
            self._fault(field, wrong.sentence)
            return None

    def _day(self, field: str) -> dt.date | None:
        text = self._text(field)
        if not text:
            return None
        day = read_date(text, order=self.order).value
        if day is None:
            self._fault(field, "is no date that can be read one way; 2026-03-09 is.")
        return day

    def _fault(self, field: str, sentence: str) -> None:
        place = self.places[field]
        self.bad = True
        value = self.cells[place] if place < len(self.cells) else ""
        self.faults.append(
            RowFault(
                row=self.row,
                column=self.columns[place],
                value=value[:LONGEST],
                sentence=sentence,
            )
        )
