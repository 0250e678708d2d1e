"""Jobs: parts that came in, and visits that nobody came to."""

import datetime as dt

import pytest
from django.utils import timezone

from campaigns.domain.booking import book_visit
from campaigns.domain.verifying import note_remedied_elsewhere
from campaigns.models import PartRequest, Visit
from campaigns.tasks.offers import MISSED_VISITS, RECEIVED
from dealership.domain.jobs import enqueue, run_job
from dealership.models import Job
from dealership.rules.jobs import JobState
from inventory.models import Reservation
from tests.factories.campaigns import PartRequestFactory
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
)


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


def run(kind: str, at: dt.datetime = NOW, **arguments: object) -> Job:
    job = enqueue(kind=kind, arguments=arguments, by=None, store=None, now=NOW)
    run_job(job_id=job.pk, clock=lambda: at)
    job.refresh_from_db()
    return job


def test_a_receipt_keeps_promises_first_and_offers_the_rest_in_order():
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    shipment = announce(store, part, 2, on=TODAY)
    booked = open_vehicle(campaign, store)
    book_visit(
        key="v",
        vehicle=booked.vehicle,
        store=store,
        on=TODAY + dt.timedelta(days=5),
        jobs=[booked],
        by=None,
        at=NOW,
        today=TODAY,
    )
    rows = [open_vehicle(campaign, store) for _ in range(2)]
    first, second = (
        PartRequestFactory.create(
            campaign_vehicle=row, asked_on=TODAY - dt.timedelta(days=days)
        )
        for row, days in zip(rows, (8, 3), strict=True)
    )
    shipment.received_at = NOW
    shipment.save()
    put_on_shelf(store, part, 2)

    job = run(RECEIVED, shipment_id=shipment.pk)
    again = run(RECEIVED, shipment_id=shipment.pk)

    assert (job.state, job.result) == (JobState.DONE, {"offered": 1})
    assert again.result == {"offered": 0}
    assert Reservation.objects.get().state == "held"
    states = dict(PartRequest.objects.values_list("pk", "state"))
    assert (states[first.pk], states[second.pk]) == ("offered", "waiting")


def test_missed_visits_end_after_the_days_of_grace():
    store, part = StoreFactory.create(no_show_grace_days=2), PartFactory.create()
    put_on_shelf(store, part, 1)
    row = open_vehicle(campaign_with_remedy(part), store)
    visit = book_visit(
        key="v",
        vehicle=row.vehicle,
        store=store,
        on=TODAY,
        jobs=[row],
        by=None,
        at=NOW,
        today=TODAY,
    )
    days = [NOW + dt.timedelta(days=number) for number in (2, 3)]

    results = [run(MISSED_VISITS, at=at).result for at in days]

    assert results == [{"ended": 0}, {"ended": 1}]
    assert Visit.objects.get(pk=visit.pk).state == "missed"
    assert timezone.localdate(days[1]) == TODAY + dt.timedelta(days=3)


def test_a_piece_kept_for_a_vehicle_remedied_elsewhere_is_offered_to_the_next():
    store, part = StoreFactory.create(), PartFactory.create()
    put_on_shelf(store, part, 1)
    campaign = campaign_with_remedy(part)
    gone, following = (
        PartRequestFactory.create(campaign_vehicle=open_vehicle(campaign, store))
        for _number in range(2)
    )
    run(MISSED_VISITS)
    gone.refresh_from_db()
    assert gone.state == "offered"

    note_remedied_elsewhere(
        row=gone.campaign_vehicle,
        done_on=TODAY,
        source="the owner's papers",
        by=StaffFactory.create(),
        at=NOW,
    )
    run(MISSED_VISITS)

    following.refresh_from_db()
    assert following.state == "offered"
