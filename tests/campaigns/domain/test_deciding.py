"""Facts found out, and decisions where list and criteria disagree."""

import datetime as dt

import pytest
from django.db.models import Q

from campaigns.domain.announcing import ReasonMissing
from campaigns.domain.deciding import (
    NothingChosen,
    NothingFoundOut,
    SettledMeanwhile,
    decide_many,
    find_out,
)
from campaigns.domain.rematching import rematch
from campaigns.domain.verifying import judge_again
from campaigns.models import StateChange, VisitJob
from campaigns.rules.lifecycle import VersionState, WorkState
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    CriterionFactory,
    ListedVinFactory,
    VisitJobFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.models import VehicleChange


pytestmark = pytest.mark.django_db

DISAGREE = [
    {"code": "on_list", "sentence": "The VIN is on the manufacturer's list."},
    {"code": "criteria_disagree", "sentence": "The criteria would leave it out."},
]
UNLISTED = [{"code": "criteria_met_not_on_list", "sentence": "Not on the list."}]


@pytest.fixture
def campaign():
    """Give a campaign that asks for Corvanes of 2022 built in September 2021."""
    campaign = CampaignFactory.create()
    version = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED
    )
    CriterionFactory.create(
        version=version,
        build_from=dt.date(2021, 9, 1),
        build_to=dt.date(2021, 9, 30),
    )
    return campaign


def in_campaign(campaign, store, *, work=WorkState.TO_VERIFY, reasons=(), **facts):
    vehicle = VehicleFactory.create(store=store, **facts)
    outcome = "to_be_verified" if work is WorkState.TO_VERIFY else "affected"
    return CampaignVehicleFactory.create(
        campaign=campaign,
        vehicle=vehicle,
        work_state=work,
        outcome=outcome,
        reasons=list(reasons),
    )


def told(row, **facts):
    source = facts.pop("source", "door plate")
    return find_out(row=row, facts=facts, source=source, by=StaffFactory(), at=NOW)


def decided(campaign, store, rows, *, belongs, why="asked the maker"):
    return decide_many(
        campaign=campaign,
        store=store,
        row_ids=[row.pk for row in rows],
        belongs=belongs,
        why=why,
        by=StaffFactory(),
        at=NOW,
    )


@pytest.mark.parametrize(
    ("day", "state"),
    [
        (dt.date(2021, 9, 30), WorkState.OPEN),
        (dt.date(2021, 10, 1), WorkState.REMOVED),
    ],
)
def test_a_fact_that_was_found_out_settles_the_vehicle(campaign, day, state):
    row = in_campaign(campaign, StoreFactory(), build_date=None)
    row = told(row, build_date=day, plant="")
    assert row.work_state == state
    change = VehicleChange.objects.get(vehicle=row.vehicle)
    assert (change.field, change.after) == ("build_date", day.isoformat())


def test_without_a_fact_or_its_source_nothing_is_kept(campaign):
    row = in_campaign(campaign, StoreFactory(), build_date=None)
    with pytest.raises(NothingFoundOut):
        told(row, build_date=None)
    with pytest.raises(ReasonMissing):
        told(row, build_date=dt.date(2021, 9, 2), source=" ")
    assert not VehicleChange.objects.exists()


def test_vehicles_off_the_list_are_decided_together(campaign):
    store = StoreFactory()
    rows = [in_campaign(campaign, store, reasons=UNLISTED) for _n in range(2)]
    assert decided(campaign, store, rows, belongs=True) == 2
    for row in rows:
        row.refresh_from_db()
        assert (row.work_state, row.outcome) == (WorkState.OPEN, "confirmed")


def test_a_listed_vehicle_stays_in_by_a_decision_that_is_kept(campaign):
    store = StoreFactory()
    row = in_campaign(campaign, store, work=WorkState.OPEN, reasons=DISAGREE)
    decided(campaign, store, [row], belongs=True, why="maker says yes")
    row.refresh_from_db()
    assert (row.work_state, row.outcome) == (WorkState.OPEN, "confirmed")
    change = StateChange.objects.get(campaign_vehicle=row)
    assert (change.before, change.after, change.why) == (
        "open",
        "open",
        "maker says yes",
    )
    with pytest.raises(SettledMeanwhile):
        decided(campaign, store, [row], belongs=False)


def test_a_listed_vehicle_taken_out_loses_its_booking_and_stays_out(campaign):
    store = StoreFactory()
    row = in_campaign(
        campaign,
        store,
        work=WorkState.OPEN,
        reasons=DISAGREE,
        build_date=dt.date(2020, 1, 1),
    )
    row.on_list = True
    row.save()
    ListedVinFactory.create(campaign=campaign, vin=row.vehicle.vin, store=store)
    job = VisitJobFactory.create(campaign_vehicle=row, visit__store=store)
    decided(campaign, store, [row], belongs=False)
    row.refresh_from_db()
    assert (row.work_state, row.outcome) == (WorkState.REMOVED, "ruled_out")
    assert not VisitJob.objects.get(pk=job.pk).live
    # what list and criteria say is what they said: the decision stands
    assert judge_again(row=row, by=StaffFactory(), at=NOW) is None
    version = campaign.versions.get()
    counts = rematch(
        version=version,
        wanted=Q(pk=row.vehicle_id),
        source="",
        by=None,
        at=NOW,
        today=TODAY,
    )
    row.refresh_from_db()
    assert (counts, row.work_state) == ({}, WorkState.REMOVED)


def test_all_or_none_are_decided(campaign):
    store = StoreFactory()
    waiting = in_campaign(campaign, store, reasons=UNLISTED)
    settled = in_campaign(campaign, store, work=WorkState.OPEN)
    elsewhere = in_campaign(campaign, StoreFactory(), reasons=UNLISTED)
    for other in (settled, elsewhere):
        with pytest.raises(SettledMeanwhile):
            decided(campaign, store, [waiting, other], belongs=False)
    with pytest.raises(NothingChosen):
        decided(campaign, store, [], belongs=True)
    with pytest.raises(ReasonMissing):
        decided(campaign, store, [waiting], belongs=True, why=" ")
    waiting.refresh_from_db()
    assert waiting.work_state == WorkState.TO_VERIFY
