"""The vehicle identification number: its check digit, its year, its maker.

The rule is 49 CFR 565.13 and 565.15 (North America). ISO 3779 gives the same 17
characters for the rest of the world but asks for neither a check digit nor a year
code (from memory), so there a wrong digit is only a warning.

What the check digit cannot see: a swap or a slip between characters of equal value
(B, K, S and 2; D, M, U and 4; and so on). A VIN typed by hand is therefore also
looked up in the vehicle file or the campaign's list before anybody relies on it.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from operator import mul
from typing import TYPE_CHECKING

import numpy as np

from dealership.rules.refusals import Refusal
from vehicles.rules.standing import VehicleKind


if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

VIN_LENGTH = 17

# 49 CFR 565.15(c), tables III and IV. I, O and Q have no value: 565.13(g).
_VALUES: dict[str, int] = {digit: int(digit) for digit in "0123456789"} | dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", map(int, "12345678123457923456789"), strict=True)
)
_ALPHABET = frozenset(_VALUES)
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_REMAINDERS = "0123456789X"
_MODULUS = 11
_CHECK_AT = 8

# 49 CFR 565.15(d), table VII: thirty codes, used twice. No I, O, Q, U, Z or 0.
_YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
_FIRST_YEAR = 1980
_YEAR_CYCLE = 30
_YEAR_AT = 9
_PERIOD_AT = 6

_MAKER_LENGTH = 3
_LOW_VOLUME_MARK = "9"
_NORTH_AMERICA = "12345"

# Door-jamb bar codes stand between stars; people type dashes and spaces. A zero byte
# says nothing, and PostgreSQL keeps it in no text ("Character Types").
_DROPPED = dict.fromkeys(map(ord, "\0*-\u2010\u2011\u2012\u2013\u2014\u2212\ufeff"))


class NotAVin(Refusal):
    """The text is not 17 characters of the VIN's alphabet."""

    def __init__(self, text: str) -> None:
        super().__init__(
            f"“{text[:40]}” is not a VIN. A VIN has 17 characters, digits and"
            " capital letters without I, O and Q."
        )
        self.text = text


class Market(StrEnum):
    """For which market a vehicle was built."""

    US = "us"
    OTHER = "other"
    UNKNOWN = "unknown"


class Grade(IntEnum):
    """What is to be done with a VIN; the larger one counts."""

    OK = 0
    WARN = 1
    REJECT = 2


class BulkResult(IntEnum):
    """What `check_many` says of one VIN."""

    GOOD = 0
    WRONG_LENGTH = 1
    WRONG_CHARACTER = 2
    WRONG_DIGIT = 3


@dataclass(frozen=True, slots=True)
class VinReason:
    """One thing found in a VIN: a code for programs, a sentence for people."""

    code: str
    sentence: str
    grade: Grade


@dataclass(frozen=True, slots=True)
class VinVerdict:
    """What a VIN says and whether it may be relied on.

    `model_years` holds what the VIN allows: one year, two that lie 30 years apart,
    or none. `model_year` is the one year that is certain, else None.
    """

    vin: str
    grade: Grade
    model_year: int | None
    model_years: tuple[int, ...]
    reasons: tuple[VinReason, ...]


@dataclass(frozen=True, slots=True)
class MakerCode:
    """The maker's identifier: 3 characters, or 6 for a maker of few vehicles."""

    code: str
    low_volume: bool


def normalise_vin(text: str) -> str:
    """Take away what scanners and typists add: case, spaces, stars, hyphens.

    Letters are never exchanged for digits: O and 0 stay what was typed.
    """
    if text.isascii() and text.isalnum():
        return text.upper()
    folded = unicodedata.normalize("NFKC", text).translate(_DROPPED)
    return "".join(folded.split()).upper()


def without_import_mark(code: str) -> str:
    """Take away the I that bar-code labels of imported vehicles put before the VIN.

    No VIN holds the letter I, so 18 characters that begin with one and go on as a VIN
    are that VIN. Common practice of labels, from memory; all else stays as it is.
    """
    rest = code[1:]
    marked = len(code) == VIN_LENGTH + 1 and code.startswith("I")
    return rest if marked and _ALPHABET.issuperset(rest) else code


