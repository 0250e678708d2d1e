"""Letter pages: drawn up, shown, handed out, and closed to other stores."""

import csv
import io
import uuid

import pytest

from campaigns.models import LetterRound
from campaigns.rules.lifecycle import RoundState
from dealership.models import Job
from dealership.rules.roles import Role
from tests.campaigns.domain.rounds import written_to
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    LetterFactory,
    LetterOmissionFactory,
    LetterRoundFactory,
)
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import put_on_shelf
from tests.factories.vehicles import AddressFactory, TenureFactory, VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

QUERIES = 8


@pytest.fixture
def office(signed_in, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return signed_in(Role.OFFICE)


def open_row(campaign, store):
    row = CampaignVehicleFactory.create(
        campaign=campaign, vehicle=VehicleFactory.create(store=store)
    )
    AddressFactory.create(party=TenureFactory.create(vehicle=row.vehicle).party)
    return row


def test_draws_up_a_round_once(office):
    campaign = CampaignFactory.create()
    open_row(campaign, office.store)
    url = f"/campaigns/{campaign.code}/letters/"
    assert "1 vehicle of this store is still open" in office.get(url).content.decode()
    first = office.post(url, {"kind": "first", "key": "one"})
    assert office.post(url, {"kind": "first", "key": "one"}).url == first.url
    assert LetterRound.objects.get().letters.count() == 1
    assert office.get(first.url).status_code == 200
    refused = office.post(url, {"kind": "reminder", "key": "two"})
    assert "Round 1 of this campaign is not posted yet" in refused.content.decode()
    assert "not posted yet; finish it first" in office.get(url).content.decode()


def test_sets_letters_in_the_background(office):
    made = LetterRoundFactory.create(store=office.store)
    LetterFactory.create(letter_round=made)
    office.post(f"/letters/{made.pk}/set/")
    office.post(f"/letters/{made.pk}/set/")
    assert Job.objects.get().arguments == {"round_id": made.pk, "whole": False}
    early = office.post(f"/letters/{made.pk}/printed/", {"on": "2026-11-25"})
    assert "cannot be marked as printed" in early.content.decode()


def test_a_reminder_is_proposed_and_drawn_up_with_one_press(office):
    part = PartFactory.create()
    campaign = written_to(office.store, part, vehicles=20)
    url = f"/campaigns/{campaign.code}/letters/"
    short = " ".join(office.get(url).content.decode().split())
    assert "there are too few parts for those who come first" in short
    assert part.number in short
    assert "Draw up the reminder" not in short
    put_on_shelf(office.store, part, 30)
    paying = office.get(url).content.decode()
    assert "A reminder to 20 owners pays now" in paying
    assert "Draw up the reminder to 20 owners" in paying
    key = {"key": str(uuid.uuid4())}
    first = office.post(f"{url}remind/", key)
    assert office.post(f"{url}remind/", key).url == first.url
    made = LetterRound.objects.get(state=RoundState.DRAWN_UP)
    assert (made.kind, made.letters.count()) == ("reminder", 20)
    assert first.url == f"/letters/{made.pk}/"
    refused = office.post(f"{url}remind/", follow=True)
    assert "Round 2 of this campaign is not posted yet" in refused.content.decode()


def test_who_may_not_print_draws_up_no_reminder(signed_in):
    manager = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    answer = manager.post(f"/campaigns/{campaign.code}/letters/remind/")
    assert answer.status_code == 403


def test_posts_a_printed_round(office):
    made = LetterRoundFactory.create(
        store=office.store, state=RoundState.PRINTED, printed_on=TODAY
    )
    LetterFactory.create(letter_round=made, printed_on=TODAY)
    answer = office.post(f"/letters/{made.pk}/posted/", {"on": "2026-11-25"})
    assert answer.status_code == 302
    made.refresh_from_db()
    assert (made.state, made.posted_on) == ("posted", TODAY)


def test_cancels_a_round(office):
    made = LetterRoundFactory.create(store=office.store)
    office.post(f"/letters/{made.pk}/cancel/")
    made.refresh_from_db()
    assert made.state == "cancelled"


def test_register_lists_both_and_is_defused(office):
    """OWASP, CSV injection: an apostrophe before a cell that starts a formula."""
    made = LetterRoundFactory.create(store=office.store)
    LetterFactory.create(letter_round=made, address__city="=1+1")
    LetterOmissionFactory.create(letter_round=made)
    answer = office.get(f"/letters/{made.pk}/register.csv")
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row[1] for row in rows[1:]] == ["letter", "no address known"]
    assert rows[1][3] == "'=1+1"
    assert "Name" not in rows[0]
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert office.get(f"/letters/{made.pk}/register.xlsx").content[:2] == b"PK"


def test_books_a_letter_that_came_back(office):
    made = LetterRoundFactory.create(store=office.store, state=RoundState.POSTED)
    letter = LetterFactory.create(letter_round=made, posted_on=TODAY)
    form = {"code": letter.code.lower(), "why": "moved", "on": "2026-11-25"}
    assert office.post("/letters/", form).status_code == 302
    letter.refresh_from_db()
    assert letter.returned_why == "moved"
    wrong = office.post("/letters/", form | {"code": "L9"})
    assert "No letter of this store has the code L9" in wrong.content.decode()


def test_another_store_finds_nothing(office, signed_in):
    made = LetterRoundFactory.create(store=office.store)
    LetterFactory.create(letter_round=made, posted_on=TODAY, code="L1")
    other = signed_in(Role.OFFICE, StoreFactory.create())
    for end in ("", "letters.pdf", "register.csv"):
        assert other.get(f"/letters/{made.pk}/{end}").status_code == 404
    assert other.post(f"/letters/{made.pk}/set/").status_code == 404
    back = other.post("/letters/", {"code": "L1", "why": "moved", "on": "2026-11-25"})
    assert "No letter of this store" in back.content.decode()


def test_roles(signed_in):
    manager = signed_in(Role.SERVICE_MANAGER)
    made = LetterRoundFactory.create(store=manager.store)
    assert manager.get(f"/letters/{made.pk}/").status_code == 200
    assert manager.post(f"/letters/{made.pk}/set/").status_code == 403
    assert signed_in(Role.TECHNICIAN).get("/letters/").status_code == 403


@pytest.mark.parametrize("rows", [1, 3])
def test_list_asks_the_same_number_of_questions(
    rows, office, django_assert_num_queries
):
    LetterRoundFactory.create_batch(rows, store=office.store)
    with django_assert_num_queries(QUERIES):
        assert office.get("/letters/").status_code == 200
