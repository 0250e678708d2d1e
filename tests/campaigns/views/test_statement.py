"""The statement as page, paper and sheet, through the test client."""

import datetime as dt
import io

import pypdfium2
import pytest
from django.urls import reverse
from openpyxl import load_workbook

from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop
from tests.campaigns.views.test_account import paid, text_of
from tests.factories.dealership import TODAY


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def shop():
    shop = Shop(cents=1_000, pieces_each=1)
    shop.shelf(5, on=TODAY - dt.timedelta(days=9))
    paid(shop)
    return shop


@pytest.fixture
def desk(shop, signed_in):
    return signed_in(Role.PARTS_MANAGER, shop.store)


def where(shop, name="statement"):
    return reverse(f"campaigns:{name}", args=[shop.campaign.code])


def test_the_page_tells_the_account_day_by_day(shop, desk):
    page = text_of(desk.get(where(shop)))
    assert "$0.00 was open at first, $50.00 came on top, $10.00 was settled, " in page
    assert "opening balance" in page
    assert "closing balance" in page
    assert "50.00 10.00 40.00" in page


def test_a_period_opens_with_what_was_before(shop, desk):
    page = desk.get(where(shop), {"since": TODAY.isoformat()})
    told = page.context["told"]
    assert (told.opening_cents, told.closing_cents) == (5_000, 4_000)
    for name in ("statement_pdf", "statement_xlsx"):
        assert f"{where(shop, name)}?since={TODAY}" in page.content.decode()


def test_a_period_that_ends_before_it_begins_is_told(shop, desk):
    asked = {"since": "2026-11-25", "until": "2026-11-01"}
    page = desk.get(where(shop), asked)
    assert "The period ends before it begins." in text_of(page)


def test_the_paper_and_the_sheet_hold_the_same_period(shop, desk):
    asked = {"since": TODAY.isoformat()}
    paper = desk.get(where(shop, "statement_pdf"), asked)
    assert paper["Content-Type"] == "application/pdf"
    assert paper["X-Content-Type-Options"] == "nosniff"
    pdf = pypdfium2.PdfDocument(paper.content)
    words = " ".join(
        " ".join(page.get_textpage().get_text_range() for page in pdf).split()
    )
    assert "opening balance 50.00" in words
    assert "closing balance 0.00 10.00 40.00" in words
    sheet = desk.get(where(shop, "statement_xlsx"), asked)
    assert sheet["X-Content-Type-Options"] == "nosniff"
    rows = list(load_workbook(io.BytesIO(sheet.content)).active.values)
    assert [row[6] for row in rows[1:]] == [50, 40, 40]


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.OFFICE])
def test_who_may_not_see_money(shop, signed_in, role):
    person = signed_in(role, shop.store)
    for name in ("statement", "statement_pdf", "statement_xlsx"):
        assert person.get(where(shop, name)).status_code == 403
