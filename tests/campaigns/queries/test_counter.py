"""The counter's facts, in the order in which they matter."""

import datetime as dt

import pytest

from campaigns.queries.counter import vehicle_at_counter
from campaigns.rules.deadlines import HandOver
from campaigns.rules.lifecycle import CampaignClass, WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignVehicleFactory
from tests.factories.dealership import TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, put_on_shelf
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = pytest.mark.django_db


def at(vehicle):
    staff = make_staff(Role.SERVICE_ADVISOR, vehicle.store)
    return vehicle_at_counter(staff=staff, vehicle=vehicle, today=TODAY)


def test_what_must_not_leave_comes_first_then_the_class():
    vehicle = VehicleFactory.create(standing=Standing.NEW)
    for code, facts in (
        ("A", {"campaign_class": CampaignClass.SERVICE_ACTION}),
        ("B", {"campaign_class": CampaignClass.SATISFACTION, "stop_sale": True}),
        ("C", {"campaign_class": CampaignClass.EMISSIONS}),
    ):
        CampaignVehicleFactory.create(
            campaign=campaign_with_remedy(code=code, **facts), vehicle=vehicle
        )

    found = at(vehicle)

    assert [one.campaign.code for one in found.campaigns] == ["B", "C", "A"]
    assert found.must_not_be_handed_over
    assert found.campaigns[0].hand_over.verdict is HandOver.MUST_NOT


def test_reach_never_hides_open_work():
    vehicle = VehicleFactory.create()
    CampaignVehicleFactory.create(
        campaign=campaign_with_remedy(), vehicle=vehicle, reach="exported"
    )

    assert len(at(vehicle).campaigns) == 1


def test_done_campaigns_stand_apart():
    vehicle = VehicleFactory.create()
    row = CampaignVehicleFactory.create(
        campaign=campaign_with_remedy(),
        vehicle=vehicle,
        work_state=WorkState.INSPECTED_CLEAR,
    )

    found = at(vehicle)

    assert (found.campaigns, found.closed) == ((), (row,))


def test_without_parts_the_request_is_the_act_and_with_them_the_booking():
    part, vehicle = PartFactory.create(), VehicleFactory.create()
    CampaignVehicleFactory.create(campaign=campaign_with_remedy(part), vehicle=vehicle)
    (one,) = at(vehicle).campaigns
    assert (one.can_be_booked, one.can_be_asked, one.earliest) == (False, True, None)

    put_on_shelf(vehicle.store, part, 1)
    (one,) = at(vehicle).campaigns
    assert (one.can_be_booked, one.can_be_asked, one.earliest) == (True, False, TODAY)


def test_sixty_days_run_from_the_first_request_of_a_safety_recall():
    # 49 USC 30120(c): 60 days after presentation
    vehicle = VehicleFactory.create()
    CampaignVehicleFactory.create(
        campaign=campaign_with_remedy(parts_available_on=dt.date(2026, 10, 1)),
        vehicle=vehicle,
        first_asked_on=dt.date(2026, 11, 1),
    )

    (one,) = at(vehicle).campaigns

    assert one.period.last_day == dt.date(2026, 12, 31)


def test_a_fleet_of_35_rental_vehicles_is_held_within_a_day():
    # 49 USC 30102(a)(1) and 30120(i)(3)
    store = StoreFactory.create()
    fleet = VehicleFactory.create_batch(35, store=store, standing=Standing.RENTAL)
    CampaignVehicleFactory.create(campaign=campaign_with_remedy(), vehicle=fleet[0])

    (one,) = at(fleet[0]).campaigns

    assert one.hand_over.verdict is HandOver.MUST_NOT
