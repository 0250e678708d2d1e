"""Pages of the texts: read, written anew, and seen as they will be printed."""

import pytest

from campaigns.models import LetterText
from dealership.rules.roles import Role
from tests.factories.campaigns import LetterTextFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

URL = "/letters/texts/safety/first/store/en/"


@pytest.fixture
def office(signed_in, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return signed_in(Role.OFFICE)


def test_texts_are_shown_and_a_new_version_leaves_the_old(office):
    assert "as shipped" in office.get("/letters/texts/").content.decode()
    url = URL
    old = LetterTextFactory.create(number=1)
    kept = old.body
    form = {
        "subject": "S",
        "body": "Call {store_phone}.",
        "effective_from": "2026-11-25",
    }
    assert office.post(url, form).status_code == 302
    assert LetterText.objects.get(number=2).body == "Call {store_phone}."
    old.refresh_from_db()
    assert old.body == kept
    wrong = office.post(url, form | {"body": "Dear {owner}"})
    assert "These fields are not known: owner" in wrong.content.decode()
    assert office.get("/letters/texts/other/first/store/en/").status_code == 404
