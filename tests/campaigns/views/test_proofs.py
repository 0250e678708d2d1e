"""The page of the proof, the alarm on Today, and asking for one more proof."""

import re

import pytest
from django.urls import reverse

from dealership.models import Job
from dealership.rules.roles import Role
from tests.factories.campaigns import BookProofFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

FAULT = {"rule": "balance is the sum of its entries", "row": "balance 7 free"}
WRONG = {"fault_count": 1, "faults": [FAULT | {"stands": 9, "should_be": 5}]}


def text_of(response):
    html = response.content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def test_no_proof_yet(signed_in):
    page = text_of(signed_in(Role.OWNER).get(reverse("campaigns:proofs")))
    assert "The books have not been proved yet" in page


def test_each_place_is_named_with_both_figures(signed_in):
    BookProofFactory.create()
    BookProofFactory.create(**WRONG)
    page = text_of(signed_in(Role.OWNER).get(reverse("campaigns:proofs")))
    assert "The books do not balance in one place (proved 2026-11-25 09:00" in page
    assert "balance is the sum of its entries balance 7 free 9 5" in page


@pytest.mark.parametrize(
    "role",
    [Role.PARTS_MANAGER, Role.SERVICE_MANAGER, Role.OWNER, Role.ADMINISTRATOR],
)
def test_the_alarm_stands_on_today_until_a_clean_proof(signed_in, role):
    desk = signed_in(role)
    BookProofFactory.create(**WRONG)
    page = desk.get(reverse("campaigns:today"))
    assert "See the proof of the books" in text_of(page)
    assert reverse("campaigns:proofs") in page.content.decode()
    BookProofFactory.create()
    page = desk.get(reverse("campaigns:today"))
    assert "do not balance" not in text_of(page)


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.OFFICE, Role.SERVICE_ADVISOR])
def test_others_are_not_alarmed(signed_in, role):
    BookProofFactory.create(**WRONG)
    page = signed_in(role).get(reverse("campaigns:today"))
    assert "do not balance" not in text_of(page)


def test_one_more_proof_is_asked_for_once(signed_in):
    desk = signed_in(Role.PARTS_MANAGER)
    first = desk.post(reverse("campaigns:prove_again"))
    again = desk.post(reverse("campaigns:prove_again"))
    job = Job.objects.get(kind="campaigns.prove_books")
    assert first.url == again.url == reverse("dealership:job", args=[job.pk])


def test_the_page_takes_the_queries_of_one(signed_in, django_assert_num_queries):
    desk = signed_in(Role.OWNER)
    for _each in (1, 3):
        BookProofFactory.create()
        BookProofFactory.create()
        with django_assert_num_queries(6):
            desk.get(reverse("campaigns:proofs"))
