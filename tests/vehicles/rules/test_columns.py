import pytest

from vehicles.rules.columns import (
    FIELDS,
    HEADER_WORDS,
    MappingFault,
    check_mapping,
    folded_header,
    guess_columns,
    mapping_of,
    odometer_is_in_kilometres,
)


VINS = ["1J9RP1A36A1644345", "1J9RP1A00A1644007", "1J9RP1A0XA1644001"]


def fields(headers, rows=()):
    return [guess.field for guess in guess_columns(headers, list(rows))]


@pytest.mark.parametrize(
    ("headers", "wanted"),
    [
        (
            ["VIN", "Model Year", "Model", "Engine Code", "Plant", "Build Date"],
            ["vin", "model_year", "line", "engine", "plant", "build_date"],
        ),
        (
            [
                "Fahrgestellnummer",
                "Modelljahr",
                "Modell",
                "Halter",
                "Straße",
                "PLZ",
                "Ort",
            ],
            [
                "vin",
                "model_year",
                "line",
                "owner_name",
                "street",
                "postal_code",
                "city",
            ],
        ),
        (
            ["Número de bastidor", "Año", "Matrícula", "Dirección", "Código postal"],
            ["vin", "model_year", "plate", "street", "postal_code"],
        ),
        (
            ["Numéro de châssis", "Année", "Prénom", "Nom", "Ville", "Courriel"],
            ["vin", "model_year", "owner_given_name", "owner_name", "city", "email"],
        ),
        (
            [
                "vehicleVin",
                "OWNER_CITY",
                "Owner State",
                "owner zip code",
                "Cust. Phone 1",
            ],
            ["vin", "city", "region", "postal_code", "phone"],
        ),
        (
            ["Address 1", "Address 2", "Phone 1", "Phone 2", "ST", "Odometer Date"],
            ["street", "street2", "phone", None, "region", "odometer_date"],
        ),
    ],
)
def test_header_words_of_four_languages(headers, wanted):
    assert fields(headers) == wanted


def test_no_header_word_stands_for_two_fields():
    words = [word for known in HEADER_WORDS.values() for word in known]
    assert len(words) == len(set(words))
    assert [word for word in words if folded_header(word) != word] == []


def test_every_field_is_found_by_its_own_words():
    for field, words in HEADER_WORDS.items():
        for word in words:
            assert fields([word]) == [field], word


def test_cells_that_pass_the_vin_check_are_the_vin():
    rows = [[str(n), vin.lower()] for n, vin in enumerate(VINS)]
    (one, two) = guess_columns(["No", "Ref."], rows)
    assert (one.field, two.field) == (None, "vin")
    assert two.why == "100% of the cells pass the VIN check"


def test_cells_win_over_a_header_that_they_deny():
    rows = [["A-17", vin] for vin in VINS]
    assert fields(["VIN", "Unit ref"], rows) == [None, "vin"]


def test_years_and_mail_addresses_are_known_by_their_looks():
    rows = [["2024", "a@north.example"], ["2025", "b@north.example"]]
    assert fields(["A", "B"], rows) == ["model_year", "email"]


def test_of_two_alike_columns_the_first_is_taken():
    guesses = guess_columns(["VIN", "VIN"], [])
    assert [guess.field for guess in guesses] == ["vin", None]
    assert guesses[1].why == "nothing in it is known"


def test_empty_columns_and_headers_are_said_so():
    guesses = guess_columns(["", "City"], [["", ""], ["", ""]])
    assert [(g.field, g.why) for g in guesses] == [
        (None, "the column is empty"),
        ("city", "the header says so; the column is empty"),
    ]


def test_confidence_falls_where_the_cells_disagree():
    sure = guess_columns(["Mileage"], [["12,345"], ["7 mi"]])[0]
    unsure = guess_columns(["Mileage"], [["red"], ["blue"]])[0]
    assert sure.confidence > 0.9
    assert 0.5 <= unsure.confidence < 0.7
    assert unsure.why == "the header says so; but the cells do not look like it"


@pytest.mark.parametrize(
    ("header", "km"),
    [("Kilometerstand", True), ("Odometer (km)", True), ("Mileage", False)],
)
def test_the_unit_stands_in_the_header(header, km):
    assert odometer_is_in_kilometres(header) is km


@pytest.mark.parametrize(
    ("mapping", "sentence"),
    [
        ({"line": 0}, "No column is chosen for the VIN"),
        ({"vin": 0, "colour": 1}, "“colour” is not a field"),
        ({"vin": 7}, "Column 8 for “vin” is not in the file"),
        ({"vin": -1}, "Column 0 for “vin” is not in the file"),
        ({"vin": 1, "line": 1}, "Column 2 is chosen for “vin” and for “line”"),
    ],
)
def test_a_wrong_mapping_is_refused_with_a_sentence(mapping, sentence):
    with pytest.raises(MappingFault, match=sentence):
        check_mapping(mapping, columns=3)


def test_the_guesses_give_a_mapping():
    assert mapping_of(guess_columns(["City", "Paint", "VIN"], [])) == {
        "city": 0,
        "vin": 2,
    }


def test_a_right_mapping_passes():
    check_mapping({name: place for place, name in enumerate(FIELDS)}, columns=40)
