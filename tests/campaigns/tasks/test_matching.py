"""Vehicles that come in are judged by the campaigns that run, by the job itself."""

import datetime as dt

import pytest

from campaigns.domain.reckoning import RECONCILE
from campaigns.models import CampaignVehicle, StateChange
from dealership.domain.jobs import run_job
from dealership.models import Job
from dealership.rules.jobs import JobState
from tests.campaigns.domain.test_rematching import ruled
from tests.factories.dealership import NOW
from tests.factories.vehicles import VehicleFactory, invented_vin
from tests.vehicles.conftest import Counter, csv_of
from vehicles.domain.applying import VEHICLES_APPLIED, announce


pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def judge():
    job = Job.objects.filter(kind=VEHICLES_APPLIED).latest("created_at")
    return run_job(job_id=job.pk, clock=lambda: NOW)


def test_the_vehicles_of_a_list_are_judged_once_it_is_applied():
    ruled(lines=["Corvane"])
    counter = Counter()
    rows = (f"{invented_vin(1)},Corvane", f"{invented_vin(2)},Helix")
    counter.take_in(csv_of(*rows, headers="VIN,Model"))
    VehicleFactory.create(vin=invented_vin(3))

    job = judge()

    assert (job.state, job.result) == (JobState.DONE, {"add": 1})
    row = CampaignVehicle.objects.get()
    assert (row.vehicle.vin, row.work_state) == (invented_vin(1), "open")
    assert StateChange.objects.get().source == "list list.csv"


def test_after_an_import_the_proposals_of_all_stores_are_worked_out():
    """Asked for once, due when the minute is over."""
    ruled(lines=["Corvane"])
    Counter().take_in(csv_of(f"{invented_vin(1)},Corvane", headers="VIN,Model"))
    judge()
    asked = Job.objects.get(kind=RECONCILE)
    assert (asked.store, asked.arguments) == (None, {})
    assert NOW < asked.due_at <= NOW + dt.timedelta(minutes=1)


def test_a_vehicle_changed_by_hand_is_judged_by_itself():
    ruled(lines=["Corvane"])
    one, _other = VehicleFactory.create_batch(2)
    announce(store=one.store, by=None, at=NOW, vehicle_ids=[one.pk])

    assert judge().result == {"add": 1}
    assert CampaignVehicle.objects.get().vehicle == one
