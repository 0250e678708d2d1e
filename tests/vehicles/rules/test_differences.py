"""What a row of a list changes in what is known of a vehicle."""

import datetime as dt

import pytest

from vehicles.rules.differences import changed_facts, told
from vehicles.rules.records import VehicleRecord
from vehicles.rules.standing import Standing, VehicleKind


JUNE = dt.date(2026, 6, 2)
JULY = dt.date(2026, 7, 2)
KNOWN = {
    "line": "Corvane",
    "engine": "T15",
    "plant": "Ostby",
    "serial": "000123",
    "plate": "KLR 0001",
    "model_year": 2022,
    "build_date": dt.date(2021, 9, 14),
    "first_use_date": None,
    "standing": Standing.CUSTOMER,
    "kind": VehicleKind.LIGHT,
    "odometer": 41_500,
    "odometer_on": JUNE,
}


def changes(*, kind_stated=False, known=None, **stated):
    return changed_facts(
        VehicleRecord(**stated), KNOWN | (known or {}), kind_stated=kind_stated
    )


def test_what_is_not_stated_changes_nothing():
    assert changes() == {}


def test_what_is_stated_and_differs_changes():
    assert changes(plate="KLR 9999", line="Corvane", first_use_date=JUNE) == {
        "plate": "KLR 9999",
        "first_use_date": JUNE,
    }


@pytest.mark.parametrize(
    ("known", "stated", "becomes"),
    [
        (VehicleKind.LIGHT, True, {"kind": "heavy"}),
        (VehicleKind.LIGHT, False, {}),
        (VehicleKind.UNKNOWN, False, {"kind": "heavy"}),
        (VehicleKind.HEAVY, True, {}),
    ],
)
def test_a_general_kind_fills_a_gap_and_overrides_nothing(known, stated, becomes):
    told_kind = changes(
        kind=VehicleKind.HEAVY, kind_stated=stated, known={"kind": known}
    )

    assert told_kind == becomes


@pytest.mark.parametrize(
    ("miles", "day", "becomes"),
    [
        (50_000, JULY, {"odometer": 50_000, "odometer_on": JULY}),
        (41_500, JULY, {"odometer_on": JULY}),
        (30_000, JULY, {"odometer": 30_000, "odometer_on": JULY}),
        (50_000, JUNE, {}),
        (41_499, None, {}),
        (41_501, None, {"odometer": 41_501, "odometer_on": None}),
        (None, JULY, {}),
    ],
)
def test_a_reading_counts_when_later_or_without_a_day_when_higher(miles, day, becomes):
    assert changes(odometer=miles, odometer_date=day) == becomes


def test_a_first_reading_counts_without_a_day():
    known = {"odometer": None, "odometer_on": None}

    assert changes(odometer=10, known=known) == {"odometer": 10}


def test_facts_are_written_as_the_history_keeps_them():
    assert told(None) == ""
    assert told(JUNE) == "2026-06-02"
    assert told("x" * 200) == "x" * 120
