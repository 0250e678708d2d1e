"""RFC 9457, section 3.1: the members of a problem."""

import pytest
from rest_framework.exceptions import NotAuthenticated, Throttled, ValidationError

from dealership.api.problems import MEDIA_TYPE, problem_of
from dealership.rules.refusals import Refusal


@pytest.mark.parametrize(
    ("error", "status", "title", "detail"),
    [
        (ValidationError("No VIN."), 400, "Bad Request", "No VIN."),
        (
            ValidationError({"vin": ["Too short.", "Too odd."]}),
            400,
            "Bad Request",
            "Too short. Too odd.",
        ),
        (Refusal("Nothing is free."), 409, "Conflict", "Nothing is free."),
    ],
)
def test_an_error_is_a_problem(error, status, title, detail):
    answer = problem_of(error, {})

    assert answer.data == {
        "type": "about:blank",
        "title": title,
        "status": status,
        "detail": detail,
    }
    assert (answer.status_code, answer.content_type) == (status, MEDIA_TYPE)


def test_what_a_program_needs_to_go_on_is_kept():
    nobody = NotAuthenticated()
    nobody.auth_header = "Token"

    assert problem_of(nobody, {}).headers["WWW-Authenticate"] == "Token"
    assert problem_of(Throttled(wait=7), {}).headers["Retry-After"] == "7"


def test_a_fault_of_ours_is_left_to_be_seen():
    assert problem_of(ValueError("a bug"), {}) is None
