"""Needs of several stores, read from their proposals, and shares in words."""

import pytest

from campaigns.domain.reckoning import reconcile
from campaigns.queries.sharing import claimants_of, explained, shared_parts
from dealership.rules.roles import Role
from inventory.forecasting.sharing import Claimant, Share, ShareReason, share_out
from tests.factories.campaigns import PartRequestFactory, ReplenishmentFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf


pytestmark = pytest.mark.django_db


@pytest.fixture
def group():
    """Two stores want two pieces a vehicle; the first has three and one who waits."""
    stores = [StoreFactory.create(code=code) for code in ("N1", "N2")]
    part = PartFactory.create(pack=1)
    campaign = campaign_with_remedy(part, pieces=2)
    for store, vehicles in zip(stores, (4, 6), strict=True):
        for _number in range(vehicles):
            row = open_vehicle(campaign, store)
    PartRequestFactory.create(campaign_vehicle=row)
    put_on_shelf(stores[1], part, 3)
    reconcile(today=TODAY, at=NOW)
    return stores, part


def test_needs_count_all_vehicles_and_who_waits(group):
    stores, part = group
    staff = make_staff(Role.PARTS_MANAGER, *stores)

    assert shared_parts(staff) == [part]
    assert claimants_of(staff, part) == [
        (stores[0], Claimant(code="N1", vehicles=4, need=8, have=0)),
        (stores[1], Claimant(code="N2", vehicles=7, need=12, have=3)),
    ]
    alone = make_staff(Role.PARTS_MANAGER, stores[0])
    assert shared_parts(alone) == []
    assert [store for store, _one in claimants_of(alone, part)] == [stores[0]]


def test_a_part_of_no_campaign_is_not_shared():
    stores = StoreFactory.create_batch(2)
    part = PartFactory.create()
    for store in stores:
        ReplenishmentFactory.create(store=store, part=part, facts={"campaigns": []})
    assert shared_parts(make_staff(Role.PARTS_MANAGER, *stores)) == []


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (ShareReason.NOTHING_WANTED, "has the 40 pieces that it needs"),
        (ShareReason.NEED_MET, "gets all that it needs for 20 vehicles"),
        (ShareReason.LEAST, "has none yet, so one pack comes first"),
        (
            ShareReason.HAS_ITS_SHARE,
            "its 10 pieces are its share already (12.3 by its vehicles)",
        ),
        (
            ShareReason.SHARE,
            (
                "12.3 of all pieces by its vehicles, what it has included; whole packs come"
                " nearest so; 25 short"
            ),
        ),
    ],
)
def test_each_reason_in_words(reason, words):
    claimant = Claimant(code="N1", vehicles=20, need=40, have=10)
    share = Share(
        claimant=claimant, packs=1, pieces=5, most_packs=6, exact=12.34, reason=reason
    )
    store = StoreFactory.build()
    assert explained([(store, claimant)], [share])[0].words == words


def test_shares_stand_beside_their_stores(group):
    stores, part = group
    claimants = claimants_of(make_staff(Role.PARTS_MANAGER, *stores), part)
    shares = share_out([one for _store, one in claimants], 6)
    rows = explained(claimants, shares)
    assert [(row.store, row.share.pieces) for row in rows] == [
        (stores[0], 3),
        (stores[1], 3),
    ]
