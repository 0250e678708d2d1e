"""The papers of the shelves, read back from their pages as a scanner would.

Data Matrix: ISO/IEC 16022, read by ZXing from the page drawn at 200 dots an inch.
"""

import pypdfium2
import pytest
import zxingcpp

from inventory.documents.sheets import (
    bin_labels_pdf,
    count_sheet_pdf,
    pick_list_pdf,
)
from inventory.domain.reserving import reserve
from inventory.queries.shelves import picks_of
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import (
    BinLocationFactory,
    EarmarkFactory,
    PartFactory,
    StockCountFactory,
    StockCountLineFactory,
)
from tests.inventory.books import deliver


pytestmark = pytest.mark.django_db


def read(pdf):
    """Give the words and the codes of all pages, and the size of the first in points."""
    paper = pypdfium2.PdfDocument(pdf)
    words, codes = "", []
    for page in paper:
        words += page.get_textpage().get_text_range() + "\n"
        drawn = page.render(scale=200 / 72).to_pil()
        codes += [one.text for one in zxingcpp.read_barcodes(drawn)]
    return " ".join(words.split()), sorted(codes), paper[0].get_size()


def test_each_label_scans_as_its_bin():
    store = StoreFactory.create()
    bins = [BinLocationFactory.create(store=store, code=c) for c in ("A-01", "B 12/3")]
    parts = {bins[0].pk: ["OW-00001 Seat rail bolt kit"]}
    pdf = bin_labels_pdf(store=store, bins=bins, parts=parts)
    words, codes, _size = read(pdf)
    assert len(pypdfium2.PdfDocument(pdf)) == 1
    assert codes == ["A-01", "B 12/3"]
    assert "OW-00001 Seat rail bolt kit" in words


def test_a_bin_with_signs_that_no_code_holds_is_printed_all_the_same():
    store = StoreFactory.create()
    bins = [BinLocationFactory.create(store=store, code="É-1")]
    words, codes, _size = read(bin_labels_pdf(store=store, bins=bins, parts={}))
    assert (codes, "É-1" in words) == ([], True)


def test_the_count_sheet_is_blind():
    store = StoreFactory.create(code="MAIN")
    count = StockCountFactory.create(store=store, number=7)
    place = BinLocationFactory.create(store=store, code="A-01")
    lines = [
        StockCountLineFactory.create(
            count=count, part__number=number, bin=place, in_books=4_711, found=4_712
        )
        for number in ("OW-ONE", "OW-TWO")
    ]
    words, codes, _size = read(count_sheet_pdf(count=count, lines=lines, today=TODAY))
    assert codes == ["COUNT MAIN 7", "OW-ONE", "OW-TWO"]
    assert "A-01" in words
    assert "4711" not in words.replace(",", "")
    assert "4712" not in words.replace(",", "")


@pytest.mark.parametrize(("paper", "points"), [("a4", 595), ("letter", 612)])
def test_the_pick_list_names_bin_part_and_purpose(paper, points):
    """A4 is 210 mm wide (ISO 216), Letter 8.5 in (ANSI/ASME Y14.1), 72 points an inch."""
    store = StoreFactory.create(paper=paper)
    part, earmark = PartFactory.create(number="OW-PICK"), EarmarkFactory.create()
    deliver(store, part, 5, earmark=earmark)
    reserve(
        key="k",
        store=store,
        part=part,
        quantity=3,
        earmarks=[earmark],
        subject="visit_job:9",
        needed_on=TODAY,
        today=TODAY,
        by=None,
        at=NOW,
    )
    picks = picks_of(store=store, day=TODAY)
    words, codes, (width, _height) = read(
        pick_list_pdf(store=store, day=TODAY, picks=picks, today=TODAY)
    )
    assert codes == ["OW-PICK"]
    assert "3 pieces are held for the visits of this day or a day before" in words
    assert "visit_job:9" in words
    assert round(width) == points
