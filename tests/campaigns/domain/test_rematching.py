"""New and changed vehicles, judged by what rules: taken in, never taken away."""

import pytest
from django.db.models import Q

from campaigns.domain.matching import CONFIRMED, RULED_OUT
from campaigns.domain.rematching import rematch, ruling_versions, touched_by_list
from campaigns.models import CampaignVehicle, StateChange
from campaigns.rules.lifecycle import CampaignState, VersionState, WorkState
from tests.campaigns.domain.test_applying import applied
from tests.campaigns.domain.test_matching import drafted, matched
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    ListedVinFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory
from tests.factories.vehicles import (
    VehicleChangeFactory,
    VehicleFactory,
    VehicleListFactory,
)
from vehicles.models import Vehicle


pytestmark = pytest.mark.django_db


def ruled(**criterion):
    campaign = drafted(**(criterion or {"lines": ["Corvane"]}))
    applied(matched(campaign))
    return campaign


def judge(*vehicles, wanted=None):
    (version,) = ruling_versions()
    return rematch(
        version=version,
        wanted=wanted or Q(pk__in=[vehicle.pk for vehicle in vehicles]),
        source="list June",
        by=StaffFactory.create(),
        at=NOW,
        today=TODAY,
    )


def row_of(vehicle):
    return CampaignVehicle.objects.get(vehicle=vehicle)


def test_a_new_vehicle_is_taken_in_and_no_other_is_looked_at():
    ruled()
    new, unsure, other = (
        VehicleFactory.create(),
        VehicleFactory.create(line=""),
        VehicleFactory.create(line="Helix"),
    )
    VehicleFactory.create()  # fits too, but nobody asks about it

    assert judge(new, unsure, other) == {"add": 1, "to_verify": 1}

    states = dict(CampaignVehicle.objects.values_list("vehicle", "work_state"))
    assert states == {new.pk: "open", unsure.pk: "to_verify"}
    change = StateChange.objects.get(campaign_vehicle__vehicle=new)
    assert (change.source, change.after, change.effective_on) == (
        "list June",
        "open",
        TODAY,
    )
    assert row_of(new).store == new.store
    assert judge(new, unsure, other) == {}


def test_a_fact_that_was_missing_confirms():
    ruled()
    vehicle = VehicleFactory.create(line="")
    judge(vehicle)
    Vehicle.objects.update(line="Corvane")

    assert judge(vehicle) == {"confirm": 1}
    assert row_of(vehicle).work_state == WorkState.OPEN


def test_a_fact_that_now_says_no_is_asked_and_takes_nothing_away():
    ruled()
    vehicle = VehicleFactory.create()
    judge(vehicle)
    Vehicle.objects.update(line="Helix")

    assert judge(vehicle) == {"remove": 1}
    row = row_of(vehicle)
    assert (row.work_state, row.outcome) == (WorkState.TO_VERIFY, "to_be_verified")
    assert row.reasons[0]["code"] == "line_outside"

    Vehicle.objects.update(line="Tarn Cross")
    assert judge(vehicle) == {}
    row = row_of(vehicle)
    assert row.work_state == WorkState.TO_VERIFY
    assert "Tarn Cross" in row.reasons[0]["sentence"]


def test_what_a_person_ruled_out_is_asked_again_not_opened():
    campaign = ruled()
    vehicle = VehicleFactory.create()
    CampaignVehicleFactory.create(
        campaign=campaign,
        vehicle=vehicle,
        work_state=WorkState.REMOVED,
        outcome=RULED_OUT,
    )
    assert judge(vehicle) == {"restore": 1}
    assert row_of(vehicle).work_state == WorkState.TO_VERIFY


def test_what_a_person_confirmed_stays_while_a_fact_is_missing():
    campaign = ruled()
    vehicle = VehicleFactory.create(line="")
    CampaignVehicleFactory.create(
        campaign=campaign, vehicle=vehicle, work_state=WorkState.OPEN, outcome=CONFIRMED
    )
    assert judge(vehicle) == {}


def test_a_vehicle_of_the_manufacturers_list_is_taken_in_when_it_comes():
    campaign = ruled()
    vehicle = VehicleFactory.create(line="Helix")
    ListedVinFactory.create(campaign=campaign, vin=vehicle.vin)
    assert judge(vehicle) == {"add": 1}
    assert row_of(vehicle).on_list


def test_repaired_vehicles_stay_as_they_are():
    campaign = ruled()
    vehicle = VehicleFactory.create(line="Helix")
    CampaignVehicleFactory.create(
        campaign=campaign, vehicle=vehicle, work_state=WorkState.REMEDIED_HERE
    )
    assert judge(vehicle) == {}


def test_only_the_last_version_of_a_running_campaign_rules():
    campaign = CampaignFactory.create(state=CampaignState.RUNNING)
    for number, state in enumerate(
        (VersionState.APPLIED, VersionState.APPLIED, VersionState.DRAFT), start=1
    ):
        CriteriaVersionFactory.create(campaign=campaign, number=number, state=state)
    CriteriaVersionFactory.create(
        campaign=CampaignFactory.create(state=CampaignState.CLOSED),
        state=VersionState.APPLIED,
    )
    assert [version.number for version in ruling_versions()] == [2]


def test_a_list_touches_what_it_added_or_changed():
    one = VehicleListFactory.create()
    new = VehicleFactory.create(from_upload=one.upload)
    changed = VehicleChangeFactory.create(upload=one.upload).vehicle
    VehicleFactory.create()
    found = Vehicle.objects.filter(touched_by_list(one)).order_by("pk")
    assert list(found) == [new, changed]
