import datetime as dt

import pytest

from campaigns.rules.lifecycle import VisitState
from dealership.domain.jobs import enqueue, run_job
from dealership.rules.jobs import JobState
from inventory.domain.reserving import reserve
from inventory.models import Reservation
from inventory.rules.accounts import ReservationState
from tests.factories.campaigns import VisitFactory, VisitJobFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.inventory.books import deliver, stand


pytestmark = pytest.mark.django_db


def run(kind, now=NOW):
    job = enqueue(kind=kind, arguments={}, by=None, store=None, now=now)
    return run_job(job_id=job.pk, clock=lambda: now)


def promised(store, part, subject):
    return reserve(
        key=subject,
        store=store,
        part=part,
        quantity=2,
        earmarks=[None],
        subject=subject,
        needed_on=TODAY,
        today=TODAY,
        by=None,
        at=NOW,
    )[0]


@pytest.mark.parametrize(
    ("state", "on", "kept"),
    [
        (VisitState.BOOKED, 0, False),
        (VisitState.MISSED, 0, False),
        (VisitState.ARRIVED, 0, True),
        (VisitState.BOOKED, 9, True),
    ],
)
def test_only_who_does_not_come_loses_the_parts(state, on, kept):
    store, part = StoreFactory.create(no_show_grace_days=2), PartFactory.create()
    deliver(store, part, 4)
    visit = VisitFactory.create(store=store, state=state, on=TODAY + dt.timedelta(on))
    job = VisitJobFactory.create(visit=visit)
    row = promised(store, part, job.subject)
    assert run("inventory.lapse", NOW + dt.timedelta(days=2)).state == JobState.DONE
    row.refresh_from_db()
    assert row.state == ReservationState.HELD
    run("inventory.lapse", NOW + dt.timedelta(days=3))
    row.refresh_from_db()
    assert (row.state == ReservationState.HELD) is kept
    assert stand(store, part)[:2] == ((2, 2) if kept else (4, 0))
    assert Reservation.objects.count() == 1
