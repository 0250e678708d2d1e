"""One vehicle at the counter: found by each key, and answered with its campaigns.

The yardsticks stand behind the same middleware, sign-in and store scope: a view that
looks nothing up, and one with a single bare statement. A view before which nobody
signs in shows what the sign-in costs.
"""

from __future__ import annotations

import datetime as dt
import io
import random
import time
from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, ClassVar

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core.wsgi import get_wsgi_application
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import override_settings
from django.urls import include, path
from django.utils import timezone
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle
from rest_framework.views import APIView

from campaigns.api.vehicles import VehicleView
from campaigns.management.benches.measuring import (
    Result,
    on_postgres,
    throw_away_house,
)
from campaigns.models import (
    Campaign,
    CampaignVehicle,
    Remedy,
    Variant,
    VariantPart,
)
from campaigns.models.words import CLASS_WORDS
from campaigns.rules.lifecycle import WorkState
from dealership.models import Post, StaffMember, Store
from dealership.rules.roles import Role
from inventory.models import Balance, Earmark, Part, Supplier
from vehicles.models import Party, Tenure, Vehicle
from vehicles.queries.vehicles import search
from vehicles.rules.vin import check_digit


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from django.http import HttpRequest
    from rest_framework.request import Request

VEHICLES = {"small": 2_000, "full": 1_000_000}
ASKED = {"small": 150, "full": 2_000}
CAMPAIGNS = 5
_BATCH = 10_000
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
    """A view that looks nothing up: the frame and the sign-in alone."""

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


@login_not_required
def unsigned(request: HttpRequest, vin: str) -> HttpResponse:
    """Answer anybody, with the frame alone."""
    del request
    return HttpResponse(vin)


urlpatterns = [
    path("bench/constant_view/<str:vin>/", Constant.as_view()),
    path("bench/raw_sql/<str:vin>/", RawSql.as_view()),
    path("bench/ours/<str:vin>/", Ours.as_view()),
    path("bench/unsigned/<str:vin>/", unsigned),
    path("", include("config.urls")),
]


