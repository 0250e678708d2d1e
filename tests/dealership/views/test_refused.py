import json

import pytest
from django.test import RequestFactory

from dealership.rules.refusals import Refusal
from dealership.rules.roles import Role
from dealership.views.refused import RefusalMiddleware
from tests.factories.dealership import make_staff


class OutOfPaper(Refusal):
    """No paper."""


@pytest.fixture
def middleware():
    return RefusalMiddleware(lambda _request: None)


@pytest.mark.django_db
def test_a_refusal_becomes_a_page_with_its_own_sentence(middleware):
    request = RequestFactory().get("/letters/")
    request.user = make_staff(Role.OFFICE)

    answer = middleware.process_exception(request, OutOfPaper("There is no paper."))

    assert answer.status_code == 409
    assert b"There is no paper." in answer.content


def test_for_a_program_it_becomes_json(middleware):
    request = RequestFactory().get("/api/v1/")

    answer = middleware.process_exception(request, OutOfPaper("There is no paper."))

    assert answer.status_code == 409
    assert json.loads(answer.content)["detail"] == "There is no paper."


def test_a_fault_of_ours_is_left_to_be_seen(middleware):
    request = RequestFactory().get("/letters/")

    assert middleware.process_exception(request, ValueError("a bug")) is None
