"""The criteria as conditions of the database, against the rules read row by row."""

import datetime as dt
import random

import pytest

from tests.factories.dealership import StoreFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.models import Vehicle
from vehicles.queries.verdicts import (
    BOUNDARIES,
    Counted,
    cells_of,
    count_met,
    left_out_by,
    lines_held,
    near,
)
from vehicles.rules.criteria import (
    CriteriaSet,
    Criterion,
    CriterionAsksNothing,
    SerialRange,
    VehicleFacts,
)
from vehicles.rules.matching import Outcome, match_many


pytestmark = pytest.mark.django_db

LINES = ("Corvane", "corvane", "Fell Estate", "Ørsta", "")
ENGINES = ("T15", "t15", "M30", "")
PLANTS = ("Ostby", "Lund", "")
SERIALS = ("000100", "A99", "A00120", "a 121", "B7", "KLM", "", "98765432109876543210")
DAYS = (None, dt.date(2021, 9, 13), dt.date(2021, 9, 14), dt.date(2022, 2, 28))


@pytest.fixture
def fleet():
    """Give vehicles of every mixture of facts, known and missing."""
    dice = random.Random(20261)
    store = StoreFactory()
    return [
        VehicleFactory(
            store=store,
            model_year=dice.choice([None, 2020, 2021, 2022]),
            line=dice.choice(LINES),
            engine=dice.choice(ENGINES),
            plant=dice.choice(PLANTS),
            serial=dice.choice(SERIALS),
            build_date=dice.choice(DAYS),
        )
        for _n in range(120)
    ]


def some(dice, values, chance=0.5):
    """Give a few of some values, or none."""
    if dice.random() > chance:
        return frozenset()
    return frozenset(dice.sample([one for one in values if one], dice.randint(1, 2)))


def any_criterion(dice, number):
    """Make a criterion of some tests; one that asks nothing is made anew."""
    first, last = sorted(dice.choices([day for day in DAYS if day], k=2))
    ends = ("A99", "A00120", "100", "B7", "", "99999999999999999999")
    ranges = [SerialRange("a99", "A121", "ostby"), SerialRange("", "", "Lund")]
    ranges += [SerialRange(end, "", "") for end in ends if end]
    ranges += [SerialRange("", end, "") for end in ends if end]
    by_range = dice.random() < 0.3
    try:
        return Criterion(
            id=number,
            include=dice.random() < 0.75 or number == 1,
            model_year_from=2021 if by_range else None,
            model_year_to=dice.choice([None, 2022]) if by_range else None,
            model_years=some(dice, (2020, 2021, 2022)),
            lines=some(dice, LINES, 0.6),
            engines=some(dice, ENGINES, 0.4),
            plants=some(dice, PLANTS, 0.3),
            build_from=dice.choice([None, first]),
            build_to=dice.choice([None, last]),
            serials=tuple(dice.sample(ranges, dice.randint(1, 2)))
            if dice.random() < 0.4
            else (),
        )
    except CriterionAsksNothing:
        return any_criterion(dice, number)


def facts_of(row):
    return VehicleFacts(
        vin=row.vin, model_year=row.model_year, line=row.line, engine=row.engine,
        plant=row.plant, serial=row.serial, build_date=row.build_date,
    )  # fmt: skip


def test_the_database_counts_what_the_rules_say_one_by_one(fleet):
    for throw in range(80):
        dice = random.Random(throw)
        criteria = CriteriaSet(
            tuple(any_criterion(dice, n + 1) for n in range(dice.randint(1, 4)))
        )
        judged = match_many(map(facts_of, fleet), criteria)
        said = [verdict.outcome for _facts, verdict in judged]
        assert count_met(criteria) == Counted(
            said.count(Outcome.AFFECTED), said.count(Outcome.TO_BE_VERIFIED)
        ), criteria


def test_each_model_line_is_held_once_as_it_is_spelled(fleet):
    assert set(lines_held()) == set(LINES)
    assert len(lines_held()) == len(LINES)


def test_a_line_that_no_vehicle_has_meets_none():
    nowhere = CriteriaSet((Criterion(1, lines=frozenset({"Harr"})),))
    assert count_met(nowhere) == Counted(0, 0)


