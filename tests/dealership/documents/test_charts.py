"""Codes read back; charts carry no font shorthand, no style, no fixed ink."""

import re

import pypdfium2
import pytest
import zxingcpp

from dealership.documents.barcodes import data_matrix
from dealership.documents.charts import draw_band, draw_costs, whole_ticks
from dealership.documents.pdf import lay_out


def test_a_code_reads_back_from_paper():
    page = pypdfium2.PdfDocument(lay_out(data_matrix("L0000100002", side="13mm")).pdf)[
        0
    ]
    [found] = zxingcpp.read_barcodes(page.render(scale=3).to_pil())
    assert (found.text, found.format) == (
        "L0000100002",
        zxingcpp.BarcodeFormat.DataMatrix,
    )


def test_a_code_is_plain_ascii():
    with pytest.raises(ValueError, match="Ł"):
        data_matrix("Ł1", side="13mm")


def test_a_chart_takes_the_ink_of_its_place():
    point = {"x": 1.0, "y": 0.2, "low": 0.1, "high": 0.4}
    drawn = draw_band(
        points=[point], x_title="weeks", y_title="share", last_x=4, said='a "b" <c'
    )
    assert "currentColor" in drawn
    assert "font=" not in drawn
    assert "style=" not in drawn
    assert 'aria-label="a &quot;b&quot; &lt;c"' in drawn


@pytest.mark.parametrize(
    ("last", "ticks"),
    [
        (0.4, [0, 1]),
        (1.0, [0, 1]),
        (2.7, [0, 1, 2]),
        (8, [0, 1, 2, 3, 4, 5, 6, 7, 8]),
        (26, [0, 4, 8, 12, 16, 20, 24]),
        (78, [0, 13, 26, 39, 52, 65, 78]),
        (700, [0, 88, 176, 264, 352, 440, 528, 616]),
    ],
)
def test_ticks_are_whole_weeks_each_once(last, ticks):
    assert whole_ticks(last) == ticks


def words_in(svg):
    return re.findall(r"<text[^>]*>([^<]*)</text>", svg)


def test_a_curve_of_less_than_a_week_has_two_ticks():
    drawn = draw_band(
        points=[{"x": 0, "y": 0, "low": 0, "high": 0}, {"x": 1, "y": 0.5}],
        x_title="weeks",
        y_title="share",
        last_x=1,
        said="",
    )
    assert [word for word in words_in(drawn) if word.isdigit()] == ["0", "1"]


def test_a_fan_goes_on_from_the_curve():
    plain = {
        "points": [{"x": 0.0, "y": 0.0}, {"x": 4.0, "y": 0.3}],
        "x_title": "weeks", "y_title": "share", "last_x": 8, "said": "",
    }  # fmt: skip
    start = dict.fromkeys(("y", "low", "high", "lowest", "highest"), 0.3)
    end = {"x": 8.0, "y": 0.5, "low": 0.45, "high": 0.55, "lowest": 0.4, "highest": 0.6}
    alone = draw_band(**plain)
    drawn = draw_band(**plain, fan=[{"x": 4.0, **start}, end])
    assert drawn.count("<path") > alone.count("<path")
    assert "stroke-dasharray" in drawn
    assert "stroke-dasharray" not in alone


def test_costs_name_their_lines_and_mark_the_choice():
    drawn = draw_costs(
        points=[{"x": 0.0, "all": 9.0, "late": 9.0}, {"x": 5.0, "all": 3.0, "late": 1.0}],
        lines=[("all", "together"), ("late", "a < missing part")],
        x_title="pieces", y_title="USD", chosen=5, said="cheapest at 5",
    )  # fmt: skip
    words = words_in(drawn)
    assert words.count("together") == 1
    assert words.count("a &lt; missing part") == 1
    assert 'aria-label="cheapest at 5"' in drawn
    assert "style=" not in drawn
