"""The job that sets stock against open vehicles leaves its proposals."""

import pytest
from django.utils import timezone

from campaigns.domain.reckoning import RECONCILE
from campaigns.models import Replenishment
from dealership.domain.jobs import enqueue, run_job
from dealership.rules.jobs import JobState
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


def run(**arguments):
    job = enqueue(
        kind=RECONCILE, arguments=arguments, by=None, store=None, now=timezone.now()
    )
    done = run_job(job_id=job.pk, clock=timezone.now)
    assert done.state == JobState.DONE, done.error_detail
    return done


@pytest.fixture
def stores():
    """Two stores that each have vehicles waiting for one part, and no piece of it."""
    part = PartFactory.create()
    campaign = campaign_with_remedy(part)
    stores = StoreFactory.create_batch(2)
    for store in stores:
        for _number in range(5):
            open_vehicle(campaign, store)
    return stores


def stores_told():
    return sorted(Replenishment.objects.values_list("store", flat=True))


def test_all_stores_get_their_proposals(stores):
    run()

    assert stores_told() == [store.pk for store in stores]


def test_one_store_alone_may_be_asked_for(stores):
    done = run(store_id=stores[1].pk)

    assert stores_told() == [stores[1].pk]
    assert (done.progress_done, done.progress_total) == (1, 1)
