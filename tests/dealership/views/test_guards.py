import pytest
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.test import RequestFactory
from django.urls import reverse

from dealership.rules.roles import Capability, Role
from dealership.views.chosen_store import SESSION_KEY
from dealership.views.guards import guarded, store_of
from tests.factories.campaigns import ClaimFactory, LetterRoundFactory, ReportFactory
from tests.factories.dealership import PostFactory, StoreFactory, make_staff
from tests.factories.vehicles import VehicleFactory, VehicleListFactory


pytestmark = pytest.mark.django_db


@guarded(Capability.PRINT_LETTERS)
def letters(request):
    """Print."""
    return HttpResponse("printed")


def request_of(staff, store):
    request = RequestFactory().get("/")
    request.user, request.store = staff, store
    return request


def works_in(client):
    """Choose the store in which this person has the role."""
    session = client.session
    session[SESSION_KEY] = client.store.pk
    session.save()


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


@pytest.mark.parametrize(
    ("role", "make", "address"),
    [
        (Role.OFFICE, LetterRoundFactory, "campaigns:set_round"),
        (Role.OFFICE, LetterRoundFactory, "campaigns:letter_round"),
        (Role.OFFICE, ReportFactory, "campaigns:report"),
        (Role.SERVICE_MANAGER, ClaimFactory, "campaigns:claim"),
        (Role.OFFICE, VehicleListFactory, "vehicles:vehicle_list"),
    ],
)
def test_a_role_here_opens_no_row_of_a_store_where_one_has_another(
    signed_in, role, make, address
):
    client = signed_in(role)
    row = make.create(store=StoreFactory.create())
    url = reverse(address, args=[row.pk])
    act = client.post if address.endswith("set_round") else client.get
    works_in(client)
    assert act(url).status_code == 404  # no post there at all

    PostFactory.create(staff=client.staff, store=row.store, role=Role.TECHNICIAN)
    assert act(url).status_code == 403

    PostFactory.create(staff=client.staff, store=row.store, role=role)
    assert act(url).status_code in {200, 302}


def test_a_vehicle_is_changed_only_where_the_role_says_so(signed_in):
    client = signed_in(Role.OFFICE)
    vehicle = VehicleFactory.create(store=StoreFactory.create())
    PostFactory.create(staff=client.staff, store=vehicle.store, role=Role.TECHNICIAN)

    works_in(client)
    page = client.get(reverse("vehicles:vehicle", args=[vehicle.vin]))
    form = client.get(reverse("vehicles:edit_vehicle", args=[vehicle.vin]))

    assert (page.status_code, page.context["may_edit"]) == (200, False)
    assert form.status_code == 403
