"""Pages of the texts: read, written anew, and seen as they will be printed."""

import pypdfium2
import pytest

from campaigns.models import LetterText
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignFactory, LetterTextFactory


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


def test_shows_the_letter_as_it_will_be_printed(office):
    CampaignFactory.create(code="SR-77", title="Latch of the hood")

    page = office.get(URL).content.decode()

    assert "filled in from campaign SR-77" in page
    assert "data:image/png;base64," in page
    assert "Nothing found." in page


def test_what_is_typed_is_looked_at_without_being_kept(office):
    typed = {
        "subject": "Look",
        "body": "Dear {owner_name}: no accidents are known.",
        "effective_from": "2026-11-25",
    }
    page = office.post(URL, typed | {"look": "yes"}).content.decode()

    assert "no accidents are known." in page
    assert "It says that nothing has happened so far" in page
    assert "takes longer to set" in page
    assert not LetterText.objects.exists()
    part = office.post(f"{URL}preview/", typed).content.decode()
    assert "It says that nothing has happened so far" in part
    assert "<html" not in part
    unknown = office.post(f"{URL}preview/", typed | {"body": "{shoe_size}"})
    assert "names a field that is not known" in unknown.content.decode()


def test_the_sample_is_the_pdf_that_the_printer_gets(office):
    typed = {"subject": "Hood latch", "body": "Please call {store_name}."}

    answer = office.post(f"{URL}sample.pdf", typed)

    assert answer["Content-Type"] == "application/pdf"
    [page] = pypdfium2.PdfDocument(answer.content)
    words = page.get_textpage().get_text_bounded()
    assert "Hood latch" in words
    assert f"Please call {office.store.name}." in " ".join(words.split())
    wrong = office.post(f"{URL}sample.pdf", typed | {"body": "{shoe_size}"})
    assert wrong.url == URL


def test_hostile_text_stays_text(office):
    """Nothing is fetched and no markup is read: OWASP, injection into documents."""
    body = "<img src='file:///etc/passwd'> <link href='http://x.example/a.css'> {store_name}"

    answer = office.post(f"{URL}sample.pdf", {"subject": "S", "body": body})

    words = pypdfium2.PdfDocument(answer.content)[0].get_textpage().get_text_bounded()
    assert "<img src='file:///etc/passwd'>" in " ".join(words.split())


@pytest.mark.parametrize("end", ["preview/", "sample.pdf"])
def test_only_who_prints_may_try(end, signed_in):
    assert signed_in(Role.SERVICE_MANAGER).post(f"{URL}{end}", {}).status_code == 403
