import pytest
from django.contrib.auth.models import AnonymousUser
from django.test import RequestFactory

from dealership.context import chrome
from dealership.rules.roles import Role
from tests.factories.dealership import StoreFactory, make_staff


pytestmark = pytest.mark.django_db


def request_of(staff, path="/settings/"):
    request = RequestFactory().get(path)
    request.user = staff
    request.store = staff.posts.first().store if staff.is_authenticated else None
    request.stores = [request.store]
    return request


def test_nobody_sees_no_place():
    assert chrome(request_of(AnonymousUser()))["places"] == []


def test_what_a_role_may_not_use_is_not_shown():
    technician = chrome(request_of(make_staff(Role.TECHNICIAN)))["places"]
    manager = chrome(request_of(make_staff(Role.SERVICE_MANAGER)))["places"]

    assert "Settings" not in [place.label for place in technician]
    assert "Settings" in [place.label for place in manager]


def test_the_place_where_one_is_now_is_marked():
    places = chrome(request_of(make_staff(Role.OWNER), "/settings/trail/"))["places"]

    assert [place.label for place in places if place.current] == ["Settings"]


def test_the_stores_of_the_person_are_offered():
    staff = make_staff(Role.OFFICE, StoreFactory.create())
    request = request_of(staff)

    assert chrome(request)["current_store"] == request.store
    assert chrome(request)["stores"] == [request.store]
