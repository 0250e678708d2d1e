import pypdfium2
import pytest

from campaigns.documents.job_card import job_card_pdf
from campaigns.queries.repairs import job_card, lines_of, repairs_with_all
from tests.campaigns.domain.shop import Shop
from tests.factories.dealership import TODAY


pytestmark = pytest.mark.django_db


def words_of(repair):
    row = repairs_with_all().get(pk=repair.pk)
    card = job_card(row, today=TODAY)
    lines = lines_of(row, checks=card.checks, labour=card.labour)
    pdf = job_card_pdf(card, lines=lines)
    paper = pypdfium2.PdfDocument(pdf)
    pages = [page.get_textpage().get_text_range() for page in paper]
    return " ".join(" ".join(pages).split()), paper[0].get_size()


def test_an_open_card_has_boxes_and_a_done_one_its_readings():
    shop = Shop()
    shop.shelf(2)
    check = shop.check()
    repair = shop.open()
    words, _size = words_of(repair)
    assert "3. ______________ Nm" in words
    shop.measure(repair, check, "60")
    shop.measure(repair, check, "45.5")
    shop.complete(repair)
    words, _size = words_of(repair)
    assert "1. 60 Nm: do the step again" in words
    assert "2. 45.5 Nm: within limits" in words
    assert "remedied, 2026-11-25" in words


@pytest.mark.parametrize(("paper", "points"), [("a4", 595), ("letter", 612)])
def test_the_stores_paper(paper, points):
    """A4 is 210 mm wide (ISO 216), Letter 8.5 in (ANSI/ASME Y14.1), 72 points an inch."""
    shop = Shop()
    shop.store.paper = paper
    shop.store.save()
    _words, (width, _height) = words_of(shop.open())
    assert round(width) == points
