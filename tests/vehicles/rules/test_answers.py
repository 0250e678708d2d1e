"""Each test of a criterion says yes, no, or that a fact is missing, and why."""

import datetime as dt

import pytest

from vehicles.rules.answers import Reason, Truth, compiled
from vehicles.rules.criteria import Criterion, SerialRange, VehicleFacts


MARCH = dt.date(2026, 3, 9)


def answer(criterion, **facts):
    (test,) = compiled(criterion)
    found = test(VehicleFacts("1U0KTRA4XN1000001", **facts))
    return found.truth, found.reason.code


@pytest.mark.parametrize(
    ("year", "truth", "code"),
    [
        (2022, Truth.YES, "model_year_inside"),
        (2024, Truth.YES, "model_year_inside"),
        (2019, Truth.YES, "model_year_inside"),
        (2025, Truth.NO, "model_year_outside"),
        (None, Truth.UNKNOWN, "model_year_missing"),
    ],
)
def test_years_of_a_window_or_a_set(year, truth, code):
    criterion = Criterion(
        7,
        model_year_from=2022,
        model_year_to=2024,
        model_years=frozenset({2019}),
    )

    assert answer(criterion, model_year=year) == (truth, code)


@pytest.mark.parametrize(
    ("engine", "truth", "code"),
    [
        (" t15 ", Truth.YES, "engine_inside"),
        ("V27", Truth.NO, "engine_outside"),
        ("  ", Truth.UNKNOWN, "engine_missing"),
    ],
)
def test_texts_without_case_and_outer_spaces(engine, truth, code):
    criterion = Criterion(7, engines=frozenset({"T15"}))

    assert answer(criterion, engine=engine) == (truth, code)


@pytest.mark.parametrize(
    ("day", "truth"),
    [
        (MARCH, Truth.YES),
        (MARCH + dt.timedelta(days=1), Truth.YES),
        (MARCH + dt.timedelta(days=2), Truth.NO),
        (MARCH - dt.timedelta(days=1), Truth.NO),
        (None, Truth.UNKNOWN),
    ],
)
def test_both_days_of_a_build_window_are_inside(day, truth):
    criterion = Criterion(7, build_from=MARCH, build_to=MARCH + dt.timedelta(days=1))

    assert answer(criterion, build_date=day)[0] == truth


@pytest.mark.parametrize(
    ("serial", "plant", "truth", "code"),
    [
        ("000200", "Ostby", Truth.YES, "serial_inside"),
        ("200", "Ostby", Truth.YES, "serial_inside"),
        ("000301", "Ostby", Truth.NO, "serial_outside"),
        ("000200", "Kelda", Truth.NO, "serial_outside"),
        ("000200", "", Truth.UNKNOWN, "plant_missing"),
        ("000301", "", Truth.NO, "serial_outside"),
        ("", "Ostby", Truth.UNKNOWN, "serial_missing"),
    ],
)
def test_a_serial_range_holds_at_its_plant(serial, plant, truth, code):
    criterion = Criterion(7, serials=(SerialRange("000100", "000300", "Ostby"),))

    assert answer(criterion, serial=serial, plant=plant) == (truth, code)


def test_a_reason_names_the_value_what_is_asked_for_and_the_criterion():
    (test,) = compiled(Criterion(7, model_years=frozenset({2023, 2022})))

    reason = test(VehicleFacts("1U0KTRA4XN1000001", model_year=2020)).reason

    assert reason == Reason(
        "model_year_outside", "The model year 2020 is not asked for (2022, 2023).", 7
    )
    assert Reason.from_json(reason.to_json()) == reason


def test_each_thing_asked_for_is_one_test():
    criterion = Criterion(
        7,
        model_years=frozenset({2022}),
        lines=frozenset({"Corvane"}),
        plants=frozenset({"Ostby"}),
        build_from=MARCH,
        serials=(SerialRange("1"),),
    )

    assert len(compiled(criterion)) == 5
