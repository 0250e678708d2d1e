import pypdfium2
import pytest

from campaigns.documents.notices import notice_pdf
from tests.factories.campaigns import NoticeGivenFactory
from tests.factories.dealership import StoreFactory


@pytest.mark.parametrize(
    ("paper", "width"),
    [("letter", 612), ("a4", 595)],
)
def test_the_paper_is_the_stores(paper, width):
    store = StoreFactory.build(paper=paper)
    notice = NoticeGivenFactory.build(vehicle__store=store)

    with pypdfium2.PdfDocument(notice_pdf(notice, [], store=store)) as found:
        assert int(found[0].get_width()) == width
