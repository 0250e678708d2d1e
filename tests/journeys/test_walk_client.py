"""One campaign from the vehicle list to the closed account, page by page, form by form.

The same walk twice: on the default database with the jobs done in this process, and
(marker ``postgres``) on PostgreSQL with the jobs done by a real worker over Redis.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit, urlunsplit

import openpyxl
import pypdfium2
import pytest
from django.conf import settings
from django.db import connection
from django.utils import timezone

from dealership.domain.jobs import run_waiting
from dealership.models import Job
from dealership.rules.jobs import JobState
from dealership.rules.roles import Role
from inventory.queries.books import faults_of_the_books
from tests.factories.dealership import NOW, StoreFactory, make_staff
from tests.journeys.reader import Reader
from vehicles.rules.vin import check_digit


if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ROOT = Path(__file__).resolve().parents[2]
PASSWORD = "grain-lantern-88"
CODE = "SR-91"
HERE = f"/campaigns/{CODE}"
PART = "NB-2210"
TODAY = NOW.date()  # a Wednesday
ONE_PART = f"1 \N{MULTIPLICATION SIGN} {PART}"
PATIENCE_SECONDS = 120


def vin_of(number: int) -> str:
    """Make the VIN of an invented vehicle of model year 2024."""
    head, tail = "1U0KTRA4", f"RB{number:06}"
    return f"{head}{check_digit(f'{head}0{tail}')}{tail}"


WRONG = "1U0KTRA46RB000099"  # the check digit should be 5


def owners_list() -> bytes:
    """Write twelve vehicles and two bad rows: tabs, UTF-8, days in three forms.

    Vehicle n was built on day n of March 2024; of the tenth nobody knows the day. The
    ninth has no street, so no letter can reach its owner.
    """
    heads = "Chassis No\tYear\tModel\tEngine Code\tBuilt\tIn Service\tReading?\tTag\tOwner\tAddress"
    lines = [f"{heads}\tTown\tST\tZIP\tPhone"]
    lines += ["\t".join(_cells(number)) for number in range(1, 13)]
    rest = ["2024", "Corvane", "T15", "2024-03-05", *[""] * 9]
    lines += ["\t".join([vin, *rest]) for vin in (WRONG, "")]
    return "\n".join([*lines, ""]).encode()


def _cells(number: int) -> list[str]:
    """Write the row of one vehicle."""
    built = f"2024-03-{number:02}" if number % 2 else f"{number} Mar 2024"
    return [
        *(vin_of(number), "2024", "Corvane", "T15", "" if number == 10 else built),
        *(f"2024-05-{number:02}", f"{20_000 + number}", f"TRN {number:03}"),
        *(f"Zoë Lindqvåg-{number}", "" if number == 9 else f"{number} Kiln Road"),
        *("Upper Tarn", "OH", "44087", "555-0100"),
    ]


class Walk:
    """The people of one store, and whoever does the work in the background."""

    def __init__(self, work: Callable[[], None]) -> None:
        self.store = StoreFactory.create(code="TAR", labour_rate_cents=14_250)
        self.work = work

    def sign_in(self, role: Role) -> Reader:
        """Give somebody of this role a chair."""
        staff = make_staff(role, self.store, username=f"{role.value}-tar")
        staff.set_password(PASSWORD)
        staff.save()
        return Reader(staff.username, PASSWORD)

    def go(self) -> None:
        """Walk the nine steps, each done by whose work it is."""
        office = self.sign_in(Role.OFFICE)
        manager = self.sign_in(Role.SERVICE_MANAGER)
        parts = self.sign_in(Role.PARTS_MANAGER)
        advisor = self.sign_in(Role.SERVICE_ADVISOR)
        technician = self.sign_in(Role.TECHNICIAN)
        self.vehicles_in(office)
        self.campaign_in(manager)
        self.remedy_in(manager)
        self.population_in(manager)
        self.amended(manager)
        self.batch_in(parts)
        self.letters_out(office)
        self.booked(advisor)
        self.repaired(advisor, technician)
        self.claimed(manager)
        self.reconciled(parts, advisor)
        self.reported(office)
        self.accounted(manager)

    # 1. Vehicles in

    def vehicles_in(self, office: Reader) -> None:
        """The list is read, a column corrected, what is refused given back, the rest taken."""
        office.go("/vehicles/lists/")
        office.send("Read this list", file=("owners.tsv", owners_list()))
        self.work()
        office.go(office.at)
        office.reads("Letters UTF-8", "Separator tab", "Rows 14")
        office.send("Read the list again with these columns", column_6="odometer")
        self.work()
        office.go(office.at)
        office.reads("12 vehicles are new and 0 changed; 2 rows are refused")
        refused = office.fetches("Download 2 rows to mend").decode("utf-8-sig")
        assert [row[0] for row in csv.reader(io.StringIO(refused))][1:] == [WRONG, ""]
        office.send("Apply 12 rows")
        self.work()
        office.go(office.at)
        office.reads("Applied: 12 new, 0 changed, 0 unchanged; 2 rows were not taken")
        office.go(f"/vehicles/{vin_of(7)}/")
        office.reads("20,007", "Zoë Lindqvåg-7", "7 Kiln Road")
        self.same_list_again(office)

    def same_list_again(self, office: Reader) -> None:
        """The same file a second time says nothing new."""
        office.go("/vehicles/lists/")
        office.send("Read this list", file=("owners.tsv", owners_list()))
        self.work()
        office.go(office.at)
        office.send("Read the list again with these columns", column_6="odometer")
        self.work()
        office.go(office.at)
        office.reads("This very file was applied before", "Nothing in this list is new")
        office.send("Put this list aside")

    # 2. Campaign in

    def campaign_in(self, manager: Reader) -> None:
        """The bulletin's facts are written down."""
        manager.go("/campaigns/new/")
        manager.send(
            "Enter the campaign",
            code=CODE,
            maker="Vexholm Motor Works",
            maker_number="VX-901",
            title="Hinge bolt may crack",
            campaign_class="safety",
            announced_on=TODAY - dt.timedelta(days=3),
            parts_available_on=TODAY,
            claims_until=TODAY + dt.timedelta(days=200),
            returns_until=TODAY + dt.timedelta(days=90),
            risk="The rear door can open while driving.",
        )
        manager.reads(f"Criteria of {CODE}", "Nothing is included yet")

    def remedy_in(self, manager: Reader) -> None:
        """One variant, with its part, its labour and its check."""
        manager.go(f"{HERE}/remedy/new/")
        manager.send("Write the variant down", code="A", title="Replace the bolt")
        manager.send(
            "Add the part",
            number=PART,
            quantity=1,
            name="Hinge bolt",
            unit_cost_cents="18.25",
        )
        manager.send(
            "Add the labour line",
            operation="A-01",
            title="Replace the bolt",
            hours="0.7",
        )
        manager.send(
            "Add the check", title="Torque of the bolt", unit="Nm", low=43, high=49
        )
        manager.reads(f"{PART} Hinge bolt 1", "0.70", "Torque of the bolt", "43 49 Nm")

    def population_in(self, manager: Reader) -> None:
        """The criteria decide; both ends of the window are in, a missing day is asked."""
        manager.go(f"{HERE}/population/criteria/new/")
        manager.send(
            "Write the criterion down",
            include="yes",
            lines="Corvane",
            engines="T15",
            build_from="2024-03-01",
            build_to="2024-03-09",
        )
        self.match(manager)
        manager.reads("9 come in, 1 are to be verified, 0 go out")
        manager.go(f"{HERE}/population/")
        manager.reads("No vehicle fits this filter")
        self.apply(manager, why="First match")
        manager.reads("9 of 9 vehicles still open; 1 to be verified first")

    def match(self, manager: Reader) -> None:
        """Match all vehicles and look at what would change."""
        manager.go(f"{HERE}/population/criteria/")
        manager.send("Match all vehicles")
        self.work()
        manager.go(f"{HERE}/population/match/")

    def apply(self, manager: Reader, *, why: str) -> None:
        """Apply what was looked at, and look at the population."""
        manager.go(f"{HERE}/population/match/")
        manager.send("Apply these changes", why=why)
        self.work()
        manager.go(f"{HERE}/population/match/")
        manager.reads("is applied and rules")
        manager.go(f"{HERE}/population/")

    def amended(self, manager: Reader) -> None:
        """The manufacturer's list comes, the window moves: shown, applied and kept."""
        listed = [vin_of(n) for n in (*range(2, 11), 500)]
        manager.go(f"{HERE}/population/list/")
        manager.send(
            "Read the list", file=("maker.csv", "\n".join(["VIN", *listed]).encode())
        )
        manager.reads("10 of the first 10 rows have a right VIN")
        manager.send("Take the list in")
        self.work()
        manager.go(f"{HERE}/population/list/")
        manager.reads("1 VIN of our list is not in the vehicle file", "10 10 0 0 0 0")
        manager.go(f"{HERE}/population/criteria/")
        manager.follow("Change")
        manager.send(
            "Write the criterion down", build_from="2024-03-02", build_to="2024-03-11"
        )
        self.match(manager)
        manager.reads("0 come in, 1 are to be verified, 1 go out")
        self.apply(manager, why="Bulletin B")
        manager.reads("9 of 9 vehicles still open; 1 to be verified first")
        manager.go(f"{HERE}/amendments/")
        manager.reads("2 applied Bulletin B", "1 applied First match")

    # 3. First batch in

    def batch_in(self, parts: Reader) -> None:
        """Announced and billed; of six sent four are in order, one damaged, one short."""
        parts.go(f"{HERE}/parts/new/")
        parts.send(
            "Enter the first batch",
            part=PART,
            quantity=6,
            unit_cost_cents="18.25",
            announced_on=TODAY - dt.timedelta(days=2),
        )
        parts.follow(f"Enter the bill {PART}")
        parts.send("Enter the bill", number="B-77", dated=TODAY)
        parts.reads("$109.50")
        parts.follow(f"Enter the packing slip {PART}")
        parts.send("Enter the packing slip", number="P-77", expected_on=TODAY)
        parts.follow(f"Receive {PART}")
        parts.send("Receive what came of 6 pieces", good=4, damaged=1, bin_code="A-1")
        self.work()
        parts.go(f"{HERE}/parts/")
        parts.reads(
            f"Pieces of {PART} on hand cover 4 of 10 open vehicles",
            "6 4 1 1 in the books",
            f"{PART} came damaged 1 $18.25",
            f"{PART} billed and not come 1 $18.25",
        )

    # 4. Letters out

    def letters_out(self, office: Reader) -> None:
        """One round: drawn up, set, printed, posted; who was written to is kept."""
        office.go(f"{HERE}/letters/")
        office.send("Draw up the round", kind="first")
        office.reads("There is a letter for 8 of 10 open vehicles, and for 2 a reason")
        office.send("Set the letters")
        self.work()
        office.go(office.at)
        sheets = pdf_pages(office.fetches("Letters (PDF)"))
        assert len(sheets) == 8
        for number, sheet in zip((10, *range(2, 9)), sheets, strict=True):
            assert f"Zoë Lindqvåg-{number}\r\n" in sheet
            assert vin_of(number) in sheet.replace(" ", "")
            assert "Safety recall on your vehicle: the repair is free" in sheet
        office.send("Note 8 sheets as printed", on=TODAY)
        office.send("Note the round as posted", on=TODAY)
        office.reads(f"posted on {TODAY}")
        register = office.fetches("Register (CSV)").decode("utf-8-sig")
        told = {row[0]: row[1] for row in csv.reader(io.StringIO(register))}
        assert told == {
            "VIN": "Letter, or why not",
            **{vin_of(number): "letter" for number in (10, *range(2, 9))},
            vin_of(9): "no address known",
            vin_of(11): "still to be verified",
        }

    # 5. This VIN, now

    def at_counter(self, person: Reader, number: int) -> None:
        """Find a vehicle by the last eight of its VIN."""
        vin = vin_of(number)
        person.go(f"/find/?q={vin[-8:]}")
        assert person.at == f"/counter/{vin}/"

    def booked(self, advisor: Reader) -> None:
        """Four visits take what is free; the next owner stands on the waiting list."""
        for number in (2, 3, 4, 5):
            self.at_counter(advisor, number)
            advisor.reads(f"{ONE_PART} Hinge bolt · here, {6 - number} free")
            advisor.follow(f"Book {CODE} for Wed 25 Nov 2026")
            advisor.send("Book the visit and hold the parts", who="Zoë", contact="1")
            advisor.reads(
                "Booked for Wed 25 Nov 2026", f"{ONE_PART} · held on the shelf"
            )
        self.at_counter(advisor, 6)
        advisor.reads(f"{ONE_PART} Hinge bolt · none to promise")
        advisor.send("Put on the waiting list", who="Zoë", contact="555-0106")
        advisor.reads("place 1 of 1, asked on 2026-11-25 · Zoë · 555-0106")

    # 6. Repair and claim

    def repaired(self, advisor: Reader, technician: Reader) -> None:
        """The check is out of limits, is done again, and then the work is signed off."""
        self.at_counter(advisor, 2)
        advisor.follow("Open the visit")
        advisor.send("The vehicle is here")
        technician.go(advisor.at)
        technician.follow("Open the repair")
        technician.send("Open the repair")
        technician.follow("Next step")
        technician.send("Record attempt 1", value="52")
        technician.reads("OUT OF LIMITS: do the step again and measure")
        technician.send("Record attempt 2", value="46.5")
        technician.reads("every check is within its limits", "1 held, 0 free besides")
        technician.send("Sign the repair off", outcome="remedied", odometer="20412")
        technician.reads(
            "Claim 1 is ready to send",
            "Torque of the bolt 1 52 Nm do the step again",
            "Torque of the bolt 2 46.5 Nm within limits",
        )

    def claimed(self, manager: Reader) -> None:
        """The claim is sent and paid in full.

        18.25 with 30 per cent for handling, and 0.70 h at 142.50 an hour.
        """
        manager.go("/claims/")
        manager.follow("1")
        manager.reads(
            "$123.48 is ready to be asked for",
            f"{PART} Hinge bolt part 1 18.25 23.73 0.00",
            "Replace the bolt labour 0.70 h 0.00 99.75 0.00",
        )
        manager.send("Note the claim as sent", dated=TODAY, reference="VX-1")
        manager.reads(f"Sent on {TODAY}; $123.48 is still to be paid")
        manager.send("Record the payment", dated=TODAY)
        manager.reads(f"Paid in full on {TODAY}: $123.48")

    # 7. Reconcile

    def reconciled(self, parts: Reader, advisor: Reader) -> None:
        """What is proposed is ordered; what comes is offered to who waits."""
        parts.go("/proposals/")
        parts.send("Work them out now")
        self.work()
        parts.go("/proposals/")
        parts.reads(f"One part waits for your decision, due today: {PART}")
        parts.follow(PART)
        parts.reads(f"{CODE}: 7 vehicles open", "On the shelf: 3; 1 wanted by people")
        parts.send("Order 2 pieces")
        parts.go("/proposals/")
        parts.reads("Nothing to decide")
        parts.go("/parts/orders/")
        parts.follow("1")
        parts.reads("2 pieces are still to come", f"Set apart for {CODE}")
        parts.send(
            "Enter the packing slip",
            number="P-78",
            expected_on=TODAY,
            bill_number="B-78",
            bill_dated=TODAY,
        )
        parts.go("/parts/shipments/")
        parts.follow("P-78")
        parts.send("Receive what came of 2 pieces sent")
        self.work()
        self.at_counter(advisor, 6)
        advisor.reads("Parts are set aside: call and book")

    # 8. Report

    def reported(self, office: Reader) -> None:
        """The report adds up, on the page, on paper and in both tables.

        Categories in the order of 49 CFR 573.7(b).
        """
        office.go(f"{HERE}/report/")
        office.send("Make the report", as_of=TODAY)
        self.work()
        office.go(office.at)
        office.reads("1 of 9 vehicles are done", "Not counted: 1 still to be verified")
        paper = "".join(pdf_pages(office.fetches("Report (PDF)")))
        assert "Dealer's count, not a regulatory filing" in paper
        table = csv.reader(io.StringIO(office.fetches("CSV").decode("utf-8-sig")))
        text = {row[0].strip(): row[1] for row in table if row}
        sheet = {
            str(row[0]).strip(): row[1] for row in sheet_rows(office.fetches("XLSX"))
        }
        counts = {
            "Involved": 9,
            "Inspected and repaired": 1,
            "Inspected, no repair needed": 0,
            "Cannot be reached": 0,
            "Still open": 8,
        }
        for words, vehicles in counts.items():
            assert (text[words], sheet[words]) == (str(vehicles), vehicles)
            assert f"{words} {vehicles} " in office.page.said
            assert re.search(rf"{words}\s+{vehicles}\s", paper)
        involved, *parts = counts.values()
        assert involved == sum(parts)

    # 9. Account

    def accounted(self, manager: Reader) -> None:
        """Both sides are equal: 109.50 and 36.50 billed, 18.25 of it paid."""
        manager.go(f"{HERE}/money/")
        manager.reads("bill B-77", "bill B-78")
        manager.reads("both sides of its account are equal", "Both sides equal")
        assert manager.page.said.count("Together 127.75") == 2
        assert faults_of_the_books() == []