def test_no_cell_is_asked_twice_however_many_criteria_ask_for_it():
    criteria = CriteriaSet(
        (
            Criterion(
                1, model_years=frozenset({2021, 2022}), lines=frozenset({"Fell"})
            ),
            Criterion(2, model_years=frozenset({2022}), lines=frozenset({"fell"})),
            Criterion(3, lines=frozenset({"Corvane"})),
            Criterion(4, model_years=frozenset({2020}), lines=frozenset({"Corvane"})),
        )
    )
    cells = cells_of(criteria, ["Corvane", "Fell", "Harr"])
    assert cells.whole == ("Corvane",)
    assert cells.pairs == (("Fell", 2021), ("Fell", 2022))
    assert cells.yearless == ("Fell",)


WINDOW = Criterion(
    1,
    lines=frozenset({"Corvane"}),
    engines=frozenset({"T15"}),
    build_from=dt.date(2021, 9, 1),
    build_to=dt.date(2021, 9, 30),
    serials=(SerialRange("99", "1000", ""),),
)


def sampled(boundary, *, inside, limit=2):
    stores = list(Vehicle.objects.values_list("store_id", flat=True).distinct())
    found = near(
        WINDOW, boundary, inside=inside, store_ids=stores, held=["Corvane"], limit=limit
    )
    return [(one.build_date.isoformat()[5:], one.serial) for one in found]


def test_the_vehicles_next_to_each_end_of_a_window_are_shown():
    store = StoreFactory()
    for day, serial, engine in (
        ("2021-08-30", "500", "T15"),
        ("2021-08-31", "501", "T15"),
        ("2021-08-31", "502", "M30"),
        ("2021-09-01", "503", "T15"),
        ("2021-09-30", "0099", "T15"),
        ("2021-09-30", "98", "T15"),
        ("2021-09-29", "1000", "T15"),
        ("2021-09-29", "1001", "T15"),
        ("2021-10-01", "504", "T15"),
    ):
        VehicleFactory(
            store=store, build_date=dt.date.fromisoformat(day), serial=serial,
            engine=engine,
        )  # fmt: skip
    assert sampled("build_from", inside=True) == [("09-01", "503"), ("09-29", "1000")]
    assert sampled("build_from", inside=False) == [("08-31", "501"), ("08-30", "500")]
    assert sampled("build_to", inside=True) == [("09-30", "0099"), ("09-29", "1000")]
    assert sampled("build_to", inside=False) == [("10-01", "504")]
    assert sampled("serial_from", inside=True) == [("09-30", "0099"), ("09-01", "503")]
    assert sampled("serial_from", inside=False) == [("09-30", "98")]
    assert sampled("serial_to", inside=True, limit=1) == [("09-29", "1000")]
    assert sampled("serial_to", inside=False) == [("09-29", "1001")]


def test_vehicles_of_other_stores_are_not_shown():
    VehicleFactory(build_date=dt.date(2021, 9, 1), serial="503")
    other = StoreFactory()
    for boundary in BOUNDARIES:
        assert (
            near(WINDOW, boundary, inside=True, store_ids=[other.pk], held=["Corvane"])
            == []
        )


def test_what_one_test_alone_leaves_out_is_counted():
    store = StoreFactory()
    for engine, year in (
        ("M30", 2022), ("M30", 2022), ("K20", 2022), ("T15", 2022), ("", 2022),
        ("M30", 2019),
    ):  # fmt: skip
        VehicleFactory(store=store, engine=engine, model_year=year)
    asked = Criterion(
        1,
        model_years=frozenset({2022}),
        lines=frozenset({"Corvane"}),
        engines=frozenset({"T15"}),
    )
    held = ["Corvane"]
    assert left_out_by(asked, "engine", held=held) == [("M30", 2), ("K20", 1)]
    assert left_out_by(asked, "plant", held=held) == []
    wide = Criterion(
        1, model_years=frozenset({2022}), lines=asked.lines, engines=frozenset({"M30"})
    )
    assert left_out_by(wide, "model_year", held=held) == [("2019", 1)]


def test_the_count_takes_as_many_statements_for_many_criteria_as_for_one(
    fleet, django_assert_num_queries
):
    one = CriteriaSet((Criterion(1, model_years=frozenset({2021})),))
    many = CriteriaSet(
        tuple(Criterion(n, model_years=frozenset({2019 + n})) for n in range(1, 4))
    )
    for criteria in (one, many):
        with django_assert_num_queries(2):
            count_met(criteria)
