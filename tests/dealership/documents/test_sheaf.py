"""A PDF that grows by pages opens, counts and reads like any other."""

import io
import zlib

import pikepdf
import pypdfium2
import pytest

from dealership.documents.frames import save_plain
from dealership.documents.pdf import lay_out
from dealership.documents.sheaf import A_NODE, Sheaf


def base(*words):
    """Make a base of one page a word."""
    html = "".join(f'<p style="break-after: page">{word}</p>' for word in words)
    target = io.BytesIO()
    with pikepdf.open(io.BytesIO(lay_out(html).pdf)) as paper:
        save_plain(paper, target)
    return target.getvalue()


def bound(count, *words):
    target = io.BytesIO()
    sheaf = Sheaf(target, base(*words))
    for number in range(count):
        drawing = f"{number} 0 10 10 re f".encode()
        sheaf.add(sheaf.pages[number % len(words)], zlib.compress(drawing))
    assert sheaf.close(title="Łetters (1)") == count
    return target.getvalue()


@pytest.mark.parametrize("count", [1, A_NODE, 2 * A_NODE + 1])
def test_pages_in_order_over_their_backgrounds(count):
    """ISO 32000-1, 7.5.6 and 7.7.3: pikepdf and PDFium are the judges."""
    pdf = bound(count, "Ostby", "Tannersby")
    with pikepdf.open(io.BytesIO(pdf)) as paper:
        assert paper.check_pdf_syntax() == []
        assert len(paper.pages) == count
        assert str(paper.docinfo["/Title"]) == "Łetters (1)"
        own = paper.pages[count - 1].Contents[1].read_bytes()
    assert own == f"{count - 1} 0 10 10 re f".encode()
    read = pypdfium2.PdfDocument(pdf)
    words = [page.get_textpage().get_text_range().split()[0] for page in read]
    assert words == [("Ostby", "Tannersby")[n % 2] for n in range(count)]


def test_a_page_without_own_content():
    target = io.BytesIO()
    sheaf = Sheaf(target, base("Ostby"))
    sheaf.add(sheaf.pages[0])
    sheaf.close(title="One")
    page = pypdfium2.PdfDocument(target.getvalue())[0]
    assert "Ostby" in page.get_textpage().get_text_range()


def test_a_page_costs_its_content_and_little_more():
    few, many = len(bound(100, "Ostby")), len(bound(1100, "Ostby"))
    assert (many - few) / 1000 < 300


def test_a_base_that_cannot_be_added_to_is_refused():
    with pytest.raises(ValueError, match="no PDF"):
        Sheaf(io.BytesIO(), b"no PDF")
