import pytest
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.test import RequestFactory

from dealership.rules.roles import Capability, Role
from dealership.views.guards import guarded, store_of
from tests.factories.dealership import PostFactory, StoreFactory, make_staff


pytestmark = pytest.mark.django_db


@guarded(Capability.PRINT_LETTERS)
def letters(request):
    """Print."""
    return HttpResponse("printed")


def request_of(staff, store):
    request = RequestFactory().get("/")
    request.user, request.store = staff, store
    return request


def test_who_may_comes_in():
    here = StoreFactory.create()

    answer = letters(request_of(make_staff(Role.OFFICE, here), here))

    assert answer.content == b"printed"


def test_the_role_of_another_store_does_not_count_here():
    here, there = StoreFactory.create_batch(2)
    staff = make_staff(Role.OFFICE, there)
    PostFactory.create(staff=staff, store=here, role=Role.TECHNICIAN)

    with pytest.raises(PermissionDenied):
        letters(request_of(staff, here))


def test_who_is_locked_out_may_do_nothing():
    here = StoreFactory.create()
    staff = make_staff(Role.OFFICE, here, is_active=False)

    with pytest.raises(PermissionDenied):
        letters(request_of(staff, here))


def test_without_a_store_there_is_no_way_in():
    staff = make_staff(Role.OFFICE)

    with pytest.raises(PermissionDenied):
        letters(request_of(staff, None))
    with pytest.raises(PermissionDenied):
        store_of(request_of(staff, None))


def test_the_view_keeps_its_name_and_says_what_it_asks_for():
    assert letters.__name__ == "letters"
    assert letters.__doc__ == "Print."
    assert letters.capability is Capability.PRINT_LETTERS
