"""Paper reads nothing but our own files, and the same page gives the same bytes."""

import io

import pypdfium2
import pytest

from dealership.documents.pdf import (
    ForeignAddress,
    lay_out,
    merge_pdfs,
    missing_characters,
    page_of,
    text_width,
)


TWO = '<p id="a">One</p><p id="b" style="break-before: page">Two</p>'


def test_tells_on_which_page_an_anchor_stands():
    laid = lay_out(TWO)
    assert (laid.pages, dict(laid.starts)) == (2, {"a": 0, "b": 1})
    assert lay_out(TWO).pdf == laid.pdf


@pytest.mark.parametrize(
    "address",
    [
        "file:///etc/hostname",
        "http://host.example/a.png",
        "/static/../pyproject.toml",
        "data:image/png;base64,AA",
    ],
)
def test_any_other_address_stops_the_paper(address):
    with pytest.raises(ForeignAddress):
        lay_out(f'<img src="{address}">')


def test_joins_papers_in_order():
    whole = io.BytesIO()
    parts = [io.BytesIO(lay_out(f"<p>{word}</p>").pdf) for word in ("One", "Two")]
    assert merge_pdfs(parts, whole, title="Both") == 2
    paper = pypdfium2.PdfDocument(whole.getvalue())
    words = [page.get_textpage().get_text_bounded().split()[0] for page in paper]
    assert words == ["One", "Two"]


def test_names_what_no_font_can_draw():
    """U+13000, an Egyptian hieroglyph, is in no font that the engine asks for."""
    assert missing_characters("Łukasz \U00013000") == {"\U00013000"}


def test_width_is_an_upper_bound_of_what_is_printed():
    """Measured on the page that the engine lays out."""
    line = "Nuñez-Žižek, 12 Quarry Road"
    style = "font: 11pt 'DejaVu Sans'; white-space: nowrap"
    page = pypdfium2.PdfDocument(lay_out(f'<p style="{style}">{line}</p>').pdf)[0]
    textpage = page.get_textpage()
    boxes = [textpage.get_charbox(n, loose=True) for n in range(len(line))]
    printed = max(box[2] for box in boxes) - min(box[0] for box in boxes)
    assert printed <= text_width(line, 11) + 0.5
    assert printed >= text_width(line, 11) * 0.95


@pytest.mark.parametrize(
    ("paper", "page"), [("a4", "a4"), ("letter", "letter"), ("", "letter")]
)
def test_the_page_is_that_of_the_stores_paper(paper, page):
    assert page_of(paper) == page
