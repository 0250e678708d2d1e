import datetime as dt
import json
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vehicles.rules.criteria import (
    CriteriaSet,
    Criterion,
    CriterionAsksNothing,
    NothingToMatchBy,
    SerialRange,
    VehicleFacts,
    WindowBackToFront,
    compare,
)
from vehicles.rules.matching import MOST_REASONS, Outcome, Verdict, match, match_many


AFFECTED, NOT, VERIFY = Outcome
VIN = "1J9RP1A36A1644345"
FACTS = VehicleFacts(
    vin=VIN,
    model_year=2026,
    line="Tarn",
    engine="K20",
    plant="Harrow",
    serial="000345",
    build_date=dt.date(2026, 3, 9),
)
BARE = VehicleFacts(vin=VIN)
FITS = Criterion(id=1, lines=frozenset({"Tarn"}))
FITS_NOT = Criterion(id=2, lines=frozenset({"Fell"}))
BARS = Criterion(id=3, include=False, engines=frozenset({"K20"}))
BARS_NOT = Criterion(id=4, include=False, engines=frozenset({"M30"}))


def codes(verdict):
    return [reason.code for reason in verdict.reasons]


@pytest.mark.parametrize(
    ("day", "outcome"),
    [
        (dt.date(2026, 1, 31), NOT),
        (dt.date(2026, 2, 1), AFFECTED),
        (dt.date(2026, 3, 9), AFFECTED),
        (dt.date(2026, 3, 10), NOT),
        (None, VERIFY),
    ],
)
def test_both_days_of_the_build_window_are_inside(day, outcome):
    window = Criterion(1, build_from=dt.date(2026, 2, 1), build_to=dt.date(2026, 3, 9))
    facts = VehicleFacts(vin=VIN, build_date=day)
    assert match(facts, CriteriaSet((window,))).outcome is outcome


@pytest.mark.parametrize(
    ("day", "outcome"), [(dt.date(1990, 1, 1), AFFECTED), (dt.date(2026, 3, 10), NOT)]
)
def test_a_window_may_be_open_at_one_end(day, outcome):
    window = Criterion(1, build_to=dt.date(2026, 3, 9))
    facts = VehicleFacts(vin=VIN, build_date=day)
    assert match(facts, CriteriaSet((window,))).outcome is outcome


@pytest.mark.parametrize(
    ("year", "outcome"),
    [(2023, AFFECTED), (2024, NOT), (2025, AFFECTED), (2026, AFFECTED), (2027, NOT)],
)
def test_years_are_a_range_a_set_or_both(year, outcome):
    criterion = Criterion(
        1, model_years=frozenset({2023}), model_year_from=2025, model_year_to=2026
    )
    facts = VehicleFacts(vin=VIN, model_year=year)
    assert match(facts, CriteriaSet((criterion,))).outcome is outcome


def test_texts_are_compared_without_case_and_spaces():
    criterion = Criterion(1, lines=frozenset({"tarn  cross"}))
    facts = VehicleFacts(vin=VIN, line=" TARN Cross ")
    assert match(facts, CriteriaSet((criterion,))).outcome is AFFECTED


@pytest.mark.parametrize(
    ("plant", "serial", "outcome", "code"),
    [
        ("Harrow", "100", AFFECTED, "serial_inside"),
        ("HARROW", "000250", AFFECTED, "serial_inside"),
        ("Harrow", "99", NOT, "serial_outside"),
        ("Harrow", "251", NOT, "serial_outside"),
        ("Leck", "100", NOT, "serial_outside"),
        ("Leck", "7001", AFFECTED, "serial_inside"),
        ("Other", "", NOT, "serial_outside"),
        ("Harrow", "", VERIFY, "serial_missing"),
        ("", "100", VERIFY, "plant_missing"),
        ("", "300", NOT, "serial_outside"),
        ("Harrow", "B100", VERIFY, "serial_not_comparable"),
    ],
)
def test_serial_ranges_hold_at_their_plant(plant, serial, outcome, code):
    criterion = Criterion(
        1,
        serials=(
            SerialRange("000100", "000250", plant="Harrow"),
            SerialRange(first="7000", plant="Leck"),
        ),
    )
    if (plant, serial) == ("", "300"):
        criterion = Criterion(1, serials=criterion.serials[:1])
    facts = VehicleFacts(vin=VIN, plant=plant, serial=serial)
    verdict = match(facts, CriteriaSet((criterion,)))
    assert (verdict.outcome, codes(verdict)) == (outcome, [code])


