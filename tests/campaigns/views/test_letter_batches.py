"""Pages of a round's files."""

import io

import pikepdf
import pytest
from django.core.files.base import ContentFile
from django.urls import reverse
from django.utils.html import strip_tags

from campaigns.models import LetterReprint
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    LetterFactory,
    LetterFileFactory,
    LetterRoundFactory,
)
from tests.factories.dealership import NOW, TODAY


pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def office(signed_in):
    return signed_in(Role.OFFICE)


def pdf_of(pages):
    target = io.BytesIO()
    with pikepdf.new() as paper:
        for _page in range(pages):
            paper.add_blank_page()
        paper.save(target)
    return ContentFile(target.getvalue(), "letters.pdf")


def a_round(store, letters=3, files=1):
    made = LetterRoundFactory.create(
        store=store,
        state="printing",
        pdf=pdf_of(letters),
        sheets=letters,
        set_whole=1,
        compared=2,
    )
    for position in range(1, letters + 1):
        LetterFactory.create(letter_round=made, position=position, page=position)
    for number in range(1, files + 1):
        LetterFileFactory.create(
            letter_round=made,
            number=number,
            pdf=pdf_of(letters),
            last=letters,
            sheets=letters,
        )
    return made


def page(client, made):
    return client.get(reverse("campaigns:letter_round", args=[made.pk]))


@pytest.mark.parametrize("files", [1, 3])
def test_the_page_lists_files_and_how_the_letters_were_set(
    office, files, django_assert_num_queries
):
    made = a_round(office.store, files=files)
    page(office, made)
    with django_assert_num_queries(12):
        shown = page(office, made).content.decode()
    assert shown.count("/files/") == files
    assert "1 of 3 letters were laid out one by one" in shown
    assert "2 letters were set both ways" in shown


def test_a_file_is_handed_out_and_another_store_s_is_not_found(office, signed_in):
    made = a_round(office.store)
    address = reverse("campaigns:letter_file", args=[made.pk, 1])
    response = office.get(address)
    assert b"".join(response.streaming_content).startswith(b"%PDF")
    assert "no-store" in response["Cache-Control"]
    assert signed_in(Role.OFFICE).get(address).status_code == 404


def test_sheets_are_noted_and_handed_out_again(office):
    made = a_round(office.store)
    address = reverse("campaigns:reprint_sheets", args=[made.pk])
    asked = {"asked": "2-3", "why": "The printer jammed", "key": "k"}
    for _twice in range(2):
        assert office.post(address, asked).status_code == 302
    [noted] = LetterReprint.objects.all()
    assert noted.codes == [one.code for one in made.letters.filter(position__gte=2)]
    assert noted.by == office.staff
    shown = page(office, made).content.decode()
    assert "The printer jammed" in shown
    again = reverse("campaigns:reprinted", args=[made.pk, noted.pk])
    with pikepdf.open(io.BytesIO(office.get(again).content)) as paper:
        assert len(paper.pages) == 2


def test_sheets_that_are_not_there_are_told_in_the_form(office):
    made = a_round(office.store)
    address = reverse("campaigns:reprint_sheets", args=[made.pk])
    response = office.post(address, {"asked": "99", "why": "Jam", "key": "k"})
    assert "No letter of this round is meant by" in response.content.decode()
    assert not LetterReprint.objects.exists()


def test_the_register_on_paper(office):
    made = a_round(office.store, letters=1)
    response = office.get(reverse("campaigns:register_pdf", args=[made.pk]))
    assert response.content.startswith(b"%PDF")


def test_printed_and_posted_show_day_and_person(office):
    made = a_round(office.store, letters=1)
    made.state = "posted"
    made.printed_on = made.posted_on = TODAY
    made.printed_by = made.taken_to_post_by = office.staff
    made.made_at = NOW
    made.save()
    shown = strip_tags(page(office, made).content.decode())
    assert f"Printed on {TODAY} by {office.staff}." in shown
    assert f"Posted on {TODAY} by {office.staff}." in shown


def test_files_of_a_chosen_size_are_asked_for(office):
    made = LetterRoundFactory.create(store=office.store)
    LetterFactory.create(letter_round=made)
    office.post(
        reverse("campaigns:set_round", args=[made.pk]),
        {"letters_per_file": "500", "whole": "on"},
    )
    made.refresh_from_db()
    assert made.letters_per_file == 500
    assert made.job.arguments == {"round_id": made.pk, "whole": True}
