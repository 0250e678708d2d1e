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
    form = ReadingForm({"attempt": 1, "unit": "Nm", "value": value}, unit="Nm")
    assert list(form.errors) == ["value"]


@pytest.mark.parametrize(
    ("typed", "chosen", "value", "unit"),
    [
        ("61", "mm", "61", "mm"),
        ("2.4", "in", "2.4", "in"),
        ("2.4 in", "mm", "2.4", "in"),
        ("61", "", "61", "mm"),
    ],
)
def test_a_length_comes_in_either_unit(typed, chosen, value, unit):
    data = {"attempt": 1, "unit": chosen, "value": typed}
    form = ReadingForm(data, unit="mm")
    assert form.is_valid()
    assert (str(form.cleaned_data["value"]), form.cleaned_data["unit"]) == (value, unit)


def test_a_torque_has_no_other_unit():
    form = ReadingForm({"attempt": 1, "unit": "in", "value": "45"}, unit="Nm")
    assert list(form.errors) == ["unit"]
    assert ReadingForm(unit="Nm")["unit"].is_hidden


def test_whom_was_asked_is_a_field_only_after_stop():
    assert "asked" not in ReadingForm(unit="Nm").fields
    assert "asked" in ReadingForm(unit="Nm", stopped=True).fields


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
