import datetime as dt

import pytest
import time_machine
from django.urls import reverse

from dealership.rules.roles import Role
from tests.factories.dealership import PostFactory, StoreFactory, make_staff


pytestmark = pytest.mark.django_db


@pytest.fixture
def in_two_stores(signed_in):
    client = signed_in(Role.OFFICE)
    other = StoreFactory.create()
    PostFactory.create(staff=client.staff, store=other, role=Role.OFFICE)
    client.other = other
    return client


def test_one_works_in_the_first_store_until_one_chooses(in_two_stores):
    page = in_two_stores.get(reverse("dealership:token"))
    assert page.context["current_store"] == in_two_stores.store

    response = in_two_stores.post(
        reverse("dealership:choose_store"),
        {"store": in_two_stores.other.pk, "next": reverse("dealership:token")},
        follow=True,
    )

    assert response.redirect_chain == [(reverse("dealership:token"), 302)]
    assert response.context["current_store"] == in_two_stores.other


def test_a_store_of_others_is_not_found(in_two_stores):
    response = in_two_stores.post(
        reverse("dealership:choose_store"), {"store": StoreFactory.create().pk}
    )

    assert response.status_code == 404


@pytest.mark.parametrize("store", ["", "0", "first"])
def test_nonsense_is_not_found(in_two_stores, store):
    response = in_two_stores.post(reverse("dealership:choose_store"), {"store": store})

    assert response.status_code == 404


def test_the_way_back_never_leads_out_of_the_house(in_two_stores):
    response = in_two_stores.post(
        reverse("dealership:choose_store"),
        {"store": in_two_stores.other.pk, "next": "https://elsewhere.example/"},
    )

    assert response.url == "/"


def test_a_post_that_was_taken_ends_the_choice(in_two_stores):
    in_two_stores.post(
        reverse("dealership:choose_store"), {"store": in_two_stores.other.pk}
    )
    in_two_stores.staff.posts.filter(store=in_two_stores.other).delete()

    page = in_two_stores.get(reverse("dealership:token"))

    assert page.context["current_store"] == in_two_stores.store


def test_somebody_without_a_post_gets_nowhere(client):
    staff = make_staff(Role.OFFICE)
    staff.posts.all().delete()
    client.force_login(staff)

    assert client.get(reverse("dealership:token")).status_code == 403


def test_the_day_is_that_of_the_chosen_store(signed_in):
    store = StoreFactory.create(time_zone="Pacific/Honolulu")
    client = signed_in(Role.OFFICE, store)

    # Half past four of the 10th in Chicago, half past eleven of the 9th in Honolulu.
    with time_machine.travel("2026-03-10 09:30+00:00", tick=False):
        page = client.get(reverse("dealership:token"))

    assert page.context["today"] == dt.date(2026, 3, 9)
