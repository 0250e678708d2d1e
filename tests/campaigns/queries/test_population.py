"""The parts of a population: each vehicle in one of them, as the counts count it."""

import itertools

import pytest

from campaigns.models import CampaignVehicle
from campaigns.queries.population import (
    STRETCH_WORDS,
    Stretch,
    as_rows,
    changes_of,
    in_stretch,
    listed_without_vehicle,
    population,
    samples,
)
from campaigns.rules.lifecycle import Change, Reach, WorkState
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    ListedVinFactory,
    MatchedChangeFactory,
    VisitJobFactory,
)
from tests.factories.dealership import StoreFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = pytest.mark.django_db

APART = [one for one in Stretch if one is not Stretch.OWN_STOCK]


def test_each_vehicle_is_in_one_part_whatever_its_state_and_reach():
    campaign = CampaignFactory.create()
    for work, reach in itertools.product(WorkState, (Reach.REACHABLE, Reach.STOLEN)):
        CampaignVehicleFactory.create(campaign=campaign, work_state=work, reach=reach)
    booked = CampaignVehicleFactory.create(campaign=campaign)
    VisitJobFactory.create(campaign_vehicle=booked)
    rows = CampaignVehicle.objects.filter(campaign=campaign)

    found = [pk for one in APART for pk in in_stretch(rows, one).values_list("pk")]

    assert sorted(found) == sorted(rows.values_list("pk"))
    assert list(in_stretch(rows, Stretch.BOOKED)) == [booked]
    assert set(STRETCH_WORDS) == set(Stretch)


def test_own_stock_is_what_still_wants_work_and_has_no_customer():
    new = CampaignVehicleFactory.create(vehicle__standing=Standing.NEW)
    CampaignVehicleFactory.create(
        vehicle__standing=Standing.LOANER, work_state=WorkState.REMEDIED_HERE
    )
    CampaignVehicleFactory.create(vehicle__standing=Standing.CUSTOMER)

    assert list(in_stretch(CampaignVehicle.objects.all(), Stretch.OWN_STOCK)) == [new]


def test_search_by_a_piece_of_the_vin_or_the_plate_and_order():
    one = CampaignVehicleFactory.create(vehicle__model_year=2021)
    other = CampaignVehicleFactory.create(vehicle__model_year=2023)
    rows = CampaignVehicle.objects.all()

    assert list(population(rows=rows, search=f" {one.vehicle.vin[-8:].lower()} ")) == [
        one
    ]
    assert list(population(rows=rows, search=other.vehicle.plate.lower())) == [other]
    assert list(population(rows=rows, sort="-model_year")) == [other, one]
    by_vin = sorted([one, other], key=lambda row: row.vehicle.vin)
    assert list(population(rows=rows, sort="no such column")) == by_vin


def test_a_row_says_why_it_is_in_what_is_missing_and_when_it_comes():
    row = CampaignVehicleFactory.create(
        reasons=[
            {"code": "line_inside", "sentence": "The model line is asked for."},
            {"code": "serial_missing", "sentence": "The serial number is not known."},
        ]
    )
    job = VisitJobFactory.create(campaign_vehicle=row)

    (shown,) = as_rows(population(rows=CampaignVehicle.objects.all()))

    assert shown.reasons == (
        "The model line is asked for.",
        "The serial number is not known.",
    )
    assert shown.missing == ("The serial number is not known.",)
    assert shown.booked_on == job.visit.on


def test_vins_of_the_list_without_a_vehicle():
    campaign = CampaignFactory.create()
    vehicle = VehicleFactory.create()
    ListedVinFactory.create(campaign=campaign, vin=vehicle.vin)
    unknown = ListedVinFactory.create(campaign=campaign)
    ListedVinFactory.create()

    assert list(listed_without_vehicle(campaign)) == [unknown]


def test_changes_of_a_match_by_store_kind_and_search():
    version = CriteriaVersionFactory.create()
    here, there = StoreFactory.create_batch(2)
    add = MatchedChangeFactory.create(
        version=version, vehicle=VehicleFactory.create(store=here)
    )
    remove = MatchedChangeFactory.create(
        version=version,
        vehicle=VehicleFactory.create(store=here),
        change=Change.REMOVE,
    )
    far = MatchedChangeFactory.create(
        version=version, vehicle=VehicleFactory.create(store=there)
    )

    def found(**asked):
        return list(changes_of(version=version, **{"store_ids": [here.pk]} | asked))

    assert found() == [add, remove]
    assert found(store_ids=None) == [add, remove, far]
    assert found(change="remove") == [remove]
    assert found(search=add.vehicle.vin[-6:]) == [add]
    assert samples(version=version, store_ids=[here.pk], size=1) == {
        "add": [add.vehicle.vin],
        "remove": [remove.vehicle.vin],
    }
