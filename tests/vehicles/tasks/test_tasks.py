"""Lists through the very jobs that workers do."""

import datetime as dt

import pytest

from dealership.domain import leases
from dealership.domain.jobs import Cancelled, JobRun, request_cancel, run_job
from dealership.models import Job
from dealership.rules.jobs import JobState
from tests.factories.dealership import NOW
from tests.factories.vehicles import invented_vin
from tests.vehicles.conftest import HEADERS, csv_of
from vehicles.domain import applying, lists, reading
from vehicles.models import (
    Address,
    Party,
    StagedRow,
    Tenure,
    Vehicle,
    VehicleChange,
)
from vehicles.tasks import apply_list


FULL = (
    f"{invented_vin(1)},Corvane,2022,2021-09-14,Núria Ashdown,1 Quarry Road,Tannersby,2108,217 555 0134,2022-01-20",
    f"{invented_vin(2)},Helix,2022,14 Sep 2021,Mira Soldan,2 Quarry Road,Tannersby,60000,,",
)
PLAIN = tuple(
    f"{invented_vin(n)},Corvane,,,Owner {n},{n} Elm Row,Tannersby,60000,,"
    for n in range(1, 8)
)


def in_packs_of_two(monkeypatch):
    monkeypatch.setattr("vehicles.tasks.chunks", lambda rows: reading.chunks(rows, 2))


def counts(vehicle_list):
    return {k: v for k, v in vehicle_list.counts.items() if v and k != "rows"}


def books():
    return [m.objects.count() for m in (Vehicle, Party, Address, Tenure, VehicleChange)]


def test_a_list_is_read_reviewed_and_applied(counter):
    vehicle_list = counter.read(csv_of(*FULL))
    assert (vehicle_list.state, counts(vehicle_list)) == ("staged", {"new": 2})
    assert books() == [0, 0, 0, 0, 0]
    job = counter.apply(vehicle_list)
    assert (job.state, vehicle_list.state) == (JobState.DONE, "applied")
    vehicle = Vehicle.objects.get(vin=invented_vin(1))
    assert (vehicle.line, vehicle.model_year, vehicle.build_date, vehicle.kind) == (
        "Corvane", 2022, dt.date(2021, 9, 14), "light",
    )  # fmt: skip
    tenure = vehicle.tenures.get()
    assert (tenure.party.name, tenure.party.name_folded, tenure.since) == (
        "Núria Ashdown", "nuria ashdown", dt.date(2022, 1, 20),
    )  # fmt: skip
    address = tenure.party.addresses.get()
    assert (address.postal_code, address.source, address.current) == (
        "02108", "own_customer", True,
    )  # fmt: skip
    assert vehicle.from_upload_id == vehicle_list.upload_id


def test_the_same_file_twice_changes_nothing(counter):
    counter.take_in(csv_of(*FULL))
    before = books(), list(Vehicle.objects.values_list("pk", "changed_at"))
    again = counter.read(csv_of(*FULL))
    assert counts(again) == {"same": 2}
    with pytest.raises(lists.NothingToApply):
        lists.apply_list(vehicle_list=again, by=counter.by, at=NOW)
    assert (books(), list(Vehicle.objects.values_list("pk", "changed_at"))) == before


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_encodings_and_separators(counter, encoding, separator):
    content = csv_of(*FULL).decode().replace(",", separator).encode(encoding)
    counter.take_in(content)
    names = sorted(Party.objects.values_list("name", flat=True))
    assert names == ["Mira Soldan", "Núria Ashdown"]


def test_numbers_of_a_workbook_are_read_as_they_are_meant(counter, workbook):
    # ECMA-376 part 1, 18.17.4.1: day 44453 is 2021-09-14
    content = workbook(
        ("VIN", "Year", "Build date", "Mileage", "Plate", "ZIP"),
        (invented_vin(1), 2022.0, 44453.0, 41500.0, 123.0, 2108.0),
    )
    counter.take_in(content, "list.xlsx")
    vehicle = Vehicle.objects.get()
    assert (vehicle.model_year, vehicle.build_date, vehicle.odometer, vehicle.plate) == (
        2022, dt.date(2021, 9, 14), 41500, "123",
    )  # fmt: skip


