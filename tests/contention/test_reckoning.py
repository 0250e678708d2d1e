"""Several runs over the same stores at the same moment, and a person beside them."""

import datetime as dt

import pytest

from campaigns.domain.reckoning import Worked, reconcile
from campaigns.domain.replenishment import accept
from campaigns.models import Replenishment
from campaigns.rules.lifecycle import ProposalState
from inventory.models import PurchaseOrder
from tests.contention.test_reserving import at_once
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle


pytestmark = [
    pytest.mark.both,
    pytest.mark.committing,
    pytest.mark.usefixtures("committing_db"),
]

TOMORROW = TODAY + dt.timedelta(days=1)


@pytest.fixture
def stores():
    """Two stores with ten vehicles each that wait for two parts."""
    stores = StoreFactory.create_batch(2)
    for _number in range(2):
        campaign = campaign_with_remedy(PartFactory.create())
        for store in stores:
            for _vehicle in range(10):
                open_vehicle(campaign, store)
    return stores


def open_now():
    rows = Replenishment.objects.filter(state=ProposalState.OPEN)
    return sorted(rows.values_list("store", "part"))


def test_four_runs_at_once_leave_one_proposal_a_part(stores):
    results = at_once(*(lambda: reconcile(today=TODAY, at=NOW) for _number in range(4)))
    assert all(isinstance(one, Worked) for one in results), results
    assert len(open_now()) == len(set(open_now())) == 4
    assert Replenishment.objects.count() == 4


def test_runs_on_a_new_day_beside_a_decision(stores):
    """The decision holds, its order is placed once, and every part has an answer."""
    reconcile(today=TODAY, at=NOW)
    mine = Replenishment.objects.order_by("pk").first()
    results = at_once(
        lambda: reconcile(today=TOMORROW, at=NOW),
        lambda: accept(key="k", proposal=mine, by=None, at=NOW),
        lambda: reconcile(today=TOMORROW, at=NOW),
    )
    assert isinstance(results[0], Worked)
    assert isinstance(results[2], Worked)
    mine.refresh_from_db()
    decided = mine.state == ProposalState.ACCEPTED
    assert decided or mine.state == ProposalState.SUPERSEDED
    assert PurchaseOrder.objects.count() == decided
    for store in stores:  # what was left to the next run
        reconcile(today=TOMORROW, at=NOW, store_id=store.pk)
    assert len(open_now()) == len(set(open_now())) == 4
