import uuid

from django.test import RequestFactory

from dealership.views.presses import key_of


def press(**sent):
    return RequestFactory().post("/", sent)


def test_the_key_of_the_form_is_given_as_it_is_kept():
    key = uuid.uuid4()

    assert key_of(press(key=str(key).upper())) == str(key)


def test_a_press_without_a_key_is_one_of_its_own():
    first, again = key_of(press()), key_of(press(key="no key"))

    assert first != again
    assert str(uuid.UUID(first)) == first
