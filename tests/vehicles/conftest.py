"""What tests of vehicles share: a list handed in and read."""

import io
import uuid

import pytest
from django.core.files.base import ContentFile

from dealership.domain.jobs import run_job
from dealership.rules.roles import Role
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from vehicles.domain import lists


HEADERS = "VIN,Model,Model year,Build date,Owner,Street,City,ZIP,Phone,Owner since"


def csv_of(*rows, headers=HEADERS):
    """Write rows (texts with commas) under headers, as bytes."""
    return "\n".join((headers, *rows)).encode()


class Counter:
    """Hands lists in, reads and applies them, in one store."""

    def __init__(self, store=None):
        self.store = store or StoreFactory.create()
        self.by = make_staff(Role.OFFICE, self.store)

    def hand_in(self, content, name="list.csv", key=None, **choices):
        return lists.take_list(
            key=key or str(uuid.uuid4()),
            file=ContentFile(content, name),
            name=name,
            choices={"kind": "light"} | choices,
            store=self.store,
            by=self.by,
            at=NOW,
            today=TODAY,
        )

    def work(self, vehicle_list):
        """Do the list's job; gives the list and the job."""
        job = run_job(job_id=vehicle_list.job_id, clock=lambda: NOW)
        vehicle_list.refresh_from_db()
        return job

    def read(self, content, name="list.csv", **choices):
        vehicle_list = self.hand_in(content, name, **choices)
        self.work(vehicle_list)
        return vehicle_list

    def apply(self, vehicle_list):
        lists.apply_list(vehicle_list=vehicle_list, by=self.by, at=NOW)
        vehicle_list.refresh_from_db()
        return self.work(vehicle_list)

    def take_in(self, content, name="list.csv", **choices):
        vehicle_list = self.read(content, name, **choices)
        self.apply(vehicle_list)
        return vehicle_list


@pytest.fixture
def counter(db):
    return Counter()


@pytest.fixture
def other_counter(db):
    return Counter()


@pytest.fixture
def workbook():
    """Give a function that writes rows of cells as an XLSX file."""

    def write(*rows, sheet="List"):
        import xlsxwriter  # noqa: PLC0415 (only where it is wanted)

        target = io.BytesIO()
        with xlsxwriter.Workbook(target, {"in_memory": True}) as book:
            page = book.add_worksheet(sheet)
            for number, row in enumerate(rows):
                for column, cell in enumerate(row):
                    if str(cell).startswith("="):
                        page.write_formula(number, column, cell, value="12")
                    else:
                        page.write(number, column, cell)
        return target.getvalue()

    return write
