"""Codes read back; charts carry no font shorthand, no style, no fixed ink."""

import pypdfium2
import pytest
import zxingcpp

from dealership.documents.barcodes import data_matrix
from dealership.documents.charts import draw_band
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
