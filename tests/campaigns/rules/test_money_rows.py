"""Bill files and payment advices, row by row."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules import money_rows
from campaigns.rules.money_rows import BilledRow, ColumnMissing, FileKind, PaidRow


def read(kind, head, *rows):
    return money_rows.read_rows(
        kind, head, list(enumerate(rows, start=2)), currency="USD"
    )


def test_columns_are_told_from_headers_of_many_shapes():
    found = money_rows.find_columns(
        FileKind.PAYMENTS, ["Claim No.", "PAID AMOUNT", "Check", "Part-Number", "x"]
    )
    assert found == {"claim": 0, "amount": 1, "advice": 2, "line": 3}


@pytest.mark.parametrize(("kind", "lost"), [("payments", "claim"), ("bills", "bill")])
def test_a_needed_column_is_named(kind, lost):
    with pytest.raises(ColumnMissing, match=lost) as caught:
        read(FileKind(kind), ["Amount", "Part"], ["1", "2"])
    assert caught.value.field_name == lost
    assert "Amount, Part" in caught.value.sentence


def test_rows_are_read_and_faults_named_by_row_and_column():
    head = ["Claim", "Paid", "Date", "Reason"]
    found = read(
        FileKind.PAYMENTS,
        head,
        ["12", "$1,234.50", "2026-11-20", ""],
        ["x1", "5", "", ""],
        ["13", "5.001", "20/31/2026", ""],
        ["14", "0", "", "late"],
        ["15"],
    )
    assert [(row.row, row.claim, row.cents, row.dated) for row in found.rows] == [
        (2, 12, 123_450, dt.date(2026, 11, 20)),
        (5, 14, 0, None),
    ]
    assert [(one.row, one.column) for one in found.faults] == [
        (3, "Claim"),
        (4, "Paid"),
        (4, "Date"),
        (6, "Paid"),
    ]
    assert found.faults[0].value == "x1"


def test_a_bill_row():
    found = read(
        FileKind.BILLS,
        ["Invoice", "Invoice date", "Part no", "Qty", "Unit price", "Packing slip"],
        ["B-1", "11/20/2026", "ow-1", "40.0", "42.50", "P-1"],
        ["B-1", "", "ow-1", "0", "42.50", ""],
    )
    assert found.rows == (
        BilledRow(
            row=2,
            bill="B-1",
            dated=dt.date(2026, 11, 20),
            part="OW-1",
            quantity=40,
            unit_cents=4_250,
            slip="P-1",
        ),
    )
    assert {one.column for one in found.faults} == {"Qty"}


def test_a_date_that_can_be_read_two_ways_is_refused():
    head = ["Claim", "Paid", "Date"]
    (fault,) = read(FileKind.PAYMENTS, head, ["1", "5", "03/04/2026"]).faults
    assert fault.column == "Date"
    settled = read(
        FileKind.PAYMENTS, head, ["1", "5", "03/04/2026"], ["2", "5", "03/25/2026"]
    )
    assert settled.rows[0].dated == dt.date(2026, 3, 4)


@given(st.lists(st.lists(st.text(max_size=30), max_size=5), max_size=8))
def test_any_cells_are_read_or_refused(rows):
    found = read(FileKind.PAYMENTS, ["Claim", "Paid", "Date", "VIN", "Why"], *rows)
    good = {row.row for row in found.rows}
    assert good.isdisjoint(one.row for one in found.faults)
    assert all(isinstance(row, PaidRow) and row.cents >= 0 for row in found.rows)
    assert good | {one.row for one in found.faults} == set(range(2, len(rows) + 2))
