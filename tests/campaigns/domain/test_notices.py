import pytest

from campaigns.domain.notices import NothingToTell, give_notice
from campaigns.models import NoticeGiven
from campaigns.rules.lifecycle import CampaignState, ToldHow, WorkState
from dealership.models import AuditEntry
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignVehicleFactory
from tests.factories.dealership import NOW, make_staff
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


@pytest.fixture
def vehicle():
    return VehicleFactory.create()


def told(vehicle, key="a press"):
    return give_notice(
        key=key,
        vehicle=vehicle,
        how=ToldHow.SPOKEN,
        by=make_staff(Role.SERVICE_ADVISOR, vehicle.store),
        at=NOW,
    )


def test_every_open_campaign_is_told_and_no_other(vehicle):
    open_ones = [
        CampaignVehicleFactory.create(vehicle=vehicle, work_state=state)
        for state in (WorkState.OPEN, WorkState.TO_VERIFY, WorkState.NEEDS_REPAIR)
    ]
    CampaignVehicleFactory.create(vehicle=vehicle, work_state=WorkState.REMEDIED_HERE)
    CampaignVehicleFactory.create(vehicle=vehicle, campaign__state=CampaignState.DRAFT)

    notice = told(vehicle)

    assert notice.campaigns == sorted(row.campaign.code for row in open_ones)
    assert notice.store == vehicle.store
    entry = AuditEntry.objects.get(act="notice.given")
    assert entry.after["campaigns"] == notice.campaigns


def test_the_same_press_again_is_the_same_notice(vehicle):
    CampaignVehicleFactory.create(vehicle=vehicle)

    assert told(vehicle) == told(vehicle)
    assert NoticeGiven.objects.count() == 1


def test_where_nothing_is_open_nothing_is_told(vehicle):
    with pytest.raises(NothingToTell, match=vehicle.vin):
        told(vehicle)

    assert not NoticeGiven.objects.exists()