def test_formulas_are_never_run(counter, workbook):
    content = workbook(
        ("VIN", "Owner", "Plate"), (invented_vin(1), "'=2+5", "=3*4"), ("", "", "")
    )
    vehicle_list = counter.read(content, "list.xlsx")
    assert counts(vehicle_list) == {"new": 1}
    row = StagedRow.objects.get()
    assert row.record["plate"] == "12"
    csv = csv_of(f"{invented_vin(2)},=cmd()", headers="VIN,Plate")
    vehicle_list = counter.read(csv)
    row = StagedRow.objects.get(vehicle_list=vehicle_list)
    assert [f["code"] for f in row.faults] == ["formula"]
    assert row.record["plate"] == "=cmd()"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"%PDF-1.7 nothing", "a PDF document"),
        (b"\x89PNG\r\n\x1a\n" + bytes(200), "not a list"),
        (b" \n \n", "is empty"),
        (HEADERS.encode(), "no row below them"),
        (csv_of("a," * 199, headers=",".join(f"h{n}" for n in range(200))), "200 columns"),
        (csv_of(f"{invented_vin(1)},{'x' * 1_000_000}", headers="VIN,Owner"), "is longer than"),
    ],
    ids=["pdf", "picture", "empty", "headers only", "wide", "million"],
)  # fmt: skip
def test_what_cannot_be_read_is_said_and_nothing_is_kept(counter, content, words):
    vehicle_list = counter.hand_in(content)
    job = counter.work(vehicle_list)
    assert (job.state, vehicle_list.state) == (JobState.FAILED, "failed")
    assert words in vehicle_list.error
    assert StagedRow.objects.count() == 0
    assert vehicle_list.upload.file


def test_a_list_that_breaks_off_in_the_middle_leaves_no_rows(counter, monkeypatch):
    monkeypatch.setattr(reading, "SAMPLE", 3)
    rows = [f"{invented_vin(n)},Owner" for n in range(1, 200)]
    rows.append(f"{invented_vin(300)}," + "x" * 40_000)
    vehicle_list = counter.hand_in(csv_of(*rows, headers="VIN,Owner"))
    counter.work(vehicle_list)
    assert (vehicle_list.state, StagedRow.objects.count()) == ("failed", 0)


def test_duplicate_headers_are_told_apart(counter):
    content = csv_of(
        f"{invented_vin(1)},Corvane,Mira Soldan,Second", headers="VIN,Model,Owner,Owner"
    )
    vehicle_list = counter.read(content)
    assert len(set(vehicle_list.headers)) == 4
    assert StagedRow.objects.get().record["owner_name"] == "Mira Soldan"


def test_without_a_vin_column_the_columns_are_asked_for(counter):
    vehicle_list = counter.read(csv_of("Corvane,Mira", headers="Model,Owner"))
    assert vehicle_list.state == "staged"
    assert "No column is chosen for the VIN" in vehicle_list.error
    assert StagedRow.objects.count() == 0


def test_mixed_dates_are_settled_by_a_witness(counter):
    rows = (f"{invented_vin(1)},03/09/2021", f"{invented_vin(2)},25/09/2021")
    counter.take_in(csv_of(*rows, headers="VIN,Build date"))
    days = Vehicle.objects.order_by("vin").values_list("vin", "build_date")
    assert dict(days)[invented_vin(1)] == dt.date(2021, 9, 3)


def test_dates_that_can_mean_two_days_are_asked(counter):
    vehicle_list = counter.read(
        csv_of(f"{invented_vin(1)},03/09/2021", headers="VIN,Build date")
    )
    assert counts(vehicle_list) == {"ask": 1}
    lists.correct_columns(
        vehicle_list=vehicle_list,
        mapping=vehicle_list.mapping,
        date_orders={"build_date": "month"},
        by=counter.by,
        at=NOW,
    )
    vehicle_list.refresh_from_db()
    counter.work(vehicle_list)
    assert counts(vehicle_list) == {"new": 1}
    assert StagedRow.objects.get().record["build_date"] == "2021-03-09"


