"""One cell at a time, beside the standards that say what it means.

The mile: International Yard and Pound Agreement, 1959. Countries: ISO 3166-1.
Languages: ISO 639. Nine-digit US postal codes: ZIP+4, five digits, hyphen, four.
"""

import pytest

from vehicles.rules.cells import (
    Cleaned,
    Number,
    as_code,
    clean_text,
    folded_word,
    is_email,
    is_no_date,
    is_nothing,
    is_phone,
    looks_like_formula,
    lost_digits,
    mend_postal_code,
    miles_of,
    names_a_firm,
    postal_code_fits,
    read_country,
    read_language,
    read_number,
)


@pytest.mark.parametrize(
    ("text", "cleaned"),
    [
        ("  12  Quarry\tRoad\n", Cleaned("12 Quarry Road")),
        ("Núñez", Cleaned("Núñez")),
        ("Ash\u200bdown", Cleaned("Ashdown")),
        ("Ash\u00a0down", Cleaned("Ash down")),
        ("Ash\x00down", Cleaned("Ashdown", had_controls=True)),
        ("", Cleaned("")),
    ],
)
def test_white_space_is_joined_and_controls_are_told(text, cleaned):
    assert clean_text(text) == cleaned


@pytest.mark.parametrize("text", ["", "-", "N/A", "#REF!", "unbekannt", "TBD"])
def test_words_for_nothing(text):
    assert is_nothing(text)


@pytest.mark.parametrize("text", ["0", "Nil Street", "none of them"])
def test_what_only_resembles_nothing_is_something(text):
    assert not is_nothing(text)


def test_zeros_are_no_date_and_a_date_is_one():
    assert is_no_date("00/00/0000")
    assert not is_no_date("03/09/2026")


@pytest.mark.parametrize(
    ("text", "would_run"),
    [
        ("=1+1", True),
        ("@SUM(A1)", True),
        ("+cmd|' /C'", True),
        ("-A1", True),
        ("-12", False),
        ("+1 217 555 0134", False),
        ("(217) 555", False),
    ],
)
def test_a_formula_is_told_from_a_signed_number(text, would_run):
    assert looks_like_formula(text) is would_run


def test_what_a_spreadsheet_does_to_numbers():
    assert lost_digits("1.23E+16")
    assert not lost_digits("1E23B")
    assert as_code("12345.0") == "12345"
    assert as_code("12345.5") == "12345.5"


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("41500", Number(41_500)),
        ("41,500 mi", Number(41_500, "mi")),
        ("66.788 km", Number(66_788, "km")),
        ("41 500", Number(41_500)),
        ("1'234'567", Number(1_234_567)),
        ("41500.9", Number(41_500)),
        ("-5", Number(-5)),
        ("about 40000", None),
        ("4,15", Number(4)),
    ],
)
def test_whole_numbers_with_marks_and_units(text, number):
    assert read_number(text) == number


def test_a_mile_is_1_609_344_metres():
    assert miles_of(Number(1_609_344, "km"), kilometres=False) == 1_000_000
    assert miles_of(Number(1_609_344), kilometres=True) == 1_000_000
    assert miles_of(Number(100, "mi"), kilometres=True) == 100
    assert miles_of(Number(2, "km"), kilometres=False) == 1  # cut off, not rounded


@pytest.mark.parametrize(
    ("text", "country", "mended"),
    [
        ("501", "US", "00501"),
        ("2134", "US", "02134"),
        ("021341234", "US", "02134-1234"),
        ("60000", "US", "60000"),
        ("2134", "AU", "2134"),
    ],
)
def test_a_us_postal_code_gets_its_zeros_and_hyphen_back(text, country, mended):
    assert mend_postal_code(text, country) == mended


def test_a_postal_code_has_the_shape_of_its_country():
    assert postal_code_fits("60000-1234", "US")
    assert not postal_code_fits("6000", "US")
    assert postal_code_fits("K1A 0B1", "CA")
    assert postal_code_fits("anything", "XX")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("U.S.A.", "US"),
        ("us", "US"),
        ("Deutschland", "DE"),
        ("Canada", "CA"),
        ("Estados Unidos", "US"),
        ("Nowhere", None),
    ],
)
def test_countries_by_code_or_name(text, code):
    assert read_country(text) == code


@pytest.mark.parametrize(
    ("text", "code"),
    [("en-US", "en"), ("Spanish", "es"), ("Deutsch", "de"), ("?", None)],
)
def test_languages_by_code_or_name(text, code):
    assert read_language(text) == code


def test_shapes_of_contacts_and_firms():
    assert is_email("p.ashdown@example.org")
    assert not is_email("p.ashdown@example")
    assert not is_email("a@example.org, b@example.org")
    assert is_phone("(217) 555-0134")
    assert not is_phone("ext. 134")
    assert names_a_firm("Quarry Road Gravel Inc.")
    assert not names_a_firm("Inca Ashdown")
    assert folded_word("  Pre-Owned  Anhänger ") == "pre_owned_anhanger"
