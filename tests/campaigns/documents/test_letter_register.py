"""The register on paper."""

import io

import pypdfium2
import pytest

from campaigns.documents.letter_register import (
    MOST_ROWS,
    RegisterTooLong,
    register_pdf,
)
from dealership.models import Store
from tests.factories.dealership import NOW, TODAY


ROW = (
    "1U0KTRA40N1000001", "letter", "L0000100001", "Łukasz Ashdown", "1 Elm Row",
    "Tannersby", "60000", 1, TODAY, None, None, "",
)  # fmt: skip
LEFT = ("1U0KTRA40N1000002", "no owner known", *("",) * 5, *(None,) * 4, "")


def register(rows):
    store = Store(code="S1", name="Harrow Lane Motors", paper="a4")
    return register_pdf(
        rows, campaign="SR-26-01", number=2, store=store, printed_at=NOW
    )


def test_each_vehicle_has_a_line_with_its_letter_or_the_reason():
    page = pypdfium2.PdfDocument(io.BytesIO(register([ROW, LEFT])))[0]
    text = " ".join(page.get_textpage().get_text_range().split())
    for words in ("L0000100001 Łukasz Ashdown", "no owner known", "2 open vehicles"):
        assert words in text
    assert "1U0KTRA40N1000002" in text


def test_too_many_lines_for_paper_are_refused():
    with pytest.raises(RegisterTooLong):
        register([ROW] * (MOST_ROWS + 1))
