"""The hold list on paper says what the page says."""

import pypdfium2
import pytest

from campaigns.documents.hold_list import hold_list_pdf
from campaigns.queries.hold_list import stock_lines
from tests.factories.campaigns import CampaignVehicleFactory
from tests.factories.dealership import NOW, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("paper", "points"), [("a4", 595), ("letter", 612)])
def test_what_must_stay_and_what_may_go(paper, points):
    """A4 is 210 mm wide (ISO 216), Letter 8.5 in (ANSI/ASME Y14.1), 72 points an inch."""
    store = StoreFactory.create(paper=paper)
    rows = [
        CampaignVehicleFactory.create(
            vehicle=VehicleFactory.create(store=store, standing=standing)
        )
        for standing in ("new", "used")
    ]
    lines = stock_lines(store=store, now=NOW)

    pdf = hold_list_pdf(
        {
            "store": store,
            "now": NOW,
            "held": lines[:1],
            "others": lines[1:],
            "sentence": "1 of 2 own vehicles must not go out before its remedy.",
        }
    )

    with pypdfium2.PdfDocument(pdf) as found:
        words = " ".join(found[0].get_textpage().get_text_range().split())
        assert int(found[0].get_width()) == points
    held, others = words.split("May go out, with this said")
    assert rows[0].vehicle.vin_tail in held.replace(" ", "")
    assert rows[1].vehicle.vin_tail in others.replace(" ", "")
    assert "Do not deliver" in held
    assert "Check state law" in others
