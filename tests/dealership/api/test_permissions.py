import pytest
from django.contrib.auth.models import AnonymousUser
from django.test import RequestFactory

from dealership.api.permissions import MayUseApi
from dealership.rules.roles import Role
from tests.factories.dealership import StaffFactory, make_staff


pytestmark = pytest.mark.django_db


def may(user):
    request = RequestFactory().get("/api/v1/")
    request.user = user
    return MayUseApi().has_permission(request, None)


def test_a_role_with_the_capability_lets_in():
    assert may(make_staff(Role.TECHNICIAN))


def test_nobody_and_somebody_without_a_post_stay_out():
    assert not may(AnonymousUser())
    assert not may(StaffFactory.create())


def test_who_is_locked_out_stays_out():
    assert not may(make_staff(Role.TECHNICIAN, is_active=False))
