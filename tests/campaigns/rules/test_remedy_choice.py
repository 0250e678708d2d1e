"""Choosing a variant and judging a measured value."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from campaigns.rules import remedy_choice
from campaigns.rules.lifecycle import ReadingResult
from campaigns.rules.remedy_choice import (
    Condition,
    Limits,
    Measured,
    VariantRule,
    VehicleFact,
    VehicleFacts,
)


OLDER = Condition(fact=VehicleFact.MODEL_YEAR, high=Decimal(2021))
NEWER = Condition(fact=VehicleFact.MODEL_YEAR, low=Decimal(2022))
EARLY = Condition(fact=VehicleFact.BUILD_DATE, high=date(2023, 4, 30))
LATE = Condition(fact=VehicleFact.BUILD_DATE, low=date(2023, 5, 1))
RULES = (
    VariantRule(code="A", conditions=(OLDER,)),
    VariantRule(code="B", conditions=(NEWER, EARLY)),
    VariantRule(code="C", conditions=(NEWER, LATE)),
)


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        (VehicleFacts(model_year=2021), "A"),
        (VehicleFacts(model_year=2022, build_date=date(2023, 4, 30)), "B"),
        (VehicleFacts(model_year=2022, build_date=date(2023, 5, 1)), "C"),
    ],
)
def test_exactly_one_variant_and_both_ends_inside(facts, code):
    assert remedy_choice.choose_variant(RULES, facts).code == code


def test_a_missing_fact_is_asked_for_only_where_it_decides():
    known_old = VehicleFacts(model_year=2019, build_date=None)
    assert remedy_choice.choose_variant(RULES, known_old).code == "A"
    with pytest.raises(remedy_choice.FactMissing) as caught:
        remedy_choice.choose_variant(RULES, VehicleFacts(model_year=2023))
    assert caught.value.facts == ("the build date",)
    assert caught.value.codes == ("B", "C")
    with pytest.raises(remedy_choice.FactMissing) as caught:
        remedy_choice.choose_variant(RULES, VehicleFacts())
    assert caught.value.facts == ("the model year", "the build date")


def test_none_and_several():
    with pytest.raises(remedy_choice.NoVariantFits) as none:
        remedy_choice.choose_variant(RULES[1:], VehicleFacts(model_year=2019))
    assert none.value.codes == ("B", "C")
    with pytest.raises(remedy_choice.NoVariantFits, match="there are none"):
        remedy_choice.choose_variant([], VehicleFacts())
    overlapping = (VariantRule(code="X"), VariantRule(code="Y", conditions=(OLDER,)))
    with pytest.raises(remedy_choice.SeveralVariantsFit) as several:
        remedy_choice.choose_variant(overlapping, VehicleFacts(model_year=2019))
    assert several.value.codes == ("X", "Y")


def test_a_variant_without_conditions_fits_everything():
    assert remedy_choice.choose_variant([VariantRule(code="X")], VehicleFacts())


@pytest.mark.parametrize(
    ("campaigns", "holds"),
    [
        (frozenset({"C1"}), True),
        (frozenset({"C1", "C2"}), False),
        (frozenset(), False),
        (None, None),
    ],
)
def test_membership_of_campaigns(campaigns, holds):
    condition = Condition(
        fact=VehicleFact.CAMPAIGN,
        one_of=frozenset({"C1"}),
        none_of=frozenset({"C2"}),
    )
    facts = VehicleFacts(campaigns=campaigns)
    assert remedy_choice.condition_holds(condition, facts) is holds


@pytest.mark.parametrize(
    ("condition", "facts", "holds"),
    [
        (
            Condition(fact=VehicleFact.ODOMETER_MILES, low=Decimal(60000)),
            VehicleFacts(odometer_miles=60000),
            True,
        ),
        (
            Condition(fact=VehicleFact.ODOMETER_MILES, low=Decimal(60000)),
            VehicleFacts(odometer_miles=59999),
            False,
        ),
        (
            Condition(fact=VehicleFact.AGE_MONTHS, low=Decimal(48)),
            VehicleFacts(age_months=None),
            None,
        ),
        (
            Condition(fact=VehicleFact.MODEL_YEAR, one_of=frozenset({"2020", "2022"})),
            VehicleFacts(model_year=2021),
            False,
        ),
        (
            Condition(fact=VehicleFact.MODEL_YEAR, none_of=frozenset({"2021"})),
            VehicleFacts(model_year=2021),
            False,
        ),
    ],
)
def test_single_conditions(condition, facts, holds):
    assert remedy_choice.condition_holds(condition, facts) is holds


def body_length(value, unit="mm"):
    return VehicleFacts(
        measured={"body length": Measured(value=Decimal(value), unit=unit)}
    )


def test_a_measured_length_tells_the_type_of_a_part():
    """Common practice, no source: 91 mm is the old type, 100 mm the latest."""
    rules = (
        VariantRule(
            code="replace",
            conditions=(
                Condition(
                    fact=VehicleFact.MEASURED,
                    name="body length",
                    unit="mm",
                    high=Decimal(95),
                ),
            ),
        ),
        VariantRule(
            code="keep",
            conditions=(
                Condition(
                    fact=VehicleFact.MEASURED,
                    name="body length",
                    unit="mm",
                    low=Decimal("95.001"),
                ),
            ),
        ),
    )
    assert remedy_choice.choose_variant(rules, body_length("91")).code == "replace"
    assert remedy_choice.choose_variant(rules, body_length("100")).code == "keep"
    assert remedy_choice.choose_variant(rules, body_length("4", "in")).code == "keep"
    with pytest.raises(remedy_choice.FactMissing, match="body length"):
        remedy_choice.choose_variant(rules, VehicleFacts())
    with pytest.raises(remedy_choice.UnitsDiffer):
        remedy_choice.choose_variant(rules, body_length("9", "Nm"))


DEPTH = Limits(unit="mm", low=Decimal(60), outside=ReadingResult.REPEAT, attempts=3)


@pytest.mark.parametrize(
    ("value", "unit", "attempt", "result"),
    [
        # common practice, no source: at least 60 mm; 20 to 25 mm, turn and measure
        # again; any depth under 60 mm fails, not only 20 to 25
        ("60", "mm", 1, ReadingResult.PASS),
        ("22", "mm", 1, ReadingResult.REPEAT),
        ("59.999", "mm", 1, ReadingResult.REPEAT),
        ("0", "mm", 2, ReadingResult.REPEAT),
        ("22", "mm", 3, ReadingResult.STOP),
        ("61", "mm", 3, ReadingResult.PASS),
        ("2.4", "in", 1, ReadingResult.PASS),
        ("2.36", "in", 1, ReadingResult.REPEAT),
    ],
)
def test_depth_check(value, unit, attempt, result):
    found = remedy_choice.judge_reading(
        DEPTH, Decimal(value), unit=unit, attempt=attempt
    )
    assert found is result


@pytest.mark.parametrize(
    ("outside", "result"),
    [
        (ReadingResult.REPLACE, ReadingResult.REPLACE),
        (ReadingResult.STOP, ReadingResult.STOP),
        (ReadingResult.PASS, ReadingResult.STOP),
    ],
)
def test_what_to_do_outside_the_limits(outside, result):
    limits = Limits(unit="mm", low=Decimal(5), high=Decimal(6), outside=outside)
    for value in (Decimal("4.9"), Decimal("6.1")):
        found = remedy_choice.judge_reading(limits, value, unit="mm", attempt=1)
        assert found is result
    high = remedy_choice.judge_reading(limits, Decimal(6), unit="mm", attempt=1)
    assert high is ReadingResult.PASS


def test_an_inch_is_25_4_millimetres():
    """International yard and pound agreement, 1959."""
    assert remedy_choice.convert(Decimal(1), "in", "mm") == Decimal("25.4")
    assert remedy_choice.convert(Decimal("60.96"), "mm", "in") == Decimal("2.4")
    assert remedy_choice.convert(Decimal(3), "Nm", "Nm") == 3
    with pytest.raises(remedy_choice.UnitsDiffer):
        remedy_choice.convert(Decimal(1), "Nm", "mm")


CONDITIONS = st.one_of(
    st.builds(
        Condition,
        fact=st.sampled_from([VehicleFact.MODEL_YEAR, VehicleFact.ODOMETER_MILES]),
        low=st.none() | st.integers(0, 10**6).map(Decimal),
        high=st.none() | st.integers(0, 10**6).map(Decimal),
        none_of=st.frozensets(st.text(min_size=1, max_size=5), max_size=3),
    ),
    st.builds(
        Condition,
        fact=st.just(VehicleFact.BUILD_DATE),
        low=st.none() | st.dates(),
        high=st.none() | st.dates(),
    ),
    st.builds(
        Condition,
        fact=st.just(VehicleFact.MEASURED),
        low=st.none() | st.decimals(-1000, 1000, places=3),
        name=st.text(min_size=1, max_size=9),
        unit=st.sampled_from(["mm", "in", "Nm"]),
    ),
    st.builds(
        Condition,
        fact=st.just(VehicleFact.CAMPAIGN),
        one_of=st.frozensets(st.text(min_size=1, max_size=5), max_size=3),
    ),
)


@settings(deadline=None)
@given(st.lists(CONDITIONS, max_size=4))
def test_stored_conditions_read_back(conditions):
    stored = remedy_choice.write_conditions(conditions)
    assert remedy_choice.read_conditions(stored) == tuple(conditions)


@pytest.mark.parametrize(
    "stored",
    [
        {},
        {"fact": "colour"},
        {"fact": "model_year", "low": "many"},
        {"fact": "model_year", "low": "NaN"},
        {"fact": "build_date", "low": "03/09/2026"},
        {"fact": "model_year", "one_of": "2021"},
        {"fact": "model_year", "lowest": "2021"},
        {"fact": "measured", "low": "3", "unit": "mm"},
    ],
)
def test_refuses_conditions_that_cannot_be_read(stored):
    with pytest.raises(remedy_choice.BadCondition):
        remedy_choice.read_conditions([stored])


@settings(deadline=None)
@given(
    st.integers(2018, 2026),
    st.dates(date(2018, 1, 1), date(2026, 12, 31)),
)
def test_any_vehicle_gets_exactly_one(year, built):
    facts = VehicleFacts(model_year=year, build_date=built)
    plain = "A" if year <= 2021 else "B" if built <= date(2023, 4, 30) else "C"
    assert remedy_choice.choose_variant(RULES, facts).code == plain


OLD_YEARS = Condition(fact=VehicleFact.MODEL_YEAR, high=Decimal(2019))
NEW_YEARS = Condition(fact=VehicleFact.MODEL_YEAR, low=Decimal(2020))
APART = Condition(fact=VehicleFact.CAMPAIGN, none_of=frozenset({"C1"}))
BELONGS = Condition(fact=VehicleFact.CAMPAIGN, one_of=frozenset({"C1"}))
SHORT = Condition(
    fact=VehicleFact.MEASURED, name="length", unit="mm", high=Decimal("95.999")
)
LONG = Condition(fact=VehicleFact.MEASURED, name="length", unit="mm", low=Decimal(96))
FULL = (
    VariantRule(code="campaign", conditions=(BELONGS,)),
    VariantRule(code="newer", conditions=(NEW_YEARS, APART)),
    VariantRule(code="older, old type", conditions=(OLD_YEARS, APART, SHORT)),
    VariantRule(code="older, latest", conditions=(OLD_YEARS, APART, LONG)),
)


@settings(deadline=None)
@given(
    st.none() | st.integers(2005, 2030),
    st.frozensets(st.sampled_from(["C1", "C2", "C3"])),
    st.none() | st.decimals(50, 150, places=3),
)
def test_exactly_one_variant_or_the_fact_that_decides_is_asked_for(
    year, campaigns, length
):
    """Beside a plain reading of the same table, by measured length too."""
    facts = VehicleFacts(
        model_year=year,
        campaigns=campaigns,
        measured={}
        if length is None
        else {"length": Measured(value=length, unit="mm")},
    )
    if "C1" in campaigns:
        plain = "campaign"
    elif year is None:
        plain = None
    elif year >= 2020:
        plain = "newer"
    elif length is None:
        plain = None
    else:
        plain = "older, old type" if length < 96 else "older, latest"
    if plain is None:
        with pytest.raises(remedy_choice.FactMissing):
            remedy_choice.choose_variant(FULL, facts)
    else:
        assert remedy_choice.choose_variant(FULL, facts).code == plain
    holding = [
        rule.code
        for rule in FULL
        if all(remedy_choice.condition_holds(one, facts) for one in rule.conditions)
    ]
    assert len(holding) <= 1