def test_applying_goes_on_where_it_was_killed(counter, monkeypatch):
    in_packs_of_two(monkeypatch)
    vehicle_list = counter.read(csv_of(*PLAIN))
    lists.apply_list(vehicle_list=vehicle_list, by=counter.by, at=NOW)
    vehicle_list.refresh_from_db()
    # a worker takes the job, does two chunks and is never heard of again
    leases.claim(job_id=vehicle_list.job_id, now=NOW)
    for _chunk in range(2):
        applying.apply_chunk(
            vehicle_list_id=vehicle_list.pk, by=counter.by, at=NOW, day=NOW.date()
        )
    assert Vehicle.objects.count() == 4
    later = NOW + dt.timedelta(hours=1)
    job = run_job(job_id=vehicle_list.job_id, clock=lambda: later)
    vehicle_list.refresh_from_db()
    assert (job.state, vehicle_list.state) == (JobState.DONE, "applied")
    assert Vehicle.objects.count() == Tenure.objects.count() == 7
    assert Vehicle.objects.filter(created_at=NOW).count() == 4


def test_reading_goes_on_where_it_was_killed(counter, monkeypatch):
    in_packs_of_two(monkeypatch)
    rows = (*PLAIN, PLAIN[0])
    vehicle_list = counter.hand_in(csv_of(*rows))
    stage, staged = reading.Stager.stage, []

    def dies(self, chunk):
        stage(self, chunk)
        staged.append(len(chunk))
        if len(staged) == 2:
            raise SystemExit

    monkeypatch.setattr(reading.Stager, "stage", dies)
    with pytest.raises(SystemExit):
        run_job(job_id=vehicle_list.job_id, clock=lambda: NOW)
    monkeypatch.setattr(reading.Stager, "stage", stage)
    later = NOW + dt.timedelta(hours=1)
    job = run_job(job_id=vehicle_list.job_id, clock=lambda: later)
    vehicle_list.refresh_from_db()
    assert job.state == JobState.DONE
    assert counts(vehicle_list) == {"new": 7, "left_out": 1}
    assert list(StagedRow.objects.values_list("row_number", flat=True)) == [
        *range(2, 10)
    ]


def test_cancelled_applying_keeps_what_is_done_and_goes_on_when_asked(
    counter, monkeypatch
):
    in_packs_of_two(monkeypatch)
    vehicle_list = counter.read(csv_of(*PLAIN))
    lists.apply_list(vehicle_list=vehicle_list, by=counter.by, at=NOW)
    vehicle_list.refresh_from_db()
    job = leases.claim(job_id=vehicle_list.job_id, now=NOW)
    applying.apply_chunk(
        vehicle_list_id=vehicle_list.pk, by=counter.by, at=NOW, day=NOW.date()
    )
    request_cancel(job=job, by=counter.by, now=NOW)
    with pytest.raises(Cancelled):
        apply_list(JobRun(job, lambda: NOW), vehicle_list_id=vehicle_list.pk)
    vehicle_list.refresh_from_db()
    assert (vehicle_list.state, Vehicle.objects.count()) == ("staged", 2)
    counter.apply(vehicle_list)
    assert (vehicle_list.state, Vehicle.objects.count()) == ("applied", 7)


def test_three_rows_cost_no_more_queries_than_one(counter, django_assert_num_queries):
    for rows in (FULL[:1], (*FULL, PLAIN[4])):
        vehicle_list = counter.read(csv_of(*rows))
        vehicle_list.state = "applying"
        vehicle_list.save()
        with django_assert_num_queries(16):
            applying.apply_chunk(
                vehicle_list_id=vehicle_list.pk, by=counter.by, at=NOW, day=NOW.date()
            )
        Vehicle.objects.all().delete()
        Party.objects.all().delete()


def test_campaigns_are_told_once(counter):
    counter.take_in(csv_of(*FULL))
    assert Job.objects.filter(kind=applying.VEHICLES_APPLIED).count() == 1
