import csv
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicles.rules.standing import VehicleKind
from vehicles.rules.vin import (
    BulkResult,
    Grade,
    MakerCode,
    Market,
    NotAVin,
    check_digit,
    check_many,
    has_right_check_digit,
    judge_vin,
    maker_code,
    model_years,
    normalise_vin,
    weighted_sum,
    without_import_mark,
)


ALPHABET = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
# Each row names its own source in the column "origin".
CHECKS = list(
    csv.DictReader(
        (Path(__file__).parents[2] / "data" / "vin_checks.csv").open(encoding="utf-8")
    )
)
# 49 CFR 565.15(c), the sample calculation of the rule: sum 411, digit 4.
SAMPLE = "1G4AH59H45G118341"
vins = st.text(ALPHABET, min_size=17, max_size=17)


@pytest.mark.parametrize("row", CHECKS, ids=lambda row: row["vin"])
def test_published_vins_give_the_published_sum_digit_and_year(row):
    vin = row["vin"]
    if row["weighted_sum"]:
        assert weighted_sum(vin) == int(row["weighted_sum"])
    assert check_digit(vin) == row["check_digit"]
    assert has_right_check_digit(vin) is (row["valid"] == "yes")
    if row["model_year_light_rule"]:
        years = model_years(vin, kind=VehicleKind.LIGHT)
        wanted = row["model_year_light_rule"]
        assert years == (() if wanted == "none" else (int(wanted),))


def test_the_published_rows_hold_each_check_digit():
    assert {row["check_digit"] for row in CHECKS} == set("0123456789X")


@pytest.mark.parametrize(
    ("position_7", "kind", "years"),
    [
        # Preamble of the 2008 rule to 49 CFR 565.15(d): for light vehicles position 7
        # tells the period, for other vehicles it may be either.
        ("1", VehicleKind.LIGHT, (1984,)),
        ("A", VehicleKind.LIGHT, (2014,)),
        ("1", VehicleKind.HEAVY, (1984, 2014)),
        ("A", VehicleKind.TRAILER, (1984, 2014)),
        ("A", VehicleKind.UNKNOWN, (1984, 2014)),
    ],
)
def test_year_code_e_means_1984_or_2014(position_7, kind, years):
    assert model_years(f"1J9RP1{position_7}06E1644345", kind=kind) == years


def test_year_codes_follow_table_vii():
    # 49 CFR 565.15(d), table VII: A 2010, V 2027, Y 2030, 1 2031, 9 2039.
    read = {
        code: model_years(f"1J9RP1A36{code}1644345", kind=VehicleKind.LIGHT)
        for code in "AVY19"
    }
    assert read == {
        "A": (2010,), "V": (2027,), "Y": (2030,), "1": (2031,), "9": (2039,),
    }  # fmt: skip


@pytest.mark.parametrize("code", "IOQUZ0")
def test_six_characters_are_no_year_codes(code):
    assert model_years(f"1J9RP1A36{code}1644345", kind=VehicleKind.LIGHT) == ()


def test_low_volume_maker_is_named_by_six_characters():
    # The regulator's outline for new manufacturers, p. 18: identifier 1J9 and 644.
    assert maker_code("1J9RP1A36A1644345") == MakerCode("1J9644", low_volume=True)
    assert maker_code(SAMPLE) == MakerCode("1G4", low_volume=False)


@pytest.mark.parametrize(
    "text",
    [
        "1g4ah59h45g118341",
        " 1G4AH59H45G118341\t",
        "*1G4AH59H45G118341*",
        "1G4 AH59H 4 5G118341",
        "1G4-AH59H-4-5G118341",
        "1G4AH59H4\u20115G118341\ufeff",
        "\uff11G4AH59H45G118341",
    ],
)
def test_what_scanners_and_typists_add_is_taken_away(text):
    assert normalise_vin(text) == SAMPLE


def test_letters_are_not_exchanged_for_digits():
    assert normalise_vin("oiq") == "OIQ"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "vin_missing"),
        (" ** ", "vin_missing"),
        ("1G4AH59H45G11834", "vin_length"),
        ("1G4AH59H45G1183411", "vin_length"),
        ("IG4AH59H45G118341", "vin_character"),
        ("1G4AH59H45G11834Ä", "vin_character"),
    ],
)
def test_wrong_length_or_characters_are_rejected_in_every_market(text, code):
    for market in Market:
        verdict = judge_vin(text, market=market)
        assert verdict.grade is Grade.REJECT
        assert [reason.code for reason in verdict.reasons] == [code]


def test_the_place_of_a_wrong_character_is_told():
    (reason,) = judge_vin("1G4AH59H45G11834O").reasons
    assert reason.sentence == "No VIN can hold “O” at position 17."


@pytest.mark.parametrize(
    ("vin", "market", "grade"),
    [
        # Published test data: the last character changed, digit 5 expected.
        ("1HGCM82633A004353", Market.UNKNOWN, Grade.REJECT),
        ("1HGCM82633A004353", Market.OTHER, Grade.REJECT),
        # Published examples of makers outside North America without a check digit.
        ("XTAGFK330JY144213", Market.UNKNOWN, Grade.WARN),
        ("VF1LM1B0H36666155", Market.OTHER, Grade.WARN),
        ("VF1LM1B0H36666155", Market.US, Grade.REJECT),
    ],
)
def test_a_wrong_check_digit_counts_by_market(vin, market, grade):
    verdict = judge_vin(vin, market=market, kind=VehicleKind.LIGHT)
    assert verdict.grade is grade
    assert "vin_check_digit" in [reason.code for reason in verdict.reasons]


