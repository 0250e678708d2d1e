"""What a person decides about one vehicle: each with a reason, each kept."""

import datetime as dt

import pytest

from campaigns.domain.announcing import ReasonMissing
from campaigns.domain.lifecycle import DayAhead, MoveNotAllowed
from campaigns.domain.verifying import (
    NothingRules,
    NotOwnStock,
    OnlyEmissions,
    confirm_vehicle,
    disqualify_vehicle,
    judge_again,
    note_remedied_elsewhere,
    plan_own_stock,
    reopen_vehicle,
    rule_out_vehicle,
)
from campaigns.models import StateChange
from campaigns.rules.lifecycle import CampaignClass, VersionState, WorkState
from dealership.models import AuditEntry
from tests.campaigns.domain.test_booking import book, free
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    CriterionFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = pytest.mark.django_db


def unsure(**facts):
    return CampaignVehicleFactory.create(
        work_state=WorkState.TO_VERIFY, outcome="to_be_verified", **facts
    )


def told(**facts):
    return {"by": StaffFactory.create(), "at": NOW} | facts


@pytest.mark.parametrize(
    ("decide", "state", "outcome"),
    [
        (confirm_vehicle, WorkState.OPEN, "confirmed"),
        (rule_out_vehicle, WorkState.REMOVED, "ruled_out"),
    ],
)
def test_a_person_decides_with_a_reason(decide, state, outcome):
    row = unsure()

    with pytest.raises(ReasonMissing):
        decide(row=row, **told(why=" "))
    change = decide(row=row, **told(why="plate under the bonnet"))

    row.refresh_from_db()
    assert (row.work_state, row.outcome) == (state, outcome)
    assert (change.before, change.after, change.why) == (
        WorkState.TO_VERIFY,
        state,
        "plate under the bonnet",
    )
    assert AuditEntry.objects.filter(act="campaign_vehicle.moved").count() == 1


def test_a_remedied_vehicle_is_not_ruled_out():
    row = CampaignVehicleFactory.create(work_state=WorkState.REMEDIED_HERE)

    with pytest.raises(MoveNotAllowed, match=row.vehicle.vin):
        rule_out_vehicle(row=row, **told(why="wrong vehicle"))
    assert not StateChange.objects.exists()


@pytest.mark.parametrize(
    ("year", "state"), [(2022, WorkState.OPEN), (2019, WorkState.REMOVED)]
)
def test_a_corrected_fact_is_matched_again(year, state):
    campaign = CampaignFactory.create()
    version = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED
    )
    CriterionFactory.create(version=version, model_years=[2022], lines=["Corvane"])
    row = unsure(campaign=campaign, vehicle=VehicleFactory.create(model_year=year))

    judge_again(row=row, **told())

    row.refresh_from_db()
    assert row.work_state == state


def test_a_fact_still_missing_changes_the_reasons_only():
    campaign = CampaignFactory.create()
    version = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED
    )
    CriterionFactory.create(version=version, model_years=[2022], lines=["Corvane"])
    row = unsure(campaign=campaign, vehicle=VehicleFactory.create(model_year=None))

    assert judge_again(row=row, **told()) is None

    row.refresh_from_db()
    assert row.work_state == WorkState.TO_VERIFY
    assert "model_year_missing" in {reason["code"] for reason in row.reasons}


def test_without_criteria_in_force_nothing_is_judged():
    with pytest.raises(NothingRules):
        judge_again(row=unsure(), **told())


def test_work_elsewhere_wants_its_source_and_a_day_that_has_come():
    row = CampaignVehicleFactory.create()
    day = TODAY - dt.timedelta(days=3)

    with pytest.raises(ReasonMissing):
        note_remedied_elsewhere(row=row, **told(done_on=day, source=""))
    with pytest.raises(DayAhead):
        note_remedied_elsewhere(
            row=row, **told(done_on=TODAY + dt.timedelta(days=1), source="status list")
        )
    change = note_remedied_elsewhere(row=row, **told(done_on=day, source="status list"))

    assert (change.after, change.effective_on, change.source) == (
        WorkState.REMEDIED_ELSEWHERE,
        day,
        "status list",
    )


def test_what_was_noted_wrongly_is_opened_again():
    row = CampaignVehicleFactory.create(work_state=WorkState.REMEDIED_ELSEWHERE)

    reopen_vehicle(row=row, **told(why="it was another vehicle"))

    row.refresh_from_db()
    assert row.work_state == WorkState.OPEN


def test_what_was_remedied_here_is_not_opened_by_hand():
    row = CampaignVehicleFactory.create(work_state=WorkState.REMEDIED_HERE)

    with pytest.raises(MoveNotAllowed):
        reopen_vehicle(row=row, **told(why="it came back"))


def test_only_an_emissions_recall_disqualifies():
    """40 CFR 1068.525 (from memory) speaks of emissions recalls only."""
    safety = CampaignVehicleFactory.create()
    emissions = CampaignVehicleFactory.create(
        campaign__campaign_class=CampaignClass.EMISSIONS
    )

    with pytest.raises(OnlyEmissions):
        disqualify_vehicle(row=safety, **told(why="tampered with"))
    disqualify_vehicle(row=emissions, **told(why="tampered with"))

    emissions.refresh_from_db()
    assert emissions.work_state == WorkState.DISQUALIFIED


def test_own_stock_gets_a_day_that_may_be_taken_back():
    row = CampaignVehicleFactory.create(vehicle__standing=Standing.NEW)

    for day in (TODAY, None):
        assert plan_own_stock(row=row, **told(on=day)).planned_on == day
    trail = AuditEntry.objects.filter(act="campaign_vehicle.planned")
    assert [entry.after for entry in trail.order_by("pk")] == [
        {"planned_on": "2026-11-25"},
        {"planned_on": None},
    ]


@pytest.mark.parametrize(
    ("standing", "state"),
    [
        (Standing.CUSTOMER, WorkState.OPEN),
        (Standing.NEW, WorkState.REMEDIED_HERE),
    ],
)
def test_no_day_for_a_customers_vehicle_or_one_that_is_done(standing, state):
    row = CampaignVehicleFactory.create(vehicle__standing=standing, work_state=state)

    with pytest.raises(NotOwnStock, match=row.vehicle.vin):
        plan_own_stock(row=row, **told(on=TODAY))


def test_a_vehicle_remedied_elsewhere_gives_its_held_parts_back():
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=2)
    put_on_shelf(store, part, 5, campaign.earmark)
    row = open_vehicle(campaign, store)
    book(row, on=TODAY + dt.timedelta(days=5))
    assert free(store, part) == 3

    note_remedied_elsewhere(row=row, **told(done_on=TODAY, source="status list"))
    assert free(store, part) == 5