def has_vin_length(vin: str) -> bool:
    """Tell whether there are 17 characters."""
    return len(vin) == VIN_LENGTH


def wrong_characters(vin: str) -> tuple[tuple[int, str], ...]:
    """Give each position (from 1) and character that no VIN can hold."""
    if _ALPHABET.issuperset(vin):
        return ()
    return tuple(
        (place, letter)
        for place, letter in enumerate(vin, start=1)
        if letter not in _VALUES
    )


def weighted_sum(vin: str) -> int:
    """Sum the values times the weights of the positions (49 CFR 565.15(c)).

    Position 9 weighs nothing, so the sum does not depend on the check digit.
    Raises NotAVin for text of another length or alphabet.
    """
    if not has_vin_length(vin):
        raise NotAVin(vin)
    try:
        return sum(map(mul, map(_VALUES.__getitem__, vin), _WEIGHTS))
    except KeyError:
        raise NotAVin(vin) from None


def check_digit(vin: str) -> str:
    """Give the character that position 9 should hold: 0 to 9, or X for 10.

    The remainder of the whole numbers is used, never rounded decimals. Raises
    NotAVin.
    """
    return _REMAINDERS[weighted_sum(vin) % _MODULUS]


def has_right_check_digit(vin: str) -> bool:
    """Tell whether position 9 is right. Raises NotAVin."""
    return check_digit(vin) == vin[_CHECK_AT]


def model_years(vin: str, *, kind: VehicleKind) -> tuple[int, ...]:
    """Give the model years that the VIN allows, early one first.

    Light vehicles (to 10,000 lb): position 7 a digit means 1980 to 2009, a letter
    2010 to 2039 (49 CFR 565.15(d), table VII). For other kinds, and where the kind
    is not known, position 7 decides nothing and both years are given. Empty when
    position 10 is no year code. Raises NotAVin.
    """
    if not has_vin_length(vin):
        raise NotAVin(vin)
    place = _YEAR_CODES.find(vin[_YEAR_AT])
    if place < 0:
        return ()
    early = _FIRST_YEAR + place
    if kind is not VehicleKind.LIGHT:
        return (early, early + _YEAR_CYCLE)
    return (early if vin[_PERIOD_AT].isdigit() else early + _YEAR_CYCLE,)


def maker_code(vin: str) -> MakerCode:
    """Give the maker's identifier.

    A 9 in position 3 always means a maker of few vehicles, whose identifier goes on
    in positions 12 to 14 (49 CFR 565.15(a)). Raises NotAVin.
    """
    if not has_vin_length(vin):
        raise NotAVin(vin)
    low_volume = vin[_MAKER_LENGTH - 1] == _LOW_VOLUME_MARK
    return MakerCode(
        vin[:_MAKER_LENGTH] + (vin[11:14] if low_volume else ""), low_volume
    )


def judge_vin(
    text: str,
    *,
    market: Market = Market.UNKNOWN,
    kind: VehicleKind = VehicleKind.UNKNOWN,
    stated_model_year: int | None = None,
) -> VinVerdict:
    """Judge a VIN as somebody wrote it, with every reason told.

    Wrong length or characters: REJECT. Wrong check digit: REJECT where position 1
    says North America (1 to 5) or the US market is stated, else WARN. A stated model
    year settles two candidates when it is one of them; when it is none of them that
    is a fault of the same grade as a wrong digit. Two candidates and no stated year
    leave the year open: both are offered, none is guessed.
    """
    vin = normalise_vin(text)
    shape = _shape_reason(vin)
    if shape is not None:
        return VinVerdict(vin, Grade.REJECT, None, (), (shape,))
    strict = market is Market.US or vin[0] in _NORTH_AMERICA
    years = model_years(vin, kind=kind)
    reasons = _digit_reasons(vin, strict=strict)
    reasons += _year_reasons(vin, years, stated_model_year, strict=strict)
    return VinVerdict(
        vin=vin,
        grade=max((reason.grade for reason in reasons), default=Grade.OK),
        model_year=_settled_year(years, stated_model_year),
        model_years=years,
        reasons=reasons,
    )


