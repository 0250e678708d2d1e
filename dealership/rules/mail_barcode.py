"""The Intelligent Mail barcode of the United States Postal Service.

Specification USPS-B-3200: 31 digits become 65 bars, each full, tracker, ascender or
descender. The mailer id is issued by the postal service, so a code is printed only
where a store has entered one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Iterator

BARS = 65
TRACKING_LENGTH = 20
ROUTING_BASES = {0: 0, 5: 1, 9: 100_001, 11: 1_000_100_001}
"""What is added to a routing code of each length, so that lengths never collide."""

_CHECK_POLYNOMIAL = 0x0F35
_CHECK_START = 0x07FF
_CHECK_TOP = 0x0400
_BITS = 13
_FIRST_BASE, _BASE, _LAST_BASE = 659, 1365, 636
_FIVE_OF_13 = 1287

# Which of the 130 half bars each bit of each of the ten characters raises:
# USPS-B-3200, appendix D, table IV. Positions 1 to 65 reach down, 66 to 130 up.
_HALF_BARS = (
    67, 6, 78, 16, 86, 95, 34, 40, 45, 113, 117, 121, 62,
    87, 18, 104, 41, 76, 57, 119, 115, 72, 97, 2, 127, 26,
    105, 35, 122, 52, 114, 7, 24, 82, 68, 63, 94, 44, 77,
    112, 70, 100, 39, 30, 107, 15, 125, 85, 10, 65, 54, 88,
    20, 106, 46, 66, 8, 116, 29, 61, 99, 80, 90, 37, 123,
    51, 25, 84, 129, 56, 4, 109, 96, 28, 36, 47, 11, 71,
    33, 102, 21, 9, 17, 49, 124, 79, 64, 91, 42, 69, 53,
    60, 14, 1, 27, 103, 126, 75, 89, 50, 120, 19, 32, 110,
    92, 111, 130, 59, 31, 12, 81, 43, 55, 5, 74, 22, 101,
    128, 58, 118, 48, 108, 38, 98, 93, 23, 83, 13, 73, 3,
)  # fmt: skip


class BarcodeRefused(ValueError):
    """The digits make no barcode; ``code`` is the return code of the specification."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


def encode(tracking: str, routing: str = "") -> str:
    """Give the 65 bars as F, A, D and T.

    ``tracking``: barcode id (2 digits, the second 0 to 4), service type (3), mailer
    id and serial number (15 together). ``routing``: a ZIP code of 0, 5, 9 or 11
    digits. Raises BarcodeRefused with return code 09 to 13.
    """
    _check(tracking, routing)
    value = int(routing or 0) + ROUTING_BASES[len(routing)]
    value = value * 10 + int(tracking[0])
    value = value * 5 + int(tracking[1])
    for digit in tracking[2:]:
        value = value * 10 + int(digit)
    check = _check_sequence(value.to_bytes(13, "big"))
    words = _codewords(value, check)
    characters = [_CHARACTERS[word] for word in words]
    for place in range(10):
        if check >> place & 1:
            characters[place] ^= (1 << _BITS) - 1
    raised = [False] * (2 * BARS)
    for place, half in enumerate(_HALF_BARS):
        character, bit = divmod(place, _BITS)
        raised[half - 1] = bool(characters[character] >> bit & 1)
    return "".join(
        _BAR[down, up] for down, up in zip(raised[:BARS], raised[BARS:], strict=True)
    )


_BAR = {
    (False, False): "T",
    (True, False): "D",
    (False, True): "A",
    (True, True): "F",
}


def _check(tracking: str, routing: str) -> None:
    """Raise BarcodeRefused for digits of a wrong kind or number."""
    if len(tracking) != TRACKING_LENGTH:
        raise BarcodeRefused("09")
    if not (tracking.isascii() and tracking.isdigit()):
        raise BarcodeRefused("10")
    if tracking[1] not in "01234":
        raise BarcodeRefused("11")
    if len(routing) not in ROUTING_BASES:
        raise BarcodeRefused("12")
    if routing and not (routing.isascii() and routing.isdigit()):
        raise BarcodeRefused("13")


def _check_sequence(data: bytes) -> int:
    """Give the 11-bit frame check sequence over 102 bits."""
    check = _CHECK_START
    bits = int.from_bytes(data, "big")
    for place in reversed(range(102)):
        top = (check >> 10 & 1) ^ (bits >> place & 1)
        check = (check << 1) & _CHECK_START
        if top:
            check ^= _CHECK_POLYNOMIAL
    return check & _CHECK_START


def _codewords(value: int, check: int) -> list[int]:
    """Cut the value into ten codewords; two of them carry orientation and check."""
    value, last = divmod(value, _LAST_BASE)
    words = [last * 2]
    for _word in range(8):
        value, word = divmod(value, _BASE)
        words.append(word)
    first = value + (_FIRST_BASE if check & _CHECK_TOP else 0)
    return [first, *reversed(words)]


def _characters() -> list[int]:
    """List the 13-bit characters: five bits set, then two, mirrored pairs first."""
    return _of_13(5, _FIVE_OF_13) + _of_13(2, 78)


def _of_13(bits: int, length: int) -> list[int]:
    """List the 13-bit values of so many bits: pairs from below, symmetric from above."""
    table = [0] * length
    low, high = 0, length - 1
    values = sorted(sum(1 << at for at in one) for one in combinations(range(13), bits))
    for value in values:
        mirrored = int(f"{value:013b}"[::-1], 2)
        if mirrored < value:
            continue
        if mirrored == value:
            table[high] = value
            high -= 1
        else:
            table[low : low + 2] = [value, mirrored]
            low += 2
    return table


_CHARACTERS = _characters()


@dataclass(frozen=True, slots=True)
class Pitch:
    """Measures of the bars in thousandths of an inch.

    20 to 24 bars an inch, a bar 15 to 25 wide, a full bar 125 to 165 high, a tracker
    39 to 57: from memory, USPS-B-3200.
    """

    step: int = 45
    width: int = 20
    height: int = 135
    tracker: int = 45


PITCH = Pitch()


def bar_spans(bars: str) -> Iterator[tuple[int, int, int, int]]:
    """Give left, top, width and height of each bar, in thousandths of an inch."""
    reach = (PITCH.height - PITCH.tracker) // 2
    for number, bar in enumerate(bars):
        top = 0 if bar in "FA" else reach
        bottom = PITCH.height if bar in "FD" else PITCH.height - reach
        yield number * PITCH.step, top, PITCH.width, bottom - top


def tracking_of(*, barcode_id: str, service: str, mailer: str, serial: int) -> str:
    """Give the tracking digits of one letter.

    ``mailer`` has 6 or 9 digits; the serial number fills the rest of 15 and starts
    anew when it is used up. Raises BarcodeRefused.
    """
    room = 15 - len(mailer)
    if len(mailer) not in {6, 9}:
        raise BarcodeRefused("09")
    return f"{barcode_id}{service}{mailer}{serial % 10**room:0{room}}"


def routing_of(postal_code: str) -> str:
    """Give the routing digits of a ZIP code, or none where it is not one."""
    digits = postal_code.replace("-", "").replace(" ", "")
    fits = digits.isascii() and digits.isdigit() and len(digits) in {5, 9}
    return digits if fits else ""