@dataclass(frozen=True, slots=True)
class _Times:
    """Seconds that each question took, the shortest first."""

    sorted_seconds: Sequence[float]

    _PARTS: ClassVar[int] = 100

    @property
    def whole(self) -> float:
        """Give the seconds of all questions."""
        return sum(self.sorted_seconds)

    def at(self, percent: int) -> float:
        """Give the seconds within which so many of a hundred were answered."""
        last = len(self.sorted_seconds) - 1
        return self.sorted_seconds[last * percent // self._PARTS]

    def told(self) -> dict[str, float]:
        """Give requests a second, and the middle and slow times in milliseconds."""
        return {
            "a_second": round(len(self.sorted_seconds) / self.whole, 1),
            "p50_ms": round(self.at(50) * 1000, 3),
            "p95_ms": round(self.at(95) * 1000, 3),
        }


WAYS = ("unsigned", "constant_view", "raw_sql", "ours")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Measured:
    """What one database gave: each way of asking, the bare statement, each key."""

    views: Mapping[str, _Times]
    bare: _Times
    found: Mapping[str, _Times]

    def ratios(self) -> dict[str, float]:
        """Give requests a second against each view, and the room left at p95.

        The last is the constant view's p95 with that of the bare statement, over our
        own p95: at least 0.5 keeps ours within twice the two together.
        """
        ours, constant = self.views["ours"], self.views["constant_view"]
        return {
            "constant_view": constant.whole / ours.whole,
            "raw_sql": self.views["raw_sql"].whole / ours.whole,
            "p95_of_constant_and_select": (constant.at(95) + self.bare.at(95))
            / ours.at(95),
        }

    def told(self) -> dict[str, object]:
        """Give all figures of one database."""
        return {
            "ratios": {name: round(one, 4) for name, one in self.ratios().items()},
            "views": {way: times.told() for way, times in self.views.items()},
            "bare_select": self.bare.told(),
            "found_by": {key: times.told() for key, times in self.found.items()},
        }


def run(size: str) -> Result:
    """Ask for many VINs four ways and find by each key, on SQLite and PostgreSQL."""
    measured: dict[str, _Measured] = {}
    if connection.vendor == "sqlite":
        measured["sqlite"] = _of_a_database(size)
    with on_postgres() as there:
        if there:
            measured["postgresql"] = _of_a_database(size)
    first = next(iter(measured.values()))
    seconds = first.views["ours"].whole
    return Result(
        name="counter",
        size=size,
        items=ASKED[size],
        seconds=seconds,
        yardsticks={name: one * seconds for name, one in first.ratios().items()},
        details={name: one.told() for name, one in measured.items()},
    )


def _of_a_database(size: str) -> _Measured:
    """Furnish a house and ask it, one question after the other."""
    here = override_settings(
        ROOT_URLCONF="campaigns.management.benches.counter",
        ALLOWED_HOSTS=["testserver"],
    )
    with throw_away_house(), here:
        vins, staff = _furnish(VEHICLES[size])
        chance = random.Random(7)  # noqa: S311 (the same questions every time)
        asked = [chance.choice(vins) for _time in range(ASKED[size])]
        cookie = _cookie(staff)
        # Round by round, so that a busy moment of the machine meets all of them.
        seconds: dict[str, list[float]] = {way: [] for way in WAYS}
        for way in WAYS:
            _ask(way, asked[:20], cookie)
        for start in range(0, len(asked), 50):
            for way in WAYS:
                seconds[way] += _ask(way, asked[start : start + 50], cookie)
        return _Measured(
            views={way: _Times(sorted(taken)) for way, taken in seconds.items()},
            bare=_Times(sorted(_timed(_bare_select, asked))),
            found={key: _Times(sorted(taken)) for key, taken in _found(vins, staff)},
        )


def _cookie(staff: StaffMember) -> str:
    """Sign somebody in, and give what the browser sends from then on."""
    client = Client()
    client.force_login(staff)
    name = settings.SESSION_COOKIE_NAME
    return f"{name}={client.cookies[name].value}"


def _ask(way: str, vins: Sequence[str], cookie: str) -> list[float]:
    """Send each question through the whole of the web application."""
    handler = get_wsgi_application() if not _HANDLER else _HANDLER[0]
    _HANDLER[:] = [handler]

    def ask(vin: str) -> None:
        answered: list[str] = []
        environ = {
            "REQUEST_METHOD": "GET",
            "PATH_INFO": f"/bench/{way}/{vin}/",
            "SERVER_NAME": "testserver",
            "SERVER_PORT": "443",
            "SERVER_PROTOCOL": "HTTP/1.1",
            "REMOTE_ADDR": "127.0.0.1",
            "HTTP_ACCEPT": "application/json",
            "wsgi.url_scheme": "https",
            "wsgi.input": io.BytesIO(),
        }
        if way != "unsigned":
            environ["HTTP_COOKIE"] = cookie

        def start(status: str, *_rest: object) -> Any:  # noqa: ANN401 (WSGI's writer)
            answered.append(status)

        response = handler(environ, start)
        for _piece in response:
            pass
        response.close()
        assert answered == [f"{HTTPStatus.OK.value} OK"], answered

    return list(_timed(ask, vins))


_HANDLER: list[Any] = []


def _bare_select(vin: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(_SQL, [vin])
        cursor.fetchall()


def _timed(work: Callable[[str], object], words: Iterable[str]) -> Iterable[float]:
    """Do something for each word and give the seconds of each."""
    for word in words:
        start = time.perf_counter()
        work(word)
        yield time.perf_counter() - start


def _found(
    vins: Sequence[str], staff: StaffMember
) -> Iterable[tuple[str, list[float]]]:
    """Search by each key that people have, as the box of every page does."""
    chance = random.Random(8)  # noqa: S311 (the same questions every time)
    rows = [chance.randrange(len(vins)) for _time in range(100)]
    keys = {
        "vin": [vins[row] for row in rows],
        "last_8": [vins[row][-8:] for row in rows],
        "plate": [_plate(row) for row in rows],
        "owner": [_name(row) for row in rows],
    }
    for key, words in keys.items():
        assert search(words[0], staff), f"{key}: nothing is found"
        yield key, list(_timed(lambda word: search(word, staff), words))


def _furnish(count: int) -> tuple[list[str], StaffMember]:
    """Make vehicles with owners, every second open in one of a few campaigns."""
    now, today = timezone.now(), timezone.localdate()
    store = Store.objects.create(code="BENCH", name="Bench store")
    staff = StaffMember.objects.create(username="bench")
    Post.objects.create(staff=staff, store=store, role=Role.SERVICE_ADVISOR)
    campaigns = _campaigns(store, today, now)
    vins = []
    for first in range(0, count, _BATCH):
        numbers = range(first, min(first + _BATCH, count))
        made = [_vin(number) for number in numbers]
        vins += made
        vehicles = Vehicle.objects.bulk_create(
            Vehicle(
                vin=vin,
                store=store,
                kind="light",
                model_year=2022,
                line="Corvane",
                plate=_plate(number),
                first_use_date=today - dt.timedelta(days=900),
                created_at=now,
                changed_at=now,
            )
            for number, vin in zip(numbers, made, strict=True)
        )
        owners = Party.objects.bulk_create(
            Party(store=store, name=_name(n), name_folded=_name(n).lower())
            for n in numbers
        )
        Tenure.objects.bulk_create(
            Tenure(vehicle=vehicle, party=party)
            for vehicle, party in zip(vehicles, owners, strict=True)
        )
        CampaignVehicle.objects.bulk_create(
            CampaignVehicle(
                campaign=campaigns[vehicle.pk % CAMPAIGNS],
                vehicle=vehicle,
                store=store,
                work_state=WorkState.OPEN,
                outcome="in",
                added_on=today,
            )
            for vehicle in vehicles[::2]
        )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return vins, staff


def _campaigns(store: Store, today: dt.date, now: dt.datetime) -> list[Campaign]:
    """Make campaigns with a remedy of two parts each, and pieces on the shelf."""
    supplier = Supplier.objects.create(code="OW", name="Ostby Works")
    classes = list(CLASS_WORDS)
    found = []
    for number in range(CAMPAIGNS):
        earmark = Earmark.objects.create(code=f"B{number}")
        campaign = Campaign.objects.create(
            code=f"B{number}",
            maker="Ostby Works",
            maker_number=f"OW26-{number}",
            title="Seat rail bolts",
            campaign_class=classes[number % len(classes)],
            state="running",
            supplier=supplier,
            earmark=earmark,
            announced_on=today,
            made_at=now,
        )
        remedy = Remedy.objects.create(campaign=campaign)
        variant = Variant.objects.create(remedy=remedy, code="A", title="Both sides")
        for side in ("left", "right"):
            part = Part.objects.create(
                number=f"OW-{number}-{side}",
                name=side,
                supplier=supplier,
                unit_cost_cents=640,
            )
            VariantPart.objects.create(variant=variant, part=part)
            Balance.objects.create(store=store, part=part, free=5)
        found.append(campaign)
    return found


def _vin(number: int) -> str:
    head, tail = "1U0KTRA4", f"N{number:07}"
    return f"{head}{check_digit(f'{head}0{tail}')}{tail}"


def _plate(number: int) -> str:
    return f"BN {number:07}"


def _name(number: int) -> str:
    return f"Ashdown {number:07}"