def check_many(vins: Sequence[str]) -> npt.NDArray[np.uint8]:
    """Check the digits of many normalised VINs at once.

    Gives one BulkResult value per VIN, in order. Says the same as `weighted_sum` and
    `has_right_check_digit` do one by one, at several million a second.
    """
    lengths = np.fromiter(map(len, vins), dtype=np.int64, count=len(vins))
    result = np.full(len(vins), BulkResult.WRONG_LENGTH, dtype=np.uint8)
    rows = np.flatnonzero(lengths == VIN_LENGTH)
    if not rows.size:
        return result
    # "replace" writes one "?" per strange character, so the width stays 17
    joined = "".join(vins[row] for row in rows.tolist()).encode("ascii", "replace")
    values = _BYTE_VALUES[np.frombuffer(joined, dtype=np.uint8).reshape(-1, VIN_LENGTH)]
    strange = (values < 0).any(axis=1)
    right = values @ _WEIGHT_ROW % _MODULUS
    stated = np.frombuffer(joined, dtype=np.uint8).reshape(-1, VIN_LENGTH)[:, _CHECK_AT]
    wrong = _REMAINDER_BYTES[right] != stated
    result[rows] = np.where(
        strange,
        BulkResult.WRONG_CHARACTER,
        np.where(wrong, BulkResult.WRONG_DIGIT, BulkResult.GOOD),
    )
    return result


_BYTE_VALUES = np.full(256, -1, dtype=np.int16)
for _letter, _value in _VALUES.items():
    _BYTE_VALUES[ord(_letter)] = _value
_WEIGHT_ROW = np.array(_WEIGHTS, dtype=np.int16)
_REMAINDER_BYTES = np.frombuffer(_REMAINDERS.encode(), dtype=np.uint8)


def _shape_reason(vin: str) -> VinReason | None:
    if not vin:
        return VinReason("vin_missing", "There is no VIN.", Grade.REJECT)
    if not has_vin_length(vin):
        return VinReason(
            "vin_length",
            f"The VIN has {len(vin)} characters instead of 17.",
            Grade.REJECT,
        )
    strange = wrong_characters(vin)
    if not strange:
        return None
    named = ", ".join(f"“{letter}” at position {place}" for place, letter in strange)
    return VinReason("vin_character", f"No VIN can hold {named}.", Grade.REJECT)


def _digit_reasons(vin: str, *, strict: bool) -> tuple[VinReason, ...]:
    wanted = check_digit(vin)
    if wanted == vin[_CHECK_AT]:
        return ()
    sentence = (
        f"The check digit at position 9 is “{vin[_CHECK_AT]}” where the other"
        f" characters ask for “{wanted}”."
    )
    if strict:
        return (
            VinReason(
                "vin_check_digit",
                f"{sentence} One character of the VIN is wrong.",
                Grade.REJECT,
            ),
        )
    return (
        VinReason(
            "vin_check_digit",
            f"{sentence} Not every maker outside North America uses it: compare the"
            " VIN with the vehicle's papers.",
            Grade.WARN,
        ),
    )


def _year_reasons(
    vin: str, years: tuple[int, ...], stated: int | None, *, strict: bool
) -> tuple[VinReason, ...]:
    if not years:
        return (
            VinReason(
                "vin_no_year_code",
                f"Position 10 holds “{vin[_YEAR_AT]}”, which stands for no model year.",
                Grade.WARN,
            ),
        )
    if stated in years or (stated is None and len(years) == 1):
        return ()
    told = " or ".join(map(str, years))
    if stated is None:
        return (
            VinReason(
                "vin_two_model_years",
                f"The VIN allows model year {told}. Choose one.",
                Grade.OK,
            ),
        )
    return (
        VinReason(
            "vin_model_year",
            f"The list says model year {stated}, the VIN says {told}.",
            Grade.REJECT if strict else Grade.WARN,
        ),
    )


def _settled_year(years: tuple[int, ...], stated: int | None) -> int | None:
    """Give the one year that is certain.

    A stated year that the VIN contradicts is not taken, and neither is the VIN's: a
    person decides. Without a year code the stated year is all there is.
    """
    if stated is None:
        return years[0] if len(years) == 1 else None
    return stated if not years or stated in years else None