@pytest.mark.parametrize(
    ("one", "other", "order"),
    [
        ("A99", "A00120", -1),
        ("a 120", "A120", 0),
        ("121", "0120", 1),
        ("A1", "B1", None),
        ("A", "A1", None),
    ],
)
def test_serials_compare_by_their_number(one, other, order):
    assert compare(one, other) == order


def test_a_no_decides_whatever_is_missing():
    criterion = Criterion(1, lines=frozenset({"Fell"}), engines=frozenset({"K20"}))
    verdict = match(VehicleFacts(vin=VIN, line="Tarn"), CriteriaSet((criterion,)))
    assert (verdict.outcome, codes(verdict)) == (NOT, ["line_outside"])


def test_a_missing_fact_is_named_with_its_criterion():
    criterion = Criterion(7, lines=frozenset({"Tarn"}), engines=frozenset({"K20"}))
    verdict = match(VehicleFacts(vin=VIN, line="Tarn"), CriteriaSet((criterion,)))
    assert verdict.outcome is VERIFY
    (reason,) = verdict.reasons
    assert (reason.code, reason.criterion_id) == ("engine_missing", 7)
    assert reason.sentence == "The engine is not known; asked for is K20."


@pytest.mark.parametrize(
    ("facts", "criteria", "outcome", "first"),
    [
        # the table of include and exclude in the module's text
        (FACTS, (FITS_NOT, BARS), NOT, "line_outside"),
        (FACTS, (FITS, BARS_NOT), AFFECTED, "line_inside"),
        (VehicleFacts(VIN, line="Tarn"), (FITS, BARS), VERIFY, "exclusion_open"),
        (VehicleFacts(VIN, engine="K20"), (FITS, BARS_NOT), VERIFY, "line_missing"),
        (BARE, (FITS, BARS), VERIFY, "exclusion_open"),
        (FACTS, (FITS, BARS), NOT, "excluded"),
        (VehicleFacts(VIN, engine="K20"), (FITS, BARS), NOT, "excluded"),
    ],
)
def test_includes_and_excludes(facts, criteria, outcome, first):
    verdict = match(facts, CriteriaSet(criteria))
    assert (verdict.outcome, codes(verdict)[0]) == (outcome, first)


LIST, NO_ENTRY = frozenset({VIN}), frozenset({"1J9RP1A0XA1644001"})


@pytest.mark.parametrize(
    ("facts", "criteria", "listed", "outcome", "first"),
    [
        # the table of list and criteria in the module's text
        (FACTS, (FITS,), LIST, AFFECTED, ["on_list"]),
        (BARE, (FITS,), LIST, AFFECTED, ["on_list"]),
        (FACTS, (), LIST, AFFECTED, ["on_list"]),
        (FACTS, (FITS_NOT,), LIST, AFFECTED, ["on_list", "criteria_disagree"]),
        (FACTS, (FITS, BARS), LIST, AFFECTED, ["on_list", "criteria_disagree"]),
        (FACTS, (FITS,), NO_ENTRY, VERIFY, ["criteria_met_not_on_list"]),
        (BARE, (FITS,), NO_ENTRY, VERIFY, ["line_missing"]),
        (FACTS, (FITS_NOT,), NO_ENTRY, NOT, ["line_outside"]),
        (FACTS, (), NO_ENTRY, NOT, ["not_on_list"]),
        (FACTS, (BARS,), NO_ENTRY, NOT, ["not_on_list"]),
        (FACTS, (FITS,), None, AFFECTED, ["line_inside"]),
    ],
)
def test_the_list_and_the_criteria(facts, criteria, listed, outcome, first):
    verdict = match(facts, CriteriaSet(criteria, listed_vins=listed))
    assert verdict.outcome is outcome
    assert codes(verdict)[: len(first)] == first


def test_the_exclusion_list_wins_over_list_and_criteria():
    campaign = CriteriaSet((FITS,), listed_vins=LIST, excluded_vins=LIST)
    verdict = match(FACTS, campaign)
    assert (verdict.outcome, codes(verdict)) == (NOT, ["on_exclusion_list"])


