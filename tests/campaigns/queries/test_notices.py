import datetime as dt

import pytest

from campaigns.models import Repair
from campaigns.queries.notices import can_be_proven, notices_of, told_in
from campaigns.rules.lifecycle import CampaignClass, Outcome, RepairState, WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignVehicleFactory,
    NoticeGivenFactory,
    RepairFactory,
)
from tests.factories.dealership import TODAY, make_staff
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


def test_safety_is_told_first_and_what_is_not_free_is_said():
    vehicle = VehicleFactory.create(odometer=90_000)
    past = CampaignVehicleFactory.create(
        vehicle=vehicle,
        campaign__campaign_class=CampaignClass.SATISFACTION,
        campaign__odometer_limit=60_000,
    )
    safety = CampaignVehicleFactory.create(
        vehicle=vehicle,
        vehicle__first_use_date=TODAY,
        campaign__campaign_class=CampaignClass.SAFETY,
    )
    codes = [past.campaign.code, safety.campaign.code]
    notice = NoticeGivenFactory.create(vehicle=vehicle, campaigns=codes)

    told = told_in(notice, today=TODAY)

    assert [(one.campaign, one.is_safety) for one in told] == [
        (safety.campaign, True),
        (past.campaign, False),
    ]
    assert not told[1].is_free


def test_notices_are_read_latest_first_and_only_in_ones_stores():
    notice = NoticeGivenFactory.create()
    later = NoticeGivenFactory.create(vehicle=notice.vehicle, store=notice.store)
    mine = make_staff(Role.SERVICE_ADVISOR, notice.store)
    other = make_staff(Role.SERVICE_ADVISOR, VehicleFactory.create().store)

    assert notices_of(notice.vehicle, staff=mine) == [later, notice]
    assert notices_of(notice.vehicle, staff=other) == []


@pytest.mark.parametrize(
    ("outcome", "state", "proven"),
    [
        (Outcome.REMEDIED, WorkState.REMEDIED_HERE, True),
        (Outcome.INSPECTED_CLEAR, WorkState.INSPECTED_CLEAR, True),
        (Outcome.NEEDS_REPAIR, WorkState.NEEDS_REPAIR, False),
        (Outcome.REMEDIED, WorkState.OPEN, False),
    ],
)
def test_a_proof_wants_work_that_is_done_and_still_counts(outcome, state, proven):
    row = CampaignVehicleFactory.create(work_state=state)
    repair = RepairFactory.create(
        vehicle=row.vehicle,
        store=row.store,
        campaign_vehicle=row,
        state=RepairState.COMPLETED,
        outcome=outcome,
        odometer=12_000,
        done_on=TODAY - dt.timedelta(days=1),
    )

    assert can_be_proven(repair) is proven


def test_a_remedy_that_was_undone_proves_nothing_though_a_second_one_does():
    row = CampaignVehicleFactory.create(work_state=WorkState.REMEDIED_HERE)
    facts = {
        "vehicle": row.vehicle,
        "store": row.store,
        "campaign_vehicle": row,
        "done": True,
    }
    undone = RepairFactory.create(
        **facts, undone_at=dt.datetime(2026, 11, 20, 9, tzinfo=dt.UTC)
    )
    second = RepairFactory.create(**facts, variant=undone.variant)

    assert (can_be_proven(undone), can_be_proven(second)) == (False, True)


def test_work_that_the_customer_pays_has_no_proof_of_a_campaign():
    assert not can_be_proven(Repair(outcome=Outcome.REMEDIED))
