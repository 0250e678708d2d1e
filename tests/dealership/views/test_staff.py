import re

import pytest
from django.contrib.auth import authenticate
from django.urls import reverse

from dealership.models import Post, StaffMember
from dealership.rules.roles import Role
from tests.factories.dealership import StaffFactory, StoreFactory, make_staff


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def admin(signed_in):
    return signed_in(Role.ADMINISTRATOR)


@pytest.mark.parametrize("count", [1, 3])
def test_the_list_holds_the_people_of_ones_stores(
    admin, count, django_assert_num_queries
):
    people = [make_staff(Role.TECHNICIAN, admin.store) for _ in range(count)]
    make_staff(Role.TECHNICIAN)  # elsewhere

    with django_assert_num_queries(7):
        response = admin.get(reverse("dealership:staff"))

    assert set(response.context["people"]) == {admin.staff, *people}


def test_somebody_is_taken_on_and_signs_in_with_the_password_shown(admin, client):
    response = admin.post(
        reverse("dealership:new_person"),
        {
            "first_name": "Hanne",
            "last_name": "Virk",
            "username": "hanne",
            "store": admin.store.pk,
            "role": "office",
        },
    )

    password = response.context["password"]
    assert re.fullmatch(r"([a-z2-9]{4}-){3}[a-z2-9]{4}", password)
    assert "no-store" in response.headers["Cache-Control"]
    person = StaffMember.objects.get(username="hanne")
    assert person.posts_by_store == {admin.store.pk: frozenset({Role.OFFICE})}
    assert authenticate(username="hanne", password=password) == person


def test_a_taken_name_is_told_beside_the_form(admin):
    StaffFactory.create(username="hanne")

    response = admin.post(
        reverse("dealership:new_person"),
        {
            "first_name": "Hanne",
            "last_name": "Virk",
            "username": "hanne",
            "store": admin.store.pk,
            "role": "office",
        },
    )

    assert response.context["form"].non_field_errors() == [
        "Somebody signs in as “hanne” already. Choose another name."
    ]
    assert StaffMember.objects.filter(username="hanne").count() == 1


def test_nobody_is_taken_on_for_a_store_that_one_does_not_keep(admin):
    elsewhere = StoreFactory.create()

    response = admin.post(
        reverse("dealership:new_person"),
        {
            "first_name": "Hanne",
            "last_name": "Virk",
            "username": "hanne",
            "store": elsewhere.pk,
            "role": "office",
        },
    )

    assert list(response.context["form"].errors) == ["store"]
    assert not StaffMember.objects.filter(username="hanne").exists()


def test_a_post_is_given_and_taken(admin):
    person = make_staff(Role.OFFICE, admin.store)

    admin.post(
        reverse("dealership:give_post", args=[person.pk]),
        {"store": admin.store.pk, "role": "technician"},
    )
    assert person.posts.count() == 2
    post = person.posts.get(role="technician")
    admin.post(reverse("dealership:take_post", args=[person.pk, post.pk]))

    assert [post.role for post in person.posts.all()] == ["office"]


def test_the_own_post_as_administrator_stays(admin):
    post = Post.objects.get(staff=admin.staff)

    response = admin.post(
        reverse("dealership:take_post", args=[admin.staff.pk, post.pk]), follow=True
    )

    assert Post.objects.filter(pk=post.pk).exists()
    assert b"This would lock you out of the staff list." in response.content


def test_a_post_of_another_person_is_not_found_under_this_one(admin):
    person = make_staff(Role.OFFICE, admin.store)
    other = make_staff(Role.OFFICE, admin.store)

    response = admin.post(
        reverse("dealership:take_post", args=[person.pk, other.posts.get().pk])
    )

    assert response.status_code == 404


def test_who_left_is_locked_out_at_once_and_let_in_again(admin, signed_in):
    theirs = signed_in(Role.OFFICE, admin.store)
    lock_out = reverse("dealership:lock_out", args=[theirs.staff.pk])

    refused = admin.post(lock_out, {"why": ""})
    assert list(refused.context["lock_form"].errors) == ["why"]
    admin.post(lock_out, {"why": "left the firm"})

    assert theirs.get("/settings/key/").status_code == 302
    assert (
        b"is locked out"
        in admin.get(reverse("dealership:person", args=[theirs.staff.pk])).content
    )
    admin.post(reverse("dealership:let_in", args=[theirs.staff.pk]))
    theirs.force_login(theirs.staff)
    assert theirs.get("/settings/key/").status_code == 200


def test_an_account_that_opens_another_store_too_is_left_alone(admin):
    person = make_staff(Role.OFFICE, admin.store, StoreFactory.create())

    response = admin.post(
        reverse("dealership:lock_out", args=[person.pk]), {"why": "left"}
    )

    person.refresh_from_db()
    assert person.is_active
    assert "also works in a store" in str(
        response.context["lock_form"].non_field_errors()
    )
    page = admin.get(reverse("dealership:person", args=[person.pk]))
    assert not page.context["may_account"]
    assert (
        admin.post(reverse("dealership:renew_password", args=[person.pk])).status_code
        == 409
    )


def test_another_password_ends_the_old_one(admin):
    person = make_staff(Role.OFFICE, admin.store)
    person.set_password("willow-path-17")
    person.save()

    response = admin.post(reverse("dealership:renew_password", args=[person.pk]))

    assert authenticate(username=person.username, password="willow-path-17") is None
    assert (
        authenticate(username=person.username, password=response.context["password"])
        == person
    )
