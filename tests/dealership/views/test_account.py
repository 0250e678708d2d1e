"""The door: sign-in, second step, the own password; and what is not open."""

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    generate_totp_secret,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.core.cache import cache
from django.urls import NoReverseMatch, reverse

from dealership.models import StaffMember
from dealership.rules.roles import Role
from tests.factories.dealership import make_staff


pytestmark = pytest.mark.django_db
PASSWORD = "willow-path-17-east"


@pytest.fixture
def person():
    person = make_staff(Role.OFFICE)
    person.set_password(PASSWORD)
    person.save()
    return person


def sign_in(client, person, password=PASSWORD):
    return client.post(
        reverse("account_login"), {"login": person.username, "password": password}
    )


def code_of(secret):
    counter = next(iter(yield_hotp_counters_from_time()))
    return format_hotp_value(hotp_value(secret, counter))


def test_name_and_password_open_the_door(client, person):
    response = sign_in(client, person)

    assert response.url == "/"
    assert client.session["_auth_user_id"] == str(person.pk)


def test_a_wrong_password_does_not(client, person):
    response = sign_in(client, person, "willow")

    assert response.context["form"].errors
    assert "_auth_user_id" not in client.session


@pytest.mark.usefixtures("frozen_now")
def test_with_a_second_step_the_password_is_not_enough(client, person):
    secret = generate_totp_secret()
    TOTP.activate(person, secret)

    response = sign_in(client, person)
    assert response.url == reverse("mfa_authenticate")
    assert "_auth_user_id" not in client.session

    assert client.get(response.url).status_code == 200
    wrong = client.post(response.url, {"code": "000000"})
    assert wrong.context["form"].errors
    client.post(response.url, {"code": code_of(secret)})
    assert client.session["_auth_user_id"] == str(person.pk)


def test_a_recovery_code_opens_the_door_once(client, person):
    TOTP.activate(person, generate_totp_secret())
    code = RecoveryCodes.activate(person).get_unused_codes()[0]

    sign_in(client, person)
    client.post(reverse("mfa_authenticate"), {"code": code})
    assert client.session["_auth_user_id"] == str(person.pk)

    client.logout()
    sign_in(client, person)
    again = client.post(reverse("mfa_authenticate"), {"code": code})
    assert again.context["form"].errors


def test_nobody_signs_up(client):
    response = client.post(
        reverse("account_signup"),
        {"username": "somebody", "password1": PASSWORD, "password2": PASSWORD},
    )

    assert "account/signup_closed.html" in [t.name for t in response.templates]
    assert not StaffMember.objects.exists()


@pytest.mark.parametrize(
    "name", ["account_email", "account_reset_password", "account_confirm_login_code"]
)
def test_there_is_no_way_in_by_mail(name):
    with pytest.raises(NoReverseMatch):
        reverse(name)


def test_the_own_password_is_changed(client, person):
    client.force_login(person)

    response = client.post(
        reverse("account_change_password"),
        {
            "oldpassword": PASSWORD,
            "password1": "harbour-stone-22",
            "password2": "harbour-stone-22",
        },
    )

    person.refresh_from_db()
    assert response.status_code == 302
    assert person.check_password("harbour-stone-22")


def test_a_short_password_is_refused(client, person):
    client.force_login(person)

    response = client.post(
        reverse("account_change_password"),
        {"oldpassword": PASSWORD, "password1": "short", "password2": "short"},
    )

    person.refresh_from_db()
    assert response.context["form"].errors
    assert person.check_password(PASSWORD)


def test_the_pages_of_the_second_step_stand(client, person):
    client.force_login(person)

    assert client.get(reverse("mfa_index")).status_code == 200
    # Setting it up asks for the password once more.
    assert client.get(reverse("mfa_activate_totp")).url.startswith(
        reverse("account_reauthenticate")
    )


def test_who_is_locked_out_cannot_sign_in(client, person):
    StaffMember.objects.filter(pk=person.pk).update(is_active=False)

    response = sign_in(client, person)

    assert "_auth_user_id" not in client.session
    assert response.url == reverse("account_inactive")


def test_guessing_is_slowed_down(client, person, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "3/5m/key"}
    cache.clear()

    for _guess in range(3):
        sign_in(client, person, "guess")
    right_but_late = sign_in(client, person)

    assert right_but_late.context["form"].errors
    assert "_auth_user_id" not in client.session
    cache.clear()


def test_the_back_room_has_the_same_door(client, person):
    response = client.get("/admin/")
    assert response.url.startswith("/accounts/login/") or response.url.startswith(
        "/admin/login/"
    )
    assert client.get("/admin/login/").url.startswith(reverse("account_login"))

    client.force_login(person)
    assert client.get("/admin/login/").status_code == 403
