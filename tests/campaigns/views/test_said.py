"""The counter's sentence: what matters first, then the act."""

import pytest

from campaigns.domain.booking import book_visit
from campaigns.queries.counter import vehicle_at_counter
from campaigns.rules.lifecycle import WorkState
from campaigns.views.said import counter_sentence
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignVehicleFactory,
    PartRequestFactory,
    ScheduledItemFactory,
)
from tests.factories.dealership import NOW, TODAY, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, put_on_shelf
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = pytest.mark.django_db


def said(vehicle):
    staff = make_staff(Role.SERVICE_ADVISOR, vehicle.store)
    return counter_sentence(
        vehicle_at_counter(staff=staff, vehicle=vehicle, today=TODAY)
    )


def test_each_campaign_has_its_act():
    here, gone, vehicle = PartFactory.create(), PartFactory.create(), VehicleFactory()
    put_on_shelf(vehicle.store, here, 1)
    assert said(vehicle) == (
        "No campaign is open for this vehicle; there is nothing to do."
    )
    ScheduledItemFactory.create(due_after_months=24)
    assert said(vehicle) == (
        "No campaign is open for this vehicle; scheduled work is due."
    )
    row = CampaignVehicleFactory.create(
        campaign=campaign_with_remedy(here, code="A-1"), vehicle=vehicle
    )
    assert said(vehicle) == "1 campaign is open: book A-1 for Wed 25 Nov 2026."
    book_visit(
        key="v",
        vehicle=vehicle,
        store=vehicle.store,
        on=TODAY,
        jobs=[row],
        by=None,
        at=NOW,
        today=TODAY,
    )
    assert said(vehicle) == "1 campaign is open: A-1 is booked for Wed 25 Nov 2026."
    short = CampaignVehicleFactory.create(
        campaign=campaign_with_remedy(gone, code="B-1"), vehicle=vehicle
    )
    assert said(vehicle) == (
        "2 campaigns are open: A-1 is booked for Wed 25 Nov 2026; no part for B-1 can"
        " be promised, record the request."
    )
    PartRequestFactory.create(campaign_vehicle=short)
    assert said(vehicle).endswith("; B-1 waits for parts.")
    short.work_state = WorkState.TO_VERIFY
    short.save()
    assert said(vehicle).endswith("; verify whether B-1 concerns it.")


def test_a_vehicle_that_must_stay_says_so_first():
    vehicle = VehicleFactory.create(standing=Standing.NEW)
    CampaignVehicleFactory.create(
        campaign=campaign_with_remedy(code="A-1"), vehicle=vehicle
    )

    assert said(vehicle).startswith("Do not deliver; 1 campaign is open: ")
