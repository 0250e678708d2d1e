"""A day's appointments, as an advisor meets them."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from campaigns.models import Visit
from dealership.rules.roles import Role
from inventory.models import Reservation
from tests.factories.campaigns import WorkshopHoursFactory
from tests.factories.dealership import TODAY
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

PAGE = reverse("campaigns:appointments")
HOLD = reverse("campaigns:hold_appointments")
TOMORROW = TODAY + dt.timedelta(days=1)


def paste(client, *lines, day=TOMORROW):
    text = "\n".join(lines)
    return client.post(PAGE, {"day": day.isoformat(), "lines": text}, follow=True)


def hold(client, **facts):
    return client.post(HOLD, {"key": str(uuid.uuid4()), **facts}, follow=True)


@pytest.fixture
def morning(signed_in):
    """An advisor, and two open vehicles of which one finds its part."""
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(client.store, part, 1)
    client.rows = [open_vehicle(campaign, client.store) for _number in range(2)]
    return client


def test_the_list_comes_back_with_what_each_vehicle_wants(morning):
    quiet = VehicleFactory.create(store=morning.store)

    page = paste(
        morning,
        quiet.vin,
        f"9:15 {morning.rows[0].vehicle.vin}",
        f"8:30 {morning.rows[1].vehicle.vin}",
        "1M8GDM9A1KP042788",
    )

    said = page.content.decode()
    assert [line.vehicle for line in page.context["lines"]] == [
        morning.rows[0].vehicle,
        morning.rows[1].vehicle,
        None,
        quiet,
    ]
    assert "2 of 4 vehicles on" in said
    assert "hold the parts of 1 now." in said
    assert "Hold the parts of 1 vehicle" in said
    assert "09:15" in said


def test_one_press_holds_the_parts_that_are_there(morning):
    paste(morning, *(f"9:15 {row.vehicle.vin}" for row in morning.rows))

    page = hold(morning)

    (visit,) = Visit.objects.all()
    assert (visit.on, visit.at) == (TOMORROW, dt.time(9, 15))
    assert Reservation.objects.get().state == "held"
    assert "The parts of 1 vehicle are held for" in page.content.decode()
    assert page.context["to_hold"] == 0


def test_the_list_says_how_full_the_day_is_and_warns(morning):
    friday = TOMORROW + dt.timedelta(days=1)
    paste(morning, morning.rows[0].vehicle.vin, day=friday)
    said = morning.get(PAGE).content.decode()
    assert "Planned that day: 0.00 of 40.00 h." in said
    assert "Holding the parts of this list adds 0.80 h." in said
    assert "the hours do not suffice" not in said

    WorkshopHoursFactory.create(
        store=morning.store, weekday=friday.isoweekday(), hundredths_of_hour=50
    )

    assert "the hours do not suffice: mechanical" in morning.get(PAGE).content.decode()
    hold(morning)
    assert Visit.objects.get().on == friday


def test_a_second_press_changes_nothing(morning):
    paste(morning, morning.rows[0].vehicle.vin)
    key = str(uuid.uuid4())

    hold(morning, key=key)
    hold(morning, key=key)

    assert Visit.objects.count() == 1


def test_a_list_without_a_vehicle_is_refused_and_what_was_typed_is_kept(morning):
    page = morning.post(PAGE, {"day": TOMORROW.isoformat(), "lines": " \n "})

    assert page.status_code == 400
    assert "No line of the list names a vehicle." in page.content.decode()


def test_a_press_without_a_list_asks_for_it_again(morning):
    page = hold(morning)

    assert "The list is gone. Paste it again." in page.content.decode()
    assert not Visit.objects.exists()


def test_a_past_day_is_refused(morning):
    page = paste(morning, morning.rows[0].vehicle.vin, day=TODAY - dt.timedelta(days=1))

    assert page.status_code == 400
    assert "has passed. Choose today or a later day." in page.content.decode()
    assert page.context["lines"] == []


def test_a_technician_looks_and_holds_nothing(signed_in):
    client = signed_in(Role.TECHNICIAN)
    part = PartFactory.create()
    put_on_shelf(client.store, part, 1)
    row = open_vehicle(campaign_with_remedy(part), client.store)

    page = paste(client, row.vehicle.vin)

    assert page.context["lines"][0].vehicle == row.vehicle
    assert "Hold the parts of" not in page.content.decode()
    assert client.post(HOLD).status_code == 403