def test_a_swap_of_equal_valued_letters_cannot_be_seen():
    # 49 CFR 565.15(c), table III: D and M are both worth 4.
    assert has_right_check_digit("1M8GDM9AXKP042788")
    assert has_right_check_digit("1M8GMD9AXKP042788")


def test_39_of_522_single_slips_in_the_sample_pass():
    # Counted here; it is what the table of values allows: no outside figure.
    passing = total = 0
    for place in range(17):
        for letter in ALPHABET if place != 8 else "0123456789X":
            if letter != SAMPLE[place]:
                total += 1
                wrong = SAMPLE[:place] + letter + SAMPLE[place + 1 :]
                passing += has_right_check_digit(wrong)
    assert (passing, total) == (39, 522)


def test_a_light_vehicle_has_one_year():
    verdict = judge_vin(SAMPLE, kind=VehicleKind.LIGHT)
    assert (verdict.grade, verdict.model_year, verdict.reasons) == (Grade.OK, 2005, ())


def test_two_years_are_offered_and_none_is_guessed():
    verdict = judge_vin("1M8GDM9AXKP042788", kind=VehicleKind.HEAVY)
    assert (verdict.model_year, verdict.model_years) == (None, (1989, 2019))
    assert [reason.code for reason in verdict.reasons] == ["vin_two_model_years"]
    assert verdict.grade is Grade.OK


def test_a_stated_year_settles_two_candidates():
    verdict = judge_vin("1M8GDM9AXKP042788", stated_model_year=2019)
    assert (verdict.grade, verdict.model_year, verdict.reasons) == (Grade.OK, 2019, ())


def test_a_stated_year_that_the_vin_denies_is_a_fault():
    verdict = judge_vin("1M8GDM9AXKP042788", stated_model_year=2018)
    assert verdict.grade is Grade.REJECT
    assert verdict.model_year is None
    assert verdict.reasons[0].sentence == (
        "The list says model year 2018, the VIN says 1989 or 2019."
    )
    abroad = judge_vin("XTAGFK330JY144213", stated_model_year=2001)
    assert abroad.grade is Grade.WARN


def test_without_a_year_code_the_stated_year_is_taken():
    # Published test data: the digit is right, 0 in position 10 is no year code.
    verdict = judge_vin("WBA71DC010CH14720", stated_model_year=2012)
    assert (verdict.grade, verdict.model_year) == (Grade.WARN, 2012)
    assert [reason.code for reason in verdict.reasons] == ["vin_no_year_code"]


@pytest.mark.parametrize("text", ["", "123", SAMPLE + "1"])
def test_short_and_long_texts_are_refused_by_name(text):
    with pytest.raises(NotAVin):
        weighted_sum(text)
    with pytest.raises(NotAVin):
        model_years(text, kind=VehicleKind.LIGHT)
    with pytest.raises(NotAVin):
        maker_code(text)


@given(vins)
def test_exactly_one_character_fits_position_9(vin):
    fitting = [c for c in ALPHABET if has_right_check_digit(vin[:8] + c + vin[9:])]
    assert fitting == [check_digit(vin)]


def slow_result(text):
    if len(text) != 17:
        return BulkResult.WRONG_LENGTH
    try:
        right = has_right_check_digit(text)
    except NotAVin:
        return BulkResult.WRONG_CHARACTER
    return BulkResult.GOOD if right else BulkResult.WRONG_DIGIT


@given(
    st.lists(
        vins
        | vins.map(lambda vin: vin[:8] + check_digit(vin) + vin[9:])
        | st.text(min_size=0, max_size=20)
        | st.text(ALPHABET + "IOQ é🚗", min_size=17, max_size=17),
        max_size=20,
    )
)
def test_the_fast_check_says_what_the_slow_one_says(texts):
    assert list(check_many(texts)) == list(map(slow_result, texts))


def test_the_fast_check_takes_half_a_million_a_second():
    numbers = np.arange(200_000)
    many = [f"1J9RP1A00A1{number:06d}" for number in numbers]
    started = time.process_time()
    good = int((check_many(many) == BulkResult.GOOD).sum())
    assert time.process_time() - started < 0.4
    assert good == sum(map(has_right_check_digit, many))


def test_a_zero_byte_is_no_part_of_a_vin():
    # PostgreSQL, "Character Types": the character with code zero cannot be stored
    assert normalise_vin("1U0KT\0") == "1U0KT"


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        (f"I{SAMPLE}", SAMPLE),
        (SAMPLE, SAMPLE),
        (f"J{SAMPLE}", f"J{SAMPLE}"),
        (f"I{SAMPLE[:-1]}", f"I{SAMPLE[:-1]}"),  # 17 characters: an I typed for a 1
        (f"II{SAMPLE[1:]}", f"II{SAMPLE[1:]}"),
        ("", ""),
    ],
)
def test_the_mark_of_an_imported_vehicle_is_no_part_of_its_vin(code, expected):
    """49 CFR 565.13(g): no VIN holds an I; the label's mark is from memory."""
    assert without_import_mark(code) == expected
