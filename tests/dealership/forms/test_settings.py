import pytest

from dealership.forms.settings import LockOutForm, NewPersonForm, PostForm, TrailForm
from dealership.rules.roles import Role
from tests.factories.dealership import StoreFactory


@pytest.mark.django_db
def test_only_the_stores_that_one_keeps_are_offered_and_the_only_one_is_chosen():
    here = StoreFactory.create()
    StoreFactory.create()

    form = PostForm(stores=[here])

    assert list(form.fields["store"].queryset) == [here]
    assert form.fields["store"].initial == here.pk


@pytest.mark.django_db
def test_a_role_is_read_as_a_role():
    here = StoreFactory.create()

    form = PostForm({"store": here.pk, "role": "office"}, stores=[here])

    assert form.is_valid()
    assert form.cleaned_data == {"store": here, "role": Role.OFFICE}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "value"), [("role", "king"), ("username", "a b"), ("last_name", " ")]
)
def test_nonsense_is_told_beside_its_field(field, value):
    here = StoreFactory.create()
    facts = {
        "first_name": "Hanne",
        "last_name": "Virk",
        "username": "hanne",
        "store": here.pk,
        "role": "office",
    }

    form = NewPersonForm(facts | {field: value}, stores=[here])

    assert list(form.errors) == [field]


def test_a_lock_out_has_a_reason():
    assert list(LockOutForm({"why": ""}).errors) == ["why"]


def test_the_trail_may_be_looked_through_by_known_acts():
    assert TrailForm({"act": "upload.kept"}, acts=["upload.kept"]).is_valid()
    assert not TrailForm({"act": "nothing"}, acts=["upload.kept"]).is_valid()
