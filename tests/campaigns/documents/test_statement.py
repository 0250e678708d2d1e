import pypdfium2
import pytest
from django.utils import timezone

from campaigns.documents.statement import statement_pdf
from campaigns.queries.account import campaign_account
from tests.campaigns.domain.shop import Shop
from tests.factories.dealership import NOW


pytestmark = pytest.mark.django_db


def test_markup_in_a_title_is_text():
    shop = Shop(cents=1_000)
    shop.shelf(3)
    shop.campaign.title = "<b>Bolts</b> & nuts"
    shop.campaign.save()
    found = campaign_account(shop.campaign, store_ids=[shop.store.pk])
    pdf = statement_pdf(
        found,
        owed=[("billed", 3_000, found.rows["billed"])],
        held=[("on hand", 3_000, found.rows["on_hand"])],
        store=shop.store,
        everywhere=False,
        printed_at=timezone.localtime(NOW),
    )
    page = pypdfium2.PdfDocument(pdf)[0]
    words = " ".join(page.get_textpage().get_text_range().split())
    assert "<b>Bolts</b> & nuts" in words
    assert "$30.00 is tied up in parts; both sides are equal." in words
    assert "1 / 1" in words
