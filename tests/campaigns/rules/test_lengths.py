"""Lengths in both units. 1 in is 25.4 mm exactly (yard and pound agreement, 1959)."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules.lengths import (
    NotAReading,
    in_other_unit,
    is_length,
    limit_in_other_unit,
    other_unit,
    read_typed,
)
from campaigns.rules.lifecycle import ReadingResult
from campaigns.rules.remedy_choice import Limits, convert, judge_reading


@pytest.mark.parametrize(
    ("limit", "unit", "lower", "shown"),
    [
        ("60", "mm", True, "2.4"),  # common practice, no source: 60 mm is 2.4 in
        ("60.000", "mm", True, "2.4"),
        ("60", "mm", False, "2.3"),
        ("100", "mm", True, "3.94"),
        ("6", "mm", True, "0.24"),
        ("38.045", "mm", False, "1.4978"),
        ("0.5", "mm", True, "0.020"),
        ("1250", "mm", False, "49.21"),
        ("2.4", "in", True, "61"),
        ("2.4", "in", False, "60"),
        ("1.500", "in", False, "38"),
        ("0", "mm", True, "0"),
    ],
)
def test_a_limit_in_the_other_unit_is_rounded_to_the_inside(limit, unit, lower, shown):
    found = limit_in_other_unit(Decimal(limit), unit, lower=lower)
    assert str(found) == shown


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        ("61", "mm", "2.4"),
        ("91", "mm", "3.6"),
        ("100", "mm", "3.94"),
        ("2.375", "in", "60.33"),
        ("59.999", "mm", "2.3622"),
        ("-3", "mm", "-0.12"),
    ],
)
def test_a_reading_in_the_other_unit(value, unit, shown):
    assert str(in_other_unit(Decimal(value), unit)) == shown


@given(st.decimals("0.001", 9_999, places=3), st.sampled_from(["mm", "in"]))
def test_who_keeps_the_limit_shown_keeps_the_limit_meant(limit, unit):
    """Judged by the rule itself, on both sides."""
    for lower in (True, False):
        shown = limit_in_other_unit(limit, unit, lower=lower)
        bounds = {"low": limit} if lower else {"high": limit}
        limits = Limits(unit=unit, outside=ReadingResult.STOP, **bounds)
        judged = judge_reading(limits, shown, unit=other_unit(unit), attempt=1)
        assert judged is ReadingResult.PASS
        # and it gives away no more than one step of its last figure and a half
        back = convert(shown, other_unit(unit), unit)
        assert abs(back - limit) <= limit / 10


@pytest.mark.parametrize(
    ("typed", "unit", "value", "given_in"),
    [
        ("61", "mm", "61", "mm"),
        (" 61 mm ", "mm", "61", "mm"),
        ("2.4 in", "mm", "2.4", "in"),
        ('2.4"', "mm", "2.4", "in"),
        ("2.4IN", "mm", "2.4", "in"),
        ("2 3/8 in", "mm", "2.375", "in"),
        ("2-3/8 inches", "mm", "2.375", "in"),
        ("3/8", "in", "0.375", "in"),
        ("1/64 in", "mm", "0.016", "in"),
        ("61mm", "in", "61", "mm"),
        ("45.5", "Nm", "45.5", "Nm"),
        ("45.5 nm", "Nm", "45.5", "Nm"),
        (".5", "kPa", "0.5", "kPa"),
        ("-3", "Pa", "-3", "Pa"),
    ],
)
def test_what_the_bay_types(typed, unit, value, given_in):
    found = read_typed(typed, unit=unit)
    assert (found.value, found.unit) == (Decimal(value), given_in)


@pytest.mark.parametrize(
    ("typed", "unit"),
    [
        ("", "mm"),
        ("2,4", "mm"),
        ("abc", "mm"),
        ("NaN", "mm"),
        ("1e9", "mm"),
        ("3/0 in", "mm"),
        ("3/8", "mm"),
        ("3/8", "Nm"),
        ("45 Nm", "mm"),
        ("45 in", "Nm"),
        ("60 cm", "mm"),
        ("1 2", "mm"),
        ("∞", "mm"),
    ],
)
def test_what_is_no_measured_value(typed, unit):
    with pytest.raises(NotAReading) as caught:
        read_typed(typed, unit=unit)
    assert "such as 44.5" in caught.value.sentence


def test_only_lengths_have_another_unit():
    assert [is_length(one) for one in ("mm", "in", "Nm", "kPa", "")] == [
        True,
        True,
        False,
        False,
        False,
    ]
