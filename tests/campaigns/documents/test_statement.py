import datetime as dt
import io

import pypdfium2
import pytest
from django.utils import timezone
from openpyxl import load_workbook

from campaigns.documents.statement import statement_pdf, statement_xlsx
from campaigns.queries.account import campaign_account
from campaigns.queries.statement import statement_of
from tests.campaigns.domain.shop import Shop
from tests.factories.dealership import NOW, TODAY


pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    shop = Shop(cents=1_000)
    shop.shelf(3)
    return shop


def account_of(shop):
    return campaign_account(shop.campaign, store_ids=[shop.store.pk])


def test_markup_in_a_title_is_text(shop):
    shop.campaign.title = "<b>Bolts</b> & nuts"
    shop.campaign.save()
    found = account_of(shop)
    pdf = statement_pdf(
        found,
        statement_of(found),
        held=[("on hand", 3_000, found.rows["on_hand"])],
        store=shop.store,
        everywhere=False,
        printed_at=timezone.localtime(NOW),
    )
    page = pypdfium2.PdfDocument(pdf)[0]
    words = " ".join(page.get_textpage().get_text_range().split())
    assert "<b>Bolts</b> & nuts" in words
    assert "$30.00 is tied up in parts; both sides are equal." in words
    assert "closing balance 30.00 0.00 30.00" in words
    assert "1 / 1" in words


def sheet_of(shop):
    told = statement_of(account_of(shop), until=TODAY)
    book = statement_xlsx(told, code="SR-1", currency="USD", made=TODAY)
    return load_workbook(io.BytesIO(book)).active


def test_the_sheet_adds_up_as_numbers(shop):
    rows = list(sheet_of(shop).iter_rows(values_only=True))
    assert rows[0][4:] == ("More, USD", "Less, USD", "Balance, USD")
    assert rows[1][1:] == ("opening balance", None, None, None, None, 0)
    assert rows[2][3:] == (3, 30, None, 30)
    assert rows[3] == (
        dt.datetime.combine(TODAY, dt.time()),
        "closing balance",
        None,
        None,
        30,
        0,
        30,
    )


def test_a_bill_number_that_looks_like_a_formula_is_text(shop):
    """A cell that begins with = + - @ is no formula (OWASP, CSV injection)."""
    shop.part.number = '=HYPERLINK("x")'
    shop.part.save()
    bill = account_of(shop).rows["billed"][0]
    assert bill.what.startswith("bill ")
    for cells in sheet_of(shop).iter_rows():
        for cell in cells:
            assert cell.data_type != "f"
