"""Whatever a campaign still has open is told, each kind in its own words."""

import pytest

from campaigns.queries.leftovers import LeftKind, what_is_left
from campaigns.rules.lifecycle import ClaimState, Reach, RepairState, WorkState
from inventory.rules.accounts import DisputeState, OrderState, ReturnState
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    ClaimFactory,
    RepairFactory,
    VisitJobFactory,
)
from tests.factories.dealership import NOW, StoreFactory
from tests.factories.inventory import (
    DisputeFactory,
    GoodsReturnFactory,
    PartFactory,
    PurchaseOrderFactory,
    ShipmentFactory,
    ShipmentLineFactory,
)
from tests.factories.shelves import put_on_shelf


pytestmark = pytest.mark.django_db


def done(campaign):
    return CampaignVehicleFactory.create(
        campaign=campaign, work_state=WorkState.REMEDIED_HERE
    )


def shipment(campaign, **facts):
    return ShipmentFactory.create(earmark=campaign.earmark, **facts)


def dispute(campaign, **facts):
    line = ShipmentLineFactory.create(shipment=shipment(campaign, received_at=NOW))
    return DisputeFactory.create(shipment_line=line, **facts)


LEFT = {
    LeftKind.OPEN_VEHICLES: lambda c: CampaignVehicleFactory.create(campaign=c),
    LeftKind.VISITS: lambda c: VisitJobFactory.create(campaign_vehicle=done(c)),
    LeftKind.REPAIRS: lambda c: RepairFactory.create(
        campaign_vehicle=done(c), state=RepairState.OPEN
    ),
    LeftKind.PIECES: lambda c: put_on_shelf(
        StoreFactory.create(), PartFactory.create(), 1, c.earmark
    ),
    LeftKind.ORDERS: lambda c: PurchaseOrderFactory.create(
        earmark=c.earmark, state=OrderState.SENT
    ),
    LeftKind.SHIPMENTS: shipment,
    LeftKind.DISPUTES: dispute,
    LeftKind.RETURNS: lambda c: GoodsReturnFactory.create(
        earmark=c.earmark, state=ReturnState.SHIPPED
    ),
    LeftKind.CLAIMS: lambda c: ClaimFactory.create(
        campaign=c, state=ClaimState.SUBMITTED
    ),
}
ENDED = {
    "a vehicle out of reach": lambda c: CampaignVehicleFactory.create(
        campaign=c, reach=Reach.SCRAPPED
    ),
    "an order cancelled": lambda c: PurchaseOrderFactory.create(
        earmark=c.earmark, state=OrderState.CANCELLED
    ),
    "a delivery counted": lambda c: shipment(c, received_at=NOW),
    "a dispute settled": lambda c: dispute(c, state=DisputeState.CREDITED),
    "a return credited": lambda c: GoodsReturnFactory.create(
        earmark=c.earmark, state=ReturnState.CREDITED
    ),
    "a claim paid": lambda c: ClaimFactory.create(campaign=c, state=ClaimState.PAID),
    "another campaign's vehicle": lambda _c: CampaignVehicleFactory.create(),
}


def test_each_kind_is_tried():
    assert set(LEFT) == set(LeftKind)


@pytest.mark.parametrize("kind", LEFT)
def test_what_is_open_is_left(kind):
    campaign = CampaignFactory.create()
    LEFT[kind](campaign)

    (left,) = what_is_left(campaign)

    assert (left.kind, left.number) == (kind, 1)
    assert left.words.startswith("1 ")
    assert left.words.endswith(".")


@pytest.mark.parametrize("what", ENDED)
def test_what_has_ended_is_not(what):
    campaign = CampaignFactory.create()
    ENDED[what](campaign)

    assert what_is_left(campaign) == []
