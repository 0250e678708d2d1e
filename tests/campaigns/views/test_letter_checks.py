"""The page of the letter check: places, sources, reasons."""

import pytest

from campaigns.models import LetterCheckAnswer
from campaigns.rules.letter_wording import shipped_text
from campaigns.rules.lifecycle import CampaignClass, RoundKind
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    LetterFactory,
    LetterRoundFactory,
    LetterTextFactory,
)


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def office(signed_in):
    return signed_in(Role.OFFICE)


def a_round(store, more):
    _subject, body = shipped_text(CampaignClass.SAFETY, RoundKind.FIRST)
    text = LetterTextFactory.create(body=f"{body}\n\n{more}")
    made = LetterRoundFactory.create(store=store, text=text)
    LetterFactory.create(letter_round=made, text=text)
    return made


def test_shows_the_place_and_the_source(office):
    made = a_round(office.store, "A defect may exist. <b>It is very rare.</b>")

    page = office.get(f"/letters/{made.pk}/check/").content.decode()

    assert "1 thing may not be printed" in page
    assert "<mark>defect may exist</mark>" in page
    assert "&lt;b&gt;It is <mark>very rare</mark>" in page
    assert "NHTSA interpretation aiam1275 (read in the source)" in page
    assert "49 CFR 577.8 (cited from memory, so it only warns)" in page
    assert "blocks this round" in office.get(f"/letters/{made.pk}/").content.decode()


def test_a_sound_round_says_so(office):
    made = a_round(office.store, "Thank you.")

    page = office.get(f"/letters/{made.pk}/check/").content.decode()

    assert "Nothing stands against these letters" in page


def test_keeps_a_reason_and_refuses_an_empty_one(office):
    made = a_round(office.store, "It is very rare.")
    url = f"/letters/{made.pk}/check/"
    asked = {"text": made.text_id, "rule": "played_down"}

    office.post(url, asked | {"why": " "})
    assert LetterCheckAnswer.objects.count() == 0
    office.post(url, asked | {"why": "The manufacturer asked for it."})
    [kept] = LetterCheckAnswer.objects.all()
    assert (kept.why, kept.by) == ("The manufacturer asked for it.", office.staff)
    assert "Nothing stands against" in office.get(url).content.decode()


def test_only_who_prints_may_answer(signed_in):
    manager = signed_in(Role.SERVICE_MANAGER)
    made = a_round(manager.store, "It is very rare.")
    url = f"/letters/{made.pk}/check/"

    assert manager.get(url).status_code == 200
    asked = {"text": made.text_id, "rule": "played_down", "why": "So it is."}
    assert manager.post(url, asked).status_code == 403
