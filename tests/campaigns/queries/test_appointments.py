import datetime as dt

import pytest

from campaigns.queries.appointments import Stand, appointments_of
from campaigns.rules.appointments import read_lines
from campaigns.rules.lifecycle import CampaignClass, WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignVehicleFactory,
    RepairFactory,
    ScheduledItemFactory,
    VisitFactory,
    VisitJobFactory,
)
from tests.factories.dealership import TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
)
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db

TOMORROW = TODAY + dt.timedelta(days=1)


@pytest.fixture
def store():
    return StoreFactory.create()


def look(store, *vehicles, day=TOMORROW):
    staff = make_staff(Role.SERVICE_ADVISOR, store)
    text = "\n".join(getattr(one, "vin", one) for one in vehicles)
    return appointments_of(
        staff=staff, store=store, listed=read_lines(text), day=day, today=TODAY
    )


def test_what_wants_doing_comes_first_and_nothing_open_last(store):
    part, later = PartFactory.create(), PartFactory.create()
    put_on_shelf(store, part, 5)
    announce(store, later, 5, on=TODAY + dt.timedelta(days=9))
    safety = campaign_with_remedy(part, campaign_class=CampaignClass.SAFETY)
    service = campaign_with_remedy(part, campaign_class=CampaignClass.SERVICE_ACTION)
    waits = campaign_with_remedy(later)
    rows = [open_vehicle(one, store) for one in (waits, service, safety)]
    quiet = VehicleFactory.create(store=store)

    lines = look(store, quiet, "NOBODY123", *(row.vehicle for row in rows))

    assert [(line.vehicle, line.stand) for line in lines] == [
        (rows[2].vehicle, Stand.CAN_HOLD),
        (rows[1].vehicle, Stand.CAN_HOLD),
        (rows[0].vehicle, Stand.LATER),
        (None, Stand.UNKNOWN),
        (quiet, Stand.NOTHING),
    ]
    assert lines[0].hundredths_of_hour == 80
    # A receipt counts from the opening of the next working day.
    assert lines[2].jobs[0].there.earliest > TOMORROW


def test_a_piece_is_offered_to_one_line_only(store):
    part = PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 1)
    rows = [open_vehicle(campaign, store) for _number in range(2)]

    lines = look(store, *(row.vehicle for row in rows))

    assert sorted(line.stand for line in lines) == [Stand.CAN_HOLD, Stand.LATER]


def test_booked_in_work_and_to_verify_are_told_apart(store):
    booked, in_work, unsure = (
        CampaignVehicleFactory.create(
            store=store, vehicle=VehicleFactory.create(store=store), work_state=state
        )
        for state in (WorkState.OPEN, WorkState.OPEN, WorkState.TO_VERIFY)
    )
    visit = VisitFactory.create(store=store, vehicle=booked.vehicle)
    VisitJobFactory.create(visit=visit, campaign_vehicle=booked)
    RepairFactory.create(store=store, vehicle=in_work.vehicle, campaign_vehicle=in_work)

    stands = {
        line.vehicle: line.stand
        for line in look(store, booked.vehicle, in_work.vehicle, unsure.vehicle)
    }

    assert stands == {
        booked.vehicle: Stand.HELD,
        in_work.vehicle: Stand.IN_WORK,
        unsure.vehicle: Stand.TO_VERIFY,
    }


def test_a_vehicle_is_found_by_its_last_eight_and_its_plate(store):
    one, other = VehicleFactory.create_batch(2, store=store)

    lines = look(store, one.vin_tail, f"9:15, {other.plate}")

    assert {line.vehicle for line in lines} == {one, other}
    assert {line.appointment.hour for line in lines} == {None, dt.time(9, 15)}


def test_a_plate_of_two_vehicles_is_left_to_a_person(store):
    VehicleFactory.create_batch(2, store=store, plate="TWO 222")

    (line,) = look(store, "TWO 222")

    assert line.stand is Stand.UNKNOWN


def test_a_vehicle_of_another_store_is_said_to_be_elsewhere(store):
    (line,) = look(store, VehicleFactory.create())

    assert (line.stand, line.why_unknown) == (Stand.UNKNOWN, "elsewhere")


def test_what_is_wrong_with_a_vin_is_said_and_of_a_plate_nothing(store):
    by_code = {
        line.appointment.codes[0]: line.why_unknown
        for line in look(store, "1M8GDM9A1KP042788", "NOBODY123")
    }

    assert "The check digit at position 9" in by_code["1M8GDM9A1KP042788"]
    assert by_code["NOBODY123"] == ""


def test_scheduled_work_that_is_due_is_named(store):
    item = ScheduledItemFactory.create(due_after_months=12, due_after_miles=None)
    used = TODAY - dt.timedelta(days=800)
    vehicle = VehicleFactory.create(store=store, first_use_date=used)

    (line,) = look(store, vehicle)

    assert [due.item for due in line.due] == [item]


@pytest.mark.parametrize("count", [1, 3])
def test_more_vehicles_take_no_more_queries(store, count, django_assert_num_queries):
    part = PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 5)
    rows = [open_vehicle(campaign, store) for _number in range(count)]
    staff = make_staff(Role.SERVICE_ADVISOR, store)
    staff.store_ids()
    listed = read_lines("\n".join(row.vehicle.vin for row in rows))

    with django_assert_num_queries(21):
        appointments_of(
            staff=staff, store=store, listed=listed, day=TOMORROW, today=TODAY
        )
