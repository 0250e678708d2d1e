"""Names as they are compared."""

import pytest

from vehicles.rules.names import folded_name


@pytest.mark.parametrize(
    ("name", "folded"),
    [
        ("Pernille  ASHDOWN", "pernille ashdown"),
        ("Núñez", "nunez"),
        ("Nu\u0301n\u0303ez", "nunez"),
        ("Weiß", "weiss"),
        ("", ""),
    ],
)
def test_case_accents_and_spaces_do_not_count(name, folded):
    assert folded_name(name) == folded


def test_folding_again_changes_nothing():
    assert folded_name(folded_name("Ångström  Šik")) == folded_name("Ångström  Šik")
