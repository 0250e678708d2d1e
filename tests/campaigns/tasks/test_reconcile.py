"""The job that sets stock against open vehicles leaves its proposals."""

import datetime as dt

import pytest
from django.utils import timezone

from campaigns.domain import reckoning
from campaigns.domain.reckoning import RECONCILE
from campaigns.models import Replenishment
from campaigns.tasks.reconcile import HELP_KIND
from config.celery import TIMETABLE
from dealership.domain.jobs import ask_timed, enqueue, run_job
from dealership.models import Job
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


def test_over_many_stores_another_worker_is_asked_to_help(stores, monkeypatch):
    monkeypatch.setattr(reckoning, "READ_AT_ONCE", 1)
    run()
    helper = Job.objects.get(kind=HELP_KIND)
    done = run_job(job_id=helper.pk, clock=timezone.now)
    assert done.state == JobState.DONE, done.error_detail
    assert stores_told() == [store.pk for store in stores]


def test_over_a_few_stores_nobody_is_asked(stores):
    run()
    assert not Job.objects.filter(kind=HELP_KIND).exists()


def test_it_runs_every_night(stores):
    """At two in the morning by the house's clock, on the timetable of the queue."""
    zone = timezone.get_current_timezone()
    night = dt.datetime(2026, 11, 26, 2, 5, tzinfo=zone)
    mine = [one for one in TIMETABLE if one.kind == RECONCILE]
    (asked,) = ask_timed(timetable=mine, now=night, zone=zone)
    run_job(job_id=asked.pk, clock=lambda: night)
    assert stores_told() == [store.pk for store in stores]
    assert set(Replenishment.objects.values_list("made_on", flat=True)) == {
        night.date()
    }


def test_one_store_alone_may_be_asked_for(stores):
    done = run(store_id=stores[1].pk)

    assert stores_told() == [stores[1].pk]
    assert (done.progress_done, done.progress_total) == (1, 1)
