import pytest

from campaigns.forms.repairs import CompleteRepairForm, OpenRepairForm, ReadingForm
from campaigns.queries.repairs import job_card, repairs_with_all
from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop
from tests.factories.dealership import TODAY, make_staff


pytestmark = pytest.mark.django_db


def test_technicians_of_this_store_only():
    shop = Shop()
    make_staff(Role.TECHNICIAN)
    make_staff(Role.OFFICE, shop.store)
    advisor = make_staff(Role.SERVICE_ADVISOR, shop.store)
    offered = OpenRepairForm(store=shop.store).fields["technician"].queryset
    assert set(offered) == {shop.staff, advisor}


@pytest.mark.parametrize("value", ["44.1234", "12345678", "1,5", "∞"])
def test_a_reading_that_does_not_fit_is_refused(value):
    form = ReadingForm({"attempt": 1, "unit": "Nm", "value": value})
    assert list(form.errors) == ["value"]


def test_whom_was_asked_is_a_field_only_after_stop():
    assert "asked" not in ReadingForm().fields
    assert "asked" in ReadingForm(stopped=True).fields


@pytest.mark.parametrize(
    ("odometer", "asked"),
    [
        ("41500", set()),
        ("41499", {"odometer_why"}),
        ("999999", {"odometer_sure"}),
        ("abc", set()),
        ("1" * 40, set()),
    ],
)
def test_the_two_questions_about_the_odometer_come_when_they_arise(odometer, asked):
    shop = Shop()
    card = job_card(repairs_with_all().get(pk=shop.open().pk), today=TODAY)
    fields = set(CompleteRepairForm({"odometer": odometer}, card=card).fields)
    assert fields & {"odometer_why", "odometer_sure"} == asked
