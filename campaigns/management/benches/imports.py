"""A list of vehicles and owners, from the stored file to applied."""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
import uuid
from itertools import islice
from typing import TYPE_CHECKING

from django.core.files.base import File
from django.db import connection, transaction
from django.utils import timezone

from campaigns.management.benches.measuring import (
    Result,
    seconds_of,
    throw_away_house,
)
from dealership.domain.jobs import run_job
from dealership.models import StaffMember, Store
from dealership.rules.jobs import JobState
from vehicles.domain import lists
from vehicles.models import Tenure
from vehicles.rules.vin import check_digit


if TYPE_CHECKING:
    from pathlib import Path

    from django.db.backends.utils import CursorWrapper

    from campaigns.models import CriteriaVersion
    from vehicles.models import VehicleList

ROWS = {"small": 2_000, "full": 100_000}
HEADERS = (
    "VIN No.", "Yr", "Model", "Engine Code", "Built", "Sold Date", "Mileage",
    "Last Visit", "Tag", "First Name", "Last Name", "Address 1", "City", "ST", "ZIP",
    "Phone",
)  # fmt: skip
_FIRST = "Ada Bram Cleo Dov Esme Finn Gita Hugo Iris Jonas Kaia Lars Mila Nils Otto Pia"
_LAST = "Ashdown Birkett Corrin Dunmore Elphick Fenwright Garrow Hespel Jorvik Kestle"
_STREETS = [
    "Quarry",
    "Elm",
    "Oak",
    "Ash",
    "Mill",
    "Foundry",
    "Tannery",
    "Chapel",
    "Orchard",
    "Heron",
    "Larch",
    "Marl",
    "Bridge",
    "Station",
    "Weir",
    "Copper",
    "Lantern",
    "Saddler",
    "Cooper",
    "Granary",
    "Fennel",
    "Rook",
    "Thistle",
    "Barley",
]
_WAYS = ("Road", "Row", "Lane", "Street", "Court", "Rise")
_YEAR_CODES = "FGHJKLMNPR"
_FIRST_YEAR = 2015
_FAULTS = 0.005
_AT_ONCE = 2_000


def run(size: str) -> Result:
    """Measure the whole path of a list against writing its cells and nothing else."""
    rows = ROWS[size]
    with throw_away_house() as folder:
        path = folder / "list.csv"
        write_list(path, rows)
        yardstick = seconds_of(lambda: bare(path))
        ours = seconds_of(lambda: apply(*stage(path)))
        taken = Tenure.objects.count()
        assert taken > rows * (1 - 3 * _FAULTS), taken
    return Result(
        name="import",
        size=size,
        items=rows,
        seconds=ours,
        yardsticks={yardstick_name(): yardstick},
    )


def yardstick_name() -> str:
    """Name what ``bare`` does on this database."""
    return "copy" if connection.vendor == "postgresql" else "bare_insert"


def write_list(path: Path, rows: int, seed: int = 5) -> None:
    """Write an invented list, with a wrong VIN in every hundredth row."""
    chance = random.Random(seed)  # noqa: S311 (invented data, the same every time)
    with path.open("w", encoding="utf-8", newline="") as target:
        writer = csv.writer(target)
        writer.writerow(HEADERS)
        writer.writerows(_row(number, chance) for number in range(rows))


def _row(number: int, chance: random.Random) -> list[object]:
    code = chance.choice(_YEAR_CODES)
    year = _FIRST_YEAR + _YEAR_CODES.index(code)
    head, tail = f"1U0KT{chance.choice('ABCD')}A4", f"{code}1{number:06}"
    vin = f"{head}{check_digit(f'{head}0{tail}')}{tail}"
    if chance.random() < _FAULTS:
        vin = vin[:-1]
    elif chance.random() < _FAULTS:
        vin = f"{vin[:-1]}{(int(vin[-1]) + 1) % 10}"
    built = dt.date(year - 1, 6, 1) + dt.timedelta(days=chance.randrange(300))
    sold = built + dt.timedelta(days=chance.randrange(20, 200))
    seen = sold + dt.timedelta(days=chance.randrange(10, 300))
    form = chance.choice(("%m/%d/%Y", "%Y-%m-%d", "%d %b %Y"))
    return [
        vin,
        year,
        chance.choice(("Corvane", "Tarn Cross", "Helix", "Morrow")),
        chance.choice(("T15", "K20", "E2")),
        built.strftime(form),
        sold.strftime("%m/%d/%Y"),
        f"{chance.randrange(100, 120_000):,}",
        seen.strftime("%m/%d/%y"),
        f"KLR {number % 10_000:04}",
        chance.choice(_FIRST.split()),
        f"{chance.choice(_LAST.split())}-{chance.randrange(400)}",
        f"{chance.randrange(1, 4_000)} {chance.choice(_STREETS)} {chance.choice(_WAYS)}",
        chance.choice(("Tannersby", "Ostbrook", "Fennel Cross", "Lower Marl")),
        "IL",
        f"{chance.randrange(60_000, 62_999)}",
        f"(217) 555-{chance.randrange(10_000):04}",
    ]


def stage(path: Path) -> tuple[VehicleList, StaffMember]:
    """Upload a list and have it read, by the very job that a worker does."""
    store = Store.objects.create(code="BENCH", name="Bench store")
    by = StaffMember.objects.create(username="bench")
    with path.open("rb") as file:
        vehicle_list = lists.take_list(
            key=str(uuid.uuid4()),
            file=File(file),
            name=path.name,
            choices={"kind": "light"},
            store=store,
            by=by,
            at=timezone.now(),
            today=timezone.localdate(),
        )
    work(vehicle_list)
    return vehicle_list, by


def apply(vehicle_list: VehicleList, by: StaffMember) -> None:
    """Take the staged rows in, by the very job that a worker does."""
    lists.apply_list(vehicle_list=vehicle_list, by=by, at=timezone.now())
    work(vehicle_list)


def work(asked: VehicleList | CriteriaVersion) -> None:
    """Do the job that was left for a list or for criteria, and see it done."""
    asked.refresh_from_db()
    assert asked.job_id is not None
    job = run_job(job_id=asked.job_id, clock=timezone.now)
    assert job is not None
    assert job.state == JobState.DONE, job.error_detail


def bare(path: Path) -> None:
    """Write the cells of the list into a table of texts: the yardstick."""
    columns = ", ".join(f"c{n} text" for n in range(len(HEADERS)))
    unlogged = "UNLOGGED " if connection.vendor == "postgresql" else ""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"CREATE {unlogged}TABLE bench_bare ({columns})")
        if connection.vendor == "postgresql":
            _copy(cursor, path)
        else:
            _insert(cursor, path)
        cursor.execute("DROP TABLE bench_bare")


def _copy(cursor: CursorWrapper, path: Path) -> None:
    statement = "COPY bench_bare FROM STDIN WITH (FORMAT csv, HEADER true)"
    with cursor.copy(statement) as copy, path.open("rb") as source:
        while piece := source.read(io.DEFAULT_BUFFER_SIZE * 16):
            copy.write(piece)


def _insert(cursor: CursorWrapper, path: Path) -> None:
    marks = ", ".join(["%s"] * len(HEADERS))
    with path.open(encoding="utf-8", newline="") as source:
        reader = csv.reader(source)
        next(reader)
        statement = f"INSERT INTO bench_bare VALUES ({marks})"  # noqa: S608 (only marks)
        # A piece at a time: given all at once Django would hold all of them.
        while rows := list(islice(reader, _AT_ONCE)):
            cursor.executemany(statement, rows)
