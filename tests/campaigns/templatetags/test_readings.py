from decimal import Decimal

import pytest

from campaigns.templatetags.readings import limits_in_other, measured, with_unit


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (Decimal("39.500"), "39.5"),
        (Decimal("51.000"), "51"),
        (Decimal("100.000"), "100"),
        (Decimal("-0.125"), "-0.125"),
        (None, ""),
    ],
)
def test_measured(value, written):
    assert measured(value) == written


def test_a_length_is_written_in_both_units():
    assert with_unit(Decimal("61.000"), "mm") == "61 mm (2.4 in)"
    assert with_unit(Decimal("45.500"), "Nm") == "45.5 Nm"


@pytest.mark.parametrize(
    ("low", "high", "unit", "written"),
    [
        (Decimal(60), None, "mm", "at least 2.4 in"),
        (None, Decimal("38.045"), "mm", "at most 1.4978 in"),
        (Decimal(6), Decimal(8), "mm", "from 0.24 to 0.31 in"),
        (Decimal(43), Decimal(49), "Nm", ""),
    ],
)
def test_limits_in_the_other_unit(low, high, unit, written):
    assert limits_in_other(low, high, unit) == written
