import datetime as dt
import io

import pytest
import xlsxwriter
from django.core.files.uploadedfile import SimpleUploadedFile

from campaigns.forms.appointments import LARGEST_FILE, AppointmentsForm


VIN = "1M8GDM9AXKP042788"  # the check-digit sample of the VIN outline, public


DAY = dt.date(2026, 3, 10)


def form_of(*, lines="", file=None, name="day.csv", today=DAY):
    files = {} if file is None else {"file": SimpleUploadedFile(name, file)}
    sent = {"day": DAY.isoformat(), "lines": lines}
    return AppointmentsForm(sent, files, today=today)


def workbook(*rows):
    target = io.BytesIO()
    with xlsxwriter.Workbook(target) as book:
        sheet = book.add_worksheet()
        for number, row in enumerate(rows):
            sheet.write_row(number, 0, row)
    return target.getvalue()


def test_pasted_lines_are_read():
    form = form_of(lines=f"8:30 {VIN}")

    assert form.is_valid(), form.errors
    (one,) = form.cleaned_data["appointments"]
    assert (one.codes[0], one.hour) == (VIN, dt.time(8, 30))


@pytest.mark.parametrize(
    ("file", "name"),
    [
        (f"Start;Kunde;VIN\n08:30;Ashdown;{VIN}\n".encode(), "day.csv"),
        (workbook(["Start", "Name", "VIN"], ["08:30", "Ashdown", VIN]), "day.xlsx"),
    ],
    ids=["text", "workbook"],
)
def test_a_file_is_read_by_its_columns(file, name):
    form = form_of(file=file, name=name)

    assert form.is_valid(), form.errors
    (one,) = form.cleaned_data["appointments"]
    assert (one.codes[0], one.hour) == (VIN, dt.time(8, 30))


def test_a_file_without_vehicles_is_refused_at_its_field():
    form = form_of(file=b"Name,Town\nAshdown,Tannersby\n")

    assert not form.is_valid()
    assert list(form.errors) == ["file"]


def test_what_is_no_list_is_refused_in_words():
    form = form_of(file=b"%PDF-1.7 \x00\x01 no list at all")

    assert not form.is_valid()
    assert list(form.errors) == ["file"]


def test_a_far_too_large_file_is_not_even_opened():
    form = form_of(file=b"x" * (LARGEST_FILE + 1))

    assert not form.is_valid()
    assert "are taken at once" in form.errors["file"][0]


def test_an_empty_form_asks_for_a_vehicle():
    form = form_of()

    assert not form.is_valid()
    assert "No line of the list names a vehicle." in form.errors["lines"][0]


def test_a_day_that_has_passed_is_refused():
    form = form_of(lines=VIN, today=DAY + dt.timedelta(days=1))

    assert not form.is_valid()
    assert form.errors["day"] == ["2026-03-10 has passed. Choose today or a later day."]
