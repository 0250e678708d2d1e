"""The pages for what goes wrong: their status, their words, the way on."""

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.test import Client
from django.urls import include, path

from dealership.rules.refusals import Refusal
from dealership.rules.roles import Role


def forbidden(request):
    raise PermissionDenied


def missing(request):
    raise Http404


def refused(request):
    raise Refusal("There is no paper. Put some in and start again.")


def broken(request):
    raise RuntimeError("a bug that nobody foresaw")


urlpatterns = [
    path("forbidden/", forbidden),
    path("missing/", missing),
    path("refused/", refused),
    path("broken/", broken),
    path("", include("config.urls")),
]
pytestmark = [pytest.mark.django_db, pytest.mark.urls(__name__)]


@pytest.fixture
def person(signed_in):
    client = signed_in(Role.OFFICE)
    client.raise_request_exception = False
    return client


@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("/forbidden/", 403, "not open to your role"),
        ("/missing/", 404, "<h1>"),
        ("/nowhere/at/all/", 404, "<h1>"),
        ("/refused/", 409, "There is no paper. Put some in and start again."),
        ("/broken/", 500, "Something went wrong on our side"),
    ],
)
def test_each_has_its_status_and_its_words(person, address, status, words):
    response = person.get(address)

    assert response.status_code == status
    assert words in response.content.decode()
    assert 'href="/"' in response.content.decode()


def test_a_fault_shows_nothing_of_the_inside(person):
    response = person.get("/broken/")

    assert b"a bug that nobody foresaw" not in response.content
    assert b"Traceback" not in response.content


def test_a_form_from_elsewhere_is_refused_in_plain_words(person):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(person.staff)

    response = strict.post("/settings/key/new/")

    assert response.status_code == 403
    assert b"<h1>" in response.content


def test_nobody_is_told_what_exists():
    response = Client().get("/nowhere/at/all/")

    assert response.status_code == 404
