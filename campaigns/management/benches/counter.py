"""One VIN at the counter: the address of the API, against the least it could do."""

from __future__ import annotations

import datetime as dt
import random
from typing import TYPE_CHECKING, Any

from django.db import connection
from django.utils import timezone
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory, force_authenticate
from rest_framework.throttling import BaseThrottle
from rest_framework.views import APIView

from campaigns.api.vehicles import VehicleView
from campaigns.management.benches.measuring import (
    Result,
    median_seconds,
    throw_away_house,
)
from campaigns.models import Campaign, CampaignVehicle
from campaigns.models.words import CLASS_WORDS
from campaigns.rules.lifecycle import WorkState
from dealership.models import Post, StaffMember, Store
from dealership.rules.roles import Role
from inventory.models import Earmark, Supplier
from vehicles.models import Vehicle
from vehicles.rules.vin import check_digit


if TYPE_CHECKING:
    from collections.abc import Callable

    from rest_framework.request import Request

VEHICLES = {"small": 2_000, "full": 100_000}
ASKED = {"small": 150, "full": 2_000}
CAMPAIGNS = 5
_SQL = """
SELECT v.vin, v.line, v.model_year, c.code, c.title, cv.work_state
FROM vehicles_vehicle v
LEFT JOIN campaigns_campaignvehicle cv ON cv.vehicle_id = v.id
LEFT JOIN campaigns_campaign c ON c.id = cv.campaign_id
WHERE v.vin = %s
"""


class _Unhurried(BaseThrottle):
    """Let everybody pass: the bench asks faster than a person may."""

    def allow_request(self, request: Request, view: APIView) -> bool:
        """Let it pass."""
        del request, view
        return True


class Ours(VehicleView):
    """Our own view, without the limit on how often one may ask."""

    throttle_classes = (_Unhurried,)


class Constant(APIView):
    """A view that looks nothing up: the frame alone."""

    throttle_classes = (_Unhurried,)

    def get(self, request: Request, vin: str) -> Response:
        """Give the same answer every time."""
        del request
        return Response({"vin": vin, "open_campaigns": []})


class RawSql(APIView):
    """A view with one statement and no rule."""

    throttle_classes = (_Unhurried,)

    def get(self, request: Request, vin: str) -> Response:
        """Give what the statement gives."""
        del request
        with connection.cursor() as cursor:
            cursor.execute(_SQL, [vin])
            rows = cursor.fetchall()
        return Response({"vin": vin, "open_campaigns": [list(row) for row in rows]})


def run(size: str) -> Result:
    """Ask for many VINs, one after the other, three ways."""
    with throw_away_house():
        vins, staff = _furnish(VEHICLES[size])
        chance = random.Random(7)  # noqa: S311 (the same questions every time)
        asked = [chance.choice(vins) for _time in range(ASKED[size])]
        taken = {
            view.__name__: median_seconds(_asker(view.as_view(), asked, staff))
            for view in (Constant, RawSql, Ours)
        }
    return Result(
        name="counter",
        size=size,
        items=ASKED[size],
        seconds=taken["Ours"],
        yardsticks={"constant_view": taken["Constant"], "raw_sql": taken["RawSql"]},
    )


def _asker(
    view: Callable[..., Response], vins: list[str], staff: StaffMember
) -> Callable[[], None]:
    factory = APIRequestFactory()

    def ask() -> None:
        for vin in vins:
            request = factory.get(f"/api/v1/vehicles/{vin}/")
            force_authenticate(request, user=staff)
            answer: Any = view(request, vin=vin)
            answer.render()
            assert answer.status_code == 200, answer.data  # noqa: PLR2004 (HTTP: OK)

    return ask


def _furnish(count: int) -> tuple[list[str], StaffMember]:
    """Make vehicles of which every second is open in one of a few campaigns."""
    now, today = timezone.now(), timezone.localdate()
    store = Store.objects.create(code="BENCH", name="Bench store")
    staff = StaffMember.objects.create(username="bench")
    Post.objects.create(staff=staff, store=store, role=Role.SERVICE_ADVISOR)
    vehicles = Vehicle.objects.bulk_create(
        Vehicle(
            vin=_vin(number),
            store=store,
            kind="light",
            model_year=2022,
            line="Corvane",
            first_use_date=today - dt.timedelta(days=900),
            created_at=now,
            changed_at=now,
        )
        for number in range(count)
    )
    supplier = Supplier.objects.create(code="OW", name="Ostby Works")
    classes = list(CLASS_WORDS)
    campaigns = [
        Campaign.objects.create(
            code=f"B{number}",
            maker="Ostby Works",
            maker_number=f"OW26-{number}",
            title="Seat rail bolts",
            campaign_class=classes[number % len(classes)],
            state="running",
            supplier=supplier,
            earmark=Earmark.objects.create(code=f"B{number}"),
            announced_on=today,
            made_at=now,
        )
        for number in range(CAMPAIGNS)
    ]
    CampaignVehicle.objects.bulk_create(
        CampaignVehicle(
            campaign=campaigns[number % CAMPAIGNS],
            vehicle=vehicle,
            store=store,
            work_state=WorkState.OPEN,
            outcome="in",
            added_on=today,
        )
        for number, vehicle in enumerate(vehicles[::2])
    )
    return [vehicle.vin for vehicle in vehicles], staff


def _vin(number: int) -> str:
    head, tail = "1U0KTRA4", f"N1{number:06}"
    return f"{head}{check_digit(f'{head}0{tail}')}{tail}"
