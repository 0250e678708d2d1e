"""A campaign is closed when everything is explained, and opened again with a reason."""

import pytest

from campaigns.domain.announcing import ReasonMissing
from campaigns.domain.closing import (
    CampaignCannotMove,
    SomethingLeft,
    close_campaign,
    reopen_campaign,
)
from campaigns.models import Campaign
from campaigns.queries.leftovers import LeftKind
from campaigns.rules.lifecycle import CampaignState, Reach, WorkState
from dealership.models import AuditEntry
from tests.factories.campaigns import CampaignFactory, CampaignVehicleFactory
from tests.factories.dealership import NOW, StaffFactory


pytestmark = pytest.mark.django_db


def close(campaign):
    return close_campaign(
        campaign=campaign, why="all explained", by=StaffFactory.create(), at=NOW
    )


def reopen(campaign, why="a vehicle came back"):
    return reopen_campaign(campaign=campaign, why=why, by=StaffFactory.create(), at=NOW)


@pytest.fixture
def ended():
    """Two vehicles done, one exported."""
    campaign = CampaignFactory.create()
    for facts in (
        {"work_state": WorkState.REMEDIED_HERE},
        {"work_state": WorkState.INSPECTED_CLEAR},
        {"reach": Reach.EXPORTED},
    ):
        CampaignVehicleFactory.create(campaign=campaign, **facts)
    return campaign


def test_closing_keeps_how_far_it_came(ended):
    closed = close(ended)

    entry = AuditEntry.objects.get(act="campaign.closed")
    assert (closed.state, closed.closed_at) == (CampaignState.CLOSED, NOW)
    assert entry.why == "all explained"
    counts = entry.after["by_category"]
    assert entry.after["involved"] == 3
    assert (counts["remedied"], counts["inspected_clear"], counts["exported"]) == (
        1,
        1,
        1,
    )
    assert sum(counts.values()) == 3


def test_closing_again_changes_nothing(ended):
    close(ended)
    close(ended)

    assert AuditEntry.objects.filter(act="campaign.closed").count() == 1


def test_an_open_vehicle_keeps_it_open(ended):
    CampaignVehicleFactory.create(campaign=ended)

    with pytest.raises(SomethingLeft, match="1 vehicle is open") as refused:
        close(ended)
    assert [one.kind for one in refused.value.left] == [LeftKind.OPEN_VEHICLES]
    assert Campaign.objects.get(pk=ended.pk).state == CampaignState.RUNNING


def test_one_that_never_ran_is_not_closed():
    with pytest.raises(CampaignCannotMove):
        close(CampaignFactory.create(state=CampaignState.DRAFT))


def test_it_runs_again_with_a_reason_only(ended):
    close(ended)

    with pytest.raises(ReasonMissing):
        reopen(ended, why="  ")
    again = reopen(ended)

    assert (again.state, again.closed_at) == (CampaignState.RUNNING, None)
    reopen(ended)
    assert AuditEntry.objects.filter(act="campaign.reopened").count() == 1
