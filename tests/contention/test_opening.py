"""Two people open the work on the same vehicle at the same moment."""

import pytest

from campaigns.domain.repairs import RepairAlreadyOpen, open_repair
from campaigns.models import Repair
from tests.contention.test_reserving import at_once
from tests.factories.dealership import NOW, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf


pytestmark = [
    pytest.mark.both,
    pytest.mark.committing,
    pytest.mark.usefixtures("committing_db"),
]


def test_one_opens_it_and_the_others_learn_the_order():
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 5, campaign.earmark)
    row = open_vehicle(campaign, store)
    variant = campaign.remedy.variants.get()

    def open_it(key):
        return open_repair(
            key=key,
            store=store,
            campaign_vehicle=row,
            variant=variant,
            by=None,
            at=NOW,
        )

    results = at_once(*(lambda key=key: open_it(key) for key in "abcd"))

    opened = [one for one in results if isinstance(one, Repair)]
    refused = [one for one in results if isinstance(one, RepairAlreadyOpen)]
    assert (len(opened), len(refused)) == (1, 3)
    assert opened[0].repair_order in str(refused[0].sentence)
    assert Repair.objects.count() == 1
