"""A campaign that wants an order, and its proposals worked out."""

from campaigns.domain.reckoning import reconcile
from campaigns.models import Replenishment
from campaigns.rules.lifecycle import ProposalState
from dealership.models import Store
from tests.factories.dealership import NOW, TODAY
from tests.factories.shelves import campaign_with_remedy, open_vehicle


def forty_open(store, part):
    """Letters went out 30 days ago; 40 vehicles are open."""
    campaign = campaign_with_remedy(part)
    for _number in range(40):
        open_vehicle(campaign, store)
    return campaign


def work_out(today=TODAY, at=NOW):
    """Look at each store, whatever the audit trail says: factories leave no line."""
    runs = [
        reconcile(today=today, at=at, store_id=store.pk).told()
        for store in Store.objects.all()
    ]
    return {name: sum(run[name] for run in runs) for name in runs[0]}


def the_open_one():
    """Give the one open proposal."""
    return Replenishment.objects.get(state=ProposalState.OPEN)
