"""No cell that goes out can act."""

import csv
import datetime as dt
import io

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dealership.documents.sheets import defused, to_csv, to_xlsx


DAY = dt.date(2026, 3, 9)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "|", "%", " ="])
def test_a_start_of_a_formula_is_defused(start):
    """OWASP, CSV injection: = + - @ tab and carriage return."""
    assert defused(f"{start}1+1") == f"'{start}1+1"


@given(st.text(max_size=40).filter(lambda text: "\r" not in text and "\0" not in text))
def test_csv_reads_back(text):
    [head, row] = (
        csv.reader(io.StringIO(to_csv(["a"], [[text]]).decode("utf-8-sig")))
        if text
        else [["a"], [text]]
    )
    assert (head, row) == (["a"], [defused(text)])


def test_xlsx_holds_texts_numbers_and_days():
    body = to_xlsx(["a", "b", "c"], [["=1+1", 3, DAY]], sheet="s", made=DAY)
    row = openpyxl.load_workbook(io.BytesIO(body)).active[2]
    assert [cell.value for cell in row] == ["'=1+1", 3, dt.datetime(2026, 3, 9)]
    assert row[0].data_type == "s"
    assert body == to_xlsx(["a", "b", "c"], [["=1+1", 3, DAY]], sheet="s", made=DAY)
