import pytest

from campaigns.forms.claims import PaymentForm, SendClaimsForm
from tests.factories.campaigns import ClaimFactory, ClaimLineFactory


pytestmark = pytest.mark.django_db


def test_a_line_that_is_paid_is_not_asked_again():
    claim = ClaimFactory.create()
    ClaimLineFactory.create(claim=claim, claimed_cents=500, paid_cents=500)
    open_one = ClaimLineFactory.create(claim=claim, claimed_cents=700, paid_cents=300)
    form = PaymentForm(claim=claim)
    assert [line.pk for line in form.lines] == [open_one.pk]
    assert form[f"line_{open_one.pk}"].value() == "4.00"


def test_only_claims_that_may_be_sent_are_taken():
    data = {"key": "k", "dated": "2026-11-25", "claims": ["7"]}
    assert SendClaimsForm(data, ready=[7]).is_valid()
    assert list(SendClaimsForm(data, ready=[8]).errors) == ["claims"]
