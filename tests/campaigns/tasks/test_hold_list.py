"""The nightly check of all stores."""

import pytest

from campaigns.models import StockChange, StockCheck
from campaigns.tasks.hold_list import CHECK_STOCK
from config.celery import TIMETABLE
from dealership.domain.jobs import enqueue, run_waiting
from dealership.rules.jobs import JobState
from tests.factories.campaigns import CampaignVehicleFactory
from tests.factories.dealership import NOW, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


def test_every_store_is_checked_and_a_second_run_tells_nothing_new():
    for _number in range(2):
        vehicle = VehicleFactory.create(store=StoreFactory.create(), standing="new")
        CampaignVehicleFactory.create(vehicle=vehicle)

    for turn in range(2):
        job = enqueue(
            kind=CHECK_STOCK,
            arguments={},
            by=None,
            store=None,
            now=NOW,
            unique_key=f"turn {turn}",
        )
        run_waiting(clock=lambda: NOW)
        job.refresh_from_db()
        assert job.state == JobState.DONE
        assert job.result["held"] == 2

    assert StockChange.objects.count() == 2
    assert StockCheck.objects.filter(changes__isnull=False).count() == 2


def test_it_stands_in_the_timetable_before_the_doors_open():
    (timed,) = [one for one in TIMETABLE if one.kind == CHECK_STOCK]

    assert timed.hour is not None
    assert timed.hour < 7