def pdf_pages(content: bytes) -> list[str]:
    """Read the words of each page of a PDF."""
    with pypdfium2.PdfDocument(content) as pdf:
        return [page.get_textpage().get_text_range() for page in pdf]


def sheet_rows(content: bytes) -> list[list[object]]:
    """Read all sheets of a workbook."""
    book = openpyxl.load_workbook(io.BytesIO(content))
    return [[cell.value for cell in row] for sheet in book for row in sheet.iter_rows()]


@contextmanager
def here() -> Iterator[Callable[[], None]]:
    """Do what waits in this process."""

    def work() -> None:
        for job in run_waiting(clock=timezone.now):
            assert job.state == JobState.DONE, (job.kind, job.error_detail or job.error)

    yield work


@pytest.mark.committing
def test_walk_with_the_jobs_done_here(committing_db, frozen_now):
    with here() as work:
        Walk(work).go()


@contextmanager
def worker(folder: Path) -> Iterator[Callable[[], None]]:
    """Let a real worker do what waits, in its own process, over Redis.

    It works in the database and the folder of this test, and its clock stands still
    at the same moment.
    """
    address = urlsplit(os.environ["MENDROLL_TEST_DATABASE_URL"])
    name = connection.settings_dict["NAME"]
    env = {
        key: value
        for key, value in os.environ.items()
        if not key.startswith(("MENDROLL_", "DJANGO_", "PYTEST_"))
    } | {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "MENDROLL_DATA": str(settings.DATA),
        "MENDROLL_DATABASE_URL": urlunsplit(address._replace(path=f"/{name}")),
        "MENDROLL_REDIS_URL": settings.MENDROLL_REDIS_URL,
    }
    words = ["-m", "tests.journeys.stopped_worker", NOW.isoformat()]
    words += ["-A", "config", "worker", "--concurrency", "1", "--loglevel", "INFO"]
    log = folder / "worker.log"
    with log.open("wb") as written:
        process = subprocess.Popen(  # noqa: S603 (our own words)
            [sys.executable, *words],
            cwd=ROOT,
            env=env,
            stdout=written,
            stderr=written,
            start_new_session=True,
        )

    def work() -> None:
        end = time.monotonic() + PATIENCE_SECONDS
        due = Job.objects.filter(due_at__lte=timezone.now())
        while left := list(due.exclude(state=JobState.DONE)):
            told = [(job.kind, job.state, job.error, job.error_detail) for job in left]
            lost = process.poll() is not None or time.monotonic() > end
            if lost or any(detail for *_rest, detail in told):
                pytest.fail(f"{told}\n{log.read_text(errors='replace')[-4_000:]}")
            time.sleep(0.1)

    try:
        yield work
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
    assert re.search(r"transport:\s+redis://", log.read_text(errors="replace"))


@pytest.mark.timeout(600)
@pytest.mark.postgres
@pytest.mark.committing
@pytest.mark.skipif(
    connection.vendor != "postgresql" or not settings.MENDROLL_REDIS_URL,
    reason="the tests do not run on PostgreSQL and Redis",
)
def test_walk_on_postgresql_with_a_worker_over_redis(
    committing_db, frozen_now, tmp_path
):
    with worker(tmp_path) as work:
        Walk(work).go()
    assert Job.objects.filter(state=JobState.DONE).count() > 8
