"""A completion report as picture and as tables; the paper: domain/test_reports.py."""

import csv
import io

import openpyxl

from campaigns.documents.reports import draw_curve, report_tables
from tests.factories.dealership import TODAY


ROWS = [
    {"words": "Open", "part": False, "vehicles": 2, "of_all": 2 / 3, "of_reachable": 1},
    {
        "words": "exported",
        "part": True,
        "vehicles": 1,
        "of_all": 1 / 3,
        "of_reachable": None,
    },
]


def test_csv_and_xlsx_say_the_same_with_the_facts_below():
    text, book = report_tables(ROWS, [("Campaign", "SR-1")], made=TODAY)

    lines = list(csv.reader(io.StringIO(text.decode("utf-8-sig"))))
    sheet = openpyxl.load_workbook(io.BytesIO(book)).active
    cells = [list(row) for row in sheet.iter_rows(values_only=True)]
    assert [line[0].strip() for line in lines] == [
        "Category",
        "Open",
        "exported",
        "",
        "Campaign: SR-1",
    ]
    assert lines[1][1:] == ["2", "0.6667", "1"]
    assert lines[2][3] == ""
    assert [[str(c or "") for c in row] for row in cells] == lines


def test_a_curve_is_drawn_up_to_the_last_week_and_none_is_none():
    point = {"week": 2.0, "completed": 0.4, "low": 0.1, "high": 0.7}

    drawn = draw_curve([point], last_week=9.0, said="40 per cent after 2 weeks")

    assert drawn.startswith("<svg")
    assert "40 per cent after 2 weeks" in drawn
    assert "weeks since the letter" in drawn
    assert draw_curve([], last_week=9.0, said="nothing") == ""