def test_facts_may_carry_their_own_list_entry():
    listed = VehicleFacts(VIN, on_list=True)
    unlisted = VehicleFacts(VIN, on_list=False)
    barred = VehicleFacts(VIN, on_list=True, on_exclusion_list=True)
    campaign = CriteriaSet(listed_vins=frozenset())
    outcomes = [v.outcome for _, v in match_many([listed, unlisted, barred], campaign)]
    assert outcomes == [AFFECTED, NOT, NOT]


def test_what_asks_nothing_is_refused_by_name():
    with pytest.raises(CriterionAsksNothing, match="Criterion 5 asks nothing"):
        Criterion(5)
    with pytest.raises(NothingToMatchBy):
        CriteriaSet()
    with pytest.raises(NothingToMatchBy):
        CriteriaSet((BARS,))


@pytest.mark.parametrize(
    "window",
    [
        {"model_year_from": 2026, "model_year_to": 2025},
        {"build_from": dt.date(2026, 3, 9), "build_to": dt.date(2026, 3, 8)},
        {"serials": (SerialRange("A200", "A100"),)},
    ],
)
def test_a_window_back_to_front_is_refused(window):
    with pytest.raises(WindowBackToFront, match="Criterion 1: "):
        Criterion(1, **window)


def test_many_criteria_leave_a_short_list_of_reasons():
    many = tuple(Criterion(n, lines=frozenset({f"L{n}"})) for n in range(20))
    verdict = match(FACTS, CriteriaSet(many))
    assert len(verdict.reasons) == MOST_REASONS + 1
    assert verdict.reasons[-1].sentence == "14 further tests say the same."


# A slow second reading of the same sentence: three-valued logic of Kleene, with
# min and max over no < cannot say < yes; nothing is shared with the fast one.
NO, MAYBE, YES = 0, 1, 2


def slow_test_year(criterion, facts):
    wanted = set(criterion.model_years)
    if criterion.model_year_from or criterion.model_year_to:
        low = criterion.model_year_from or 1900
        high = criterion.model_year_to or 2100
        wanted |= set(range(low, high + 1))
    if not wanted:
        return YES
    if facts.model_year is None:
        return MAYBE
    return YES if facts.model_year in wanted else NO


def slow_test_text(wanted, text):
    if not wanted:
        return YES
    if not text:
        return MAYBE
    return YES if text.lower() in {w.lower() for w in wanted} else NO


def slow_test_build(criterion, facts):
    if criterion.build_from is None and criterion.build_to is None:
        return YES
    if facts.build_date is None:
        return MAYBE
    low = criterion.build_from or dt.date.min
    high = criterion.build_to or dt.date.max
    return YES if low <= facts.build_date <= high else NO


def slow_test_serial(criterion, facts):
    best = YES if not criterion.serials else NO
    for reach in criterion.serials:
        at_plant = slow_test_text({reach.plant} if reach.plant else (), facts.plant)
        if facts.serial:
            low, high = int(reach.first or 0), int(reach.last or 10**9)
            inside = YES if low <= int(facts.serial) <= high else NO
        else:
            inside = MAYBE
        best = max(best, min(at_plant, inside))
    return best


def slow_criterion(criterion, facts):
    return min(
        slow_test_year(criterion, facts),
        slow_test_text(criterion.lines, facts.line),
        slow_test_text(criterion.engines, facts.engine),
        slow_test_text(criterion.plants, facts.plant),
        slow_test_build(criterion, facts),
        slow_test_serial(criterion, facts),
    )


def slow_outcome(campaign, facts):
    if facts.vin in campaign.excluded_vins:
        return NOT
    has_list = campaign.listed_vins is not None
    if has_list and facts.vin in campaign.listed_vins:
        return AFFECTED
    wanted = [slow_criterion(c, facts) for c in campaign.criteria if c.include]
    barred = [slow_criterion(c, facts) for c in campaign.criteria if not c.include]
    said = min(max(wanted, default=NO), 2 - max(barred, default=NO))
    if said == YES:
        return VERIFY if has_list else AFFECTED
    return VERIFY if said == MAYBE else NOT


