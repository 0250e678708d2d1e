"""Forms of the waiting list."""

from campaigns.forms.requests import RequestForm, WithdrawForm


def test_a_request_needs_no_name_but_its_key():
    sent = {"key": "7d3f2f0e-37a0-4f4e-9f7b-0a37b36f1c55", "campaign_vehicle": "4"}

    assert RequestForm(sent).is_valid()
    assert list(RequestForm({**sent, "key": "again"}).errors) == ["key"]
    assert list(RequestForm({**sent, "contact": "x" * 121}).errors) == ["contact"]


def test_leaving_the_list_needs_a_reason():
    assert WithdrawForm({"why": "Sold"}).is_valid()
    assert list(WithdrawForm({"why": "  "}).errors) == ["why"]
