"""What a typed text may be."""

import pytest

from campaigns.queries.find import Kind, find, looks_like_vin
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignFactory
from tests.factories.dealership import StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.vin import Grade, Market


pytestmark = pytest.mark.django_db


def found(text, store=None):
    staff = make_staff(Role.SERVICE_ADVISOR, store or StoreFactory.create())
    return find(text, staff=staff, market=Market.US)


def test_exact_numbers_come_before_beginnings():
    store = StoreFactory.create()
    CampaignFactory.create(code="KLR77")
    vehicle = VehicleFactory.create(store=store, plate="KLR7")

    answers = found("KLR7", store).answers

    assert [(one.kind, one.exact) for one in answers] == [
        (Kind.VEHICLE, True),
        (Kind.CAMPAIGN, False),
    ]
    assert found("KLR7", store).first.target == vehicle.vin


def test_equal_answers_leave_the_choice_to_a_person():
    PartFactory.create(number="OW-771-A")
    PartFactory.create(number="OW-771-B")

    assert len(found("OW-771").answers) == 2
    assert found("OW-771").first is None


def test_the_check_digit_of_an_unknown_vin_is_told():
    # 49 CFR 565.15(c): the digit of 1M8GDM9AXKP042788 is X (published example)
    right, wrong = found("1M8GDM9AXKP042788"), found("1M8GDM9A0KP042788")

    assert (right.digit_is_right, wrong.digit_is_right) == (True, False)
    assert right.unknown_vin.grade is Grade.OK
    assert wrong.unknown_vin.grade is Grade.REJECT
    assert found("IM8GDM9AXKP042788").digit_is_right is False  # I is no VIN letter


def test_a_vin_of_the_beginning_is_found_while_typing():
    store = StoreFactory.create()
    vehicle = VehicleFactory.create(store=store)

    assert found(vehicle.vin[:14], store).answers[0].target == vehicle.vin


@pytest.mark.parametrize(
    ("text", "is_one"),
    [("1M8GDM9AXKP042788", True), ("1M8GDM9AXKP04278", False), ("é" * 17, False)],
)
def test_seventeen_characters_look_like_a_vin(text, is_one):
    assert looks_like_vin(text) is is_one


def test_signs_that_nobody_sees_are_left_out():
    # PostgreSQL keeps no text with a zero byte (its manual, "Character Types")
    PartFactory.create(number="OW-771-A")

    assert found("\0OW-771\x1d-A\0").first.title == "OW-771-A"
    assert found("\0").text == ""
