"""Why a payer pays: the whole table is read in tests/house/test_remedy_tables.py."""

from campaigns.rules.eligibility import Cover, Verdict
from campaigns.rules.lifecycle import Payer
from campaigns.rules.payer_reasons import PayerReason, payer_reason


COVERED = Verdict(cover=Cover.COVERED, reasons=(), payer=Payer.MANUFACTURER)


def test_what_nobody_asked_for_is_the_stores_own():
    for of_campaign in (True, False):
        found = payer_reason(None, COVERED, of_campaign=of_campaign)
        assert found is PayerReason.OWN_ACCOUNT


def test_a_campaign_that_covers_the_vehicle_pays_what_it_says():
    found = payer_reason(Payer.MANUFACTURER, COVERED, of_campaign=True)
    assert found is PayerReason.CAMPAIGN
    found = payer_reason(Payer.CUSTOMER, COVERED, of_campaign=True)
    assert found is PayerReason.STATED
