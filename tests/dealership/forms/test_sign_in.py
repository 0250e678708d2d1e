from django.test import RequestFactory

from dealership.forms.sign_in import StaffOnlyAdapter


def test_nobody_signs_up():
    request = RequestFactory().get("/accounts/signup/")

    assert not StaffOnlyAdapter(request).is_open_for_signup(request)
