"""A first batch: what papers and pieces do not agree in, and whom the pieces cover."""

import pytest

from campaigns.queries.coverage import DIFFERENCE_WORDS, campaign_parts
from campaigns.rules.lifecycle import Reach, WorkState
from inventory.rules.accounts import DisputeKind, DisputeState
from tests.factories.campaigns import AllocationFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import (
    BillFactory,
    BillLineFactory,
    DisputeFactory,
    PartFactory,
    ShipmentFactory,
    ShipmentLineFactory,
)
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
)


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def batch(store, part, *, billed=40, price=4_250, sent=40, good=None, damaged=None):
    """Announce 40 pieces at 42.50; bill, send and count them as told."""
    campaign = campaign_with_remedy(part)
    bill = BillFactory.create(store=store)
    BillLineFactory.create(bill=bill, part=part, quantity=billed, unit_cost_cents=price)
    shipment = ShipmentFactory.create(
        store=store, received_at=None if good is None else NOW
    )
    counted = (
        {}
        if good is None
        else {"good": good, "damaged": damaged, "short": sent - good - damaged}
    )
    line = ShipmentLineFactory.create(
        shipment=shipment, part=part, sent=sent, **counted
    )
    AllocationFactory.create(
        campaign=campaign, store=store, part=part, bill=bill, shipment=shipment
    )
    return campaign, line


def parts_of(campaign, store):
    return campaign_parts(campaign=campaign, store=store, today=TODAY)


def test_papers_that_agree_leave_no_difference(store, part):
    campaign, _line = batch(store, part)

    told = parts_of(campaign, store)

    (row,) = told.batches
    assert (row.billed, row.billed_cents, row.sent) == (40, 170_000, 40)
    assert not row.is_received
    assert told.differences == []
    assert not told.counted


@pytest.mark.parametrize(
    ("papers", "told"),
    [
        ({"billed": 42, "sent": 42}, ("billed_more", 2, 8_500)),
        ({"billed": 38, "sent": 38}, ("billed_less", 2, 8_500)),
        ({"price": 4_300}, ("price", 40, 2_000)),
        ({"sent": 37}, ("sent_less", 3, 12_750)),
    ],
)
def test_each_difference_of_the_papers_is_told_in_cents(store, part, papers, told):
    campaign, _line = batch(store, part, **papers)

    (found,) = parts_of(campaign, store).differences

    assert (found.kind, found.pieces, found.cents) == told
    assert found.words == DIFFERENCE_WORDS[found.kind]


def test_disputes_keep_their_last_date_while_open(store, part):
    campaign, line = batch(store, part, good=37, damaged=1)
    DisputeFactory.create(shipment_line=line, kind=DisputeKind.SHORT, quantity=2)
    DisputeFactory.create(
        shipment_line=line,
        kind=DisputeKind.DAMAGED,
        quantity=1,
        state=DisputeState.CREDITED,
    )

    told = parts_of(campaign, store)

    assert sorted((one.kind, one.cents) for one in told.differences) == [
        ("damaged", 4_250),
        ("short", 8_500),
    ]
    assert [one.kind for one in told.unsettled] == ["short"]
    assert told.counted


def test_cover_counts_whole_vehicles_on_hand_and_with_what_comes(store, part):
    campaign = campaign_with_remedy(part, pieces=2)
    for _number in range(4):
        open_vehicle(campaign, store)
    open_vehicle(campaign, store, reach=Reach.EXPORTED)
    open_vehicle(campaign, store, work_state=WorkState.REMEDIED_HERE)
    open_vehicle(campaign, store, work_state=WorkState.REMOVED)
    put_on_shelf(store, part, 3, campaign.earmark)
    put_on_shelf(store, part, 2)
    announce(store, part, 1, on=TODAY, earmark=campaign.earmark)

    (cover,) = parts_of(campaign, store).covers

    assert (cover.usable, cover.coming, cover.per_vehicle) == (5, 1, 2)
    assert (cover.open_vehicles, cover.population) == (4, 6)
    assert (cover.covered, cover.covered_with_coming, cover.uncovered) == (2, 3, 2)


def test_pieces_of_another_store_or_earmark_cover_nobody_here(store, part):
    campaign = campaign_with_remedy(part)
    open_vehicle(campaign, store)
    put_on_shelf(StoreFactory.create(), part, 9)
    put_on_shelf(store, part, 9, campaign_with_remedy(part).earmark)

    (cover,) = parts_of(campaign, store).covers

    assert (cover.usable, cover.covered) == (0, 0)
