"""Texts of letters: what the house comes with, and versions that never change."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from campaigns.domain.letter_texts import (
    FieldNotKnown,
    TextInForce,
    load_shipped_texts,
    texts_in_force,
    write_version,
)
from campaigns.models import LetterText
from campaigns.rules.letter_wording import LANGUAGES
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind
from tests.factories.dealership import NOW, TODAY, StaffFactory


pytestmark = pytest.mark.django_db


def write(*, body="Please call us.", subject="About your vehicle", on=TODAY):
    return write_version(
        campaign_class=CampaignClass.SAFETY,
        kind=RoundKind.FIRST,
        subject=subject,
        body=body,
        effective_from=on,
        by=StaffFactory.create(),
        at=NOW,
    )


def kept():
    return list(
        LetterText.objects.order_by("pk").values_list("number", "subject", "body")
    )


def test_each_class_and_letter_has_its_text_once():
    assert not LetterText.objects.exists()

    assert load_shipped_texts(at=NOW) == (
        len(CampaignClass) * len(RoundKind) * len(PostedBy) * len(LANGUAGES)
    )
    before = kept()
    assert load_shipped_texts(at=NOW) == 0
    assert kept() == before


def test_a_new_version_leaves_those_before_as_they_were():
    first = write(subject="One")

    second = write(subject="Two", on=TODAY + dt.timedelta(days=3))

    assert second.number == first.number + 1
    assert LetterText.objects.get(pk=first.pk).subject == "One"


def test_the_database_keeps_a_version_as_it_is():
    text = write()

    with pytest.raises(IntegrityError, match="only added to"), transaction.atomic():
        LetterText.objects.update(body="Changed.")
    with pytest.raises(IntegrityError, match="only added to"), transaction.atomic():
        text.delete()


def test_each_language_and_sender_has_versions_of_its_own():
    ours = write(subject="Ours")
    common = {"campaign_class": CampaignClass.SAFETY, "kind": RoundKind.FIRST}
    facts = {"body": "B", "effective_from": TODAY, "by": ours.made_by, "at": NOW}
    notice = write_version(
        **common, posted_by=PostedBy.MANUFACTURER, subject="Notice", **facts
    )
    spanish = write_version(**common, language="es", subject="Carta", **facts)

    assert (notice.number, spanish.number) == (1, 1)
    found = texts_in_force(**common, posted_by=PostedBy.STORE, on=TODAY, at=NOW)
    assert {one.subject for one in found.values()} == {"Ours", "Carta"}


def test_a_version_does_not_go_behind_the_one_in_force():
    write(on=TODAY)

    with pytest.raises(TextInForce, match="2026-11-25"):
        write(on=TODAY - dt.timedelta(days=1))
    write(on=TODAY)  # the same day may be mended


@pytest.mark.parametrize("place", ["subject", "body"])
def test_a_field_that_cannot_be_filled_in_is_named(place):
    before = kept()

    with pytest.raises(FieldNotKnown, match="shoe_size") as refused:
        write(**{place: "Dear owner, {shoe_size}"})
    assert refused.value.fields == ("shoe_size",)
    assert kept() == before
