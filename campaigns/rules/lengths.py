"""Lengths as the bay types and reads them: millimetres and inches, one for the other.

1 in is 25.4 mm exactly (international yard and pound agreement, 1959).
"""

import re
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction

from campaigns.rules.remedy_choice import Unit, convert
from dealership.rules.refusals import Refusal


FEWEST_FIGURES = 2
"""A converted length keeps as many figures as it had, and at least these."""

_OTHER = {
    Unit.MILLIMETRE.value: Unit.INCH.value,
    Unit.INCH.value: Unit.MILLIMETRE.value,
}
_UNITS = {"mm": "mm", "in": "in", "inch": "in", "inches": "in", '"': "in", "″": "in"}
_TYPED = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<plain>\d+(?:\.\d*)?|\.\d+)|(?:(?P<whole>\d+)[ -]+)?"
    r"(?P<over>\d+)/(?P<under>\d+))\s*(?P<unit>[^\d\s.,+/-]*)"
)
_FINENESS = Decimal("0.001")
MOST = Decimal(10) ** 7
"""A reading is smaller than this, whatever its unit."""


class NotAReading(Refusal):
    """What was typed is no measured value."""

    def __init__(self, typed: str, unit: str) -> None:
        self.typed = typed
        super().__init__(
            f"“{typed}” is not a measured value. Enter a number, such as 44.5"
            + (", 2.4 in or 61 mm." if unit in _OTHER else f" {unit}.")
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """A typed value and its unit."""

    value: Decimal
    unit: str


def is_length(unit: str) -> bool:
    """Tell whether readings in this unit may come in the other unit of length too."""
    return unit in _OTHER


def other_unit(unit: str) -> str:
    """Give inches for millimetres and the other way round."""
    return _OTHER[unit]


def read_typed(text: str, *, unit: str) -> Typed:
    """Read what was typed: a number, or one with its unit behind it.

    ``unit`` holds where none is typed. Inches may be a fraction: 2 3/8 in. A comma is
    refused, since it could part thousands or decimals. Raises NotAReading.
    """
    found = _TYPED.fullmatch(text.strip())
    if found is None:
        raise NotAReading(text.strip(), unit)
    behind = found["unit"].casefold()
    given = _UNITS.get(behind, "") if is_length(unit) else unit
    if not behind:
        given = unit
    elif not given or (not is_length(unit) and behind != unit.casefold()):
        raise NotAReading(text.strip(), unit)
    try:
        value = _number(found, given)
    except ZeroDivisionError as fault:
        raise NotAReading(text.strip(), unit) from fault
    return Typed(value=-value if found["sign"] == "-" else value, unit=given)


def fits_the_card(value: Decimal) -> bool:
    """Tell whether a value can be kept: seven figures, three behind the point."""
    return abs(value) < MOST and value == value.quantize(_FINENESS)


def in_other_unit(value: Decimal, unit: str) -> Decimal:
    """Give a length in the other unit, to the figures it has, half rounded up."""
    return _rounded(value, unit, ROUND_HALF_UP)


def limit_in_other_unit(value: Decimal, unit: str, *, lower: bool) -> Decimal:
    """Give a limit in the other unit, rounded to the inside of the limits.

    Whoever keeps the limit shown so keeps the limit meant: 60 mm at least is shown as
    2.4 in at least, which is 60.96 mm.
    """
    return _rounded(value, unit, ROUND_CEILING if lower else ROUND_FLOOR)


def _number(found: re.Match[str], unit: str) -> Decimal:
    """Read the figures; a fraction only in inches, to a thousandth."""
    if found["plain"] is not None:
        return Decimal(found["plain"])
    if unit != Unit.INCH:
        raise NotAReading(found.group(), unit)
    parts = Fraction(int(found["over"]), int(found["under"]))
    whole = int(found["whole"] or 0) + parts
    exact = Decimal(whole.numerator) / Decimal(whole.denominator)
    return exact.quantize(_FINENESS, ROUND_HALF_UP)


def _rounded(value: Decimal, unit: str, rounding: str) -> Decimal:
    exact = convert(value, unit, other_unit(unit))
    if not exact:
        return Decimal(0)
    places = max(_figures(value), FEWEST_FIGURES) - exact.adjusted() - 1
    return exact.quantize(Decimal(1).scaleb(-max(places, 0)), rounding)


def _figures(value: Decimal) -> int:
    """Count the figures of a value as it is written: 60 has two, 38.045 five."""
    plain = f"{value.normalize():f}".lstrip("-")
    return max(len(plain.replace(".", "").lstrip("0")), 1)