days = st.dates(dt.date(2026, 1, 1), dt.date(2026, 1, 6))
serials = st.sampled_from(["", "5", "010", "15", "20"])
plants = st.sampled_from(["", "Harrow", "leck"])
some_vins = st.sampled_from(["V1", "V2", "V3"])
facts_of_any_kind = st.builds(
    VehicleFacts,
    vin=some_vins,
    model_year=st.none() | st.integers(2023, 2026),
    line=st.sampled_from(["", "Tarn", "FELL"]),
    engine=st.sampled_from(["", "K20", "M30"]),
    plant=plants,
    serial=serials,
    build_date=st.none() | days,
)
ranges = st.builds(
    lambda ends, plant: SerialRange(ends[0], ends[1], plant),
    st.sampled_from([("5", "10"), ("", "15"), ("12", ""), ("15", "15"), ("", "")]),
    plants,
)


@st.composite
def criteria_of_any_kind(draw):
    years = sorted(draw(st.lists(st.integers(2023, 2026), min_size=2, max_size=2)))
    window = sorted(draw(st.lists(days, min_size=2, max_size=2)))
    told = {
        "model_year_from": years[0],
        "model_year_to": years[1],
        "model_years": draw(st.frozensets(st.integers(2023, 2026), max_size=2)),
        "lines": draw(st.frozensets(st.sampled_from(["tarn", "Fell"]))),
        "engines": draw(st.frozensets(st.sampled_from(["K20", "m30"]))),
        "plants": draw(st.frozensets(st.sampled_from(["Harrow", "Leck"]))),
        "build_from": window[0],
        "build_to": window[1],
        "serials": tuple(draw(st.lists(ranges, max_size=2))),
    }
    kept = draw(st.sets(st.sampled_from(sorted(told)), min_size=1, max_size=4))
    asked = {name: told[name] for name in kept}
    asked.setdefault("model_years", frozenset())
    if not any(asked.values()):
        asked["model_year_from"] = years[0]
    return Criterion(draw(st.integers(1, 9)), include=draw(st.booleans()), **asked)


@st.composite
def campaigns_of_any_kind(draw):
    criteria = tuple(draw(st.lists(criteria_of_any_kind(), max_size=4)))
    listed = draw(st.none() | st.frozensets(some_vins, max_size=2))
    if listed is None and not any(c.include for c in criteria):
        listed = frozenset()
    return CriteriaSet(criteria, listed, draw(st.frozensets(some_vins, max_size=1)))


@settings(max_examples=200)
@given(campaigns_of_any_kind(), st.lists(facts_of_any_kind, min_size=1, max_size=6))
def test_the_fast_reading_agrees_with_the_slow_one(campaign, vehicles):
    fast = [
        (facts, verdict.outcome) for facts, verdict in match_many(vehicles, campaign)
    ]
    assert fast == [(facts, slow_outcome(campaign, facts)) for facts in vehicles]


@given(campaigns_of_any_kind(), facts_of_any_kind)
def test_every_verdict_has_a_reason_and_survives_json(campaign, facts):
    verdict = match(facts, campaign)
    assert verdict.reasons
    assert Verdict.from_json(json.loads(json.dumps(verdict.to_json()))) == verdict


def test_a_hundred_thousand_vehicles_take_about_two_seconds():
    start = dt.date(2024, 1, 1)
    vehicles = [
        VehicleFacts(
            vin=f"1J9RP1A00A1{n:06d}",
            model_year=2020 + n % 7,
            line=("Tarn", "Fell", "Beck")[n % 3],
            engine=("K20", "", "M30")[n % 3],
            plant=("Harrow", "Leck")[n % 2],
            serial=f"{n:06d}",
            build_date=start + dt.timedelta(days=n % 900),
        )
        for n in range(100_000)
    ]
    reach = (SerialRange("1000", "60000", "Harrow"),)
    campaign = CriteriaSet(
        (
            Criterion(1, lines=frozenset({"Tarn"}), build_from=start, serials=reach),
            Criterion(2, model_year_from=2024, engines=frozenset({"M30"})),
            Criterion(3, include=False, plants=frozenset({"Leck"}), model_year_to=2021),
        )
    )
    started = time.process_time()
    affected = sum(v.outcome is AFFECTED for _, v in match_many(vehicles, campaign))
    assert time.process_time() - started < 3
    assert affected == sum(slow_outcome(campaign, v) is AFFECTED for v in vehicles)
