"""Where an address must stand so that a window envelope always shows it, and only it.

A folded sheet slides in its envelope. What the window shows at every position is the
safe part; what it can show at some position is the strip in which nothing private may
stand. Lengths in inches from the top left corner of the sheet unless told otherwise.

Window of a No. 10 envelope: common sizes, read at second hand. Clearance: 1/8 inch
between the address and each edge of the window at every position of the insert
(Domestic Mail Manual, read at second hand). Address field of form B: DIN 5008; the
DL window (90 x 45 mm, 20 mm from the left, 15 mm from the bottom) from memory. Form A
has its field 18 mm higher and is folded 18 mm higher, so it lies alike in the envelope.
Barcode in the address block: 1/8 inch clear left and right, .028 above and below
(Quick Service Guide 201a).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from dealership.rules.mail_barcode import BARS, PITCH


MM = 1 / 25.4
"""One millimetre in inches."""

POINTS = 72
"""Points in an inch."""

CLEARANCE = 0.125
"""Domestic Mail Manual: 1/8 inch, read at second hand."""

TYPE_SIZES = (11.0, 10.5, 10.0)
"""Type of the address in points, the wished one first; 10 to 12 points read best."""

LINE_STEP = 1.09
"""Height of an address line, in ems: four lines of 11 points take 48 points."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle on a sheet."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Give the width, never below zero."""
        return max(0.0, self.right - self.left)

    @property
    def height(self) -> float:
        """Give the height, never below zero."""
        return max(0.0, self.bottom - self.top)

    def inside(self, other: Box) -> Box:
        """Give what lies in both."""
        return Box(
            left=max(self.left, other.left),
            top=max(self.top, other.top),
            right=min(self.right, other.right),
            bottom=min(self.bottom, other.bottom),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """An envelope and its window, from the envelope's top left corner."""

    width: float
    height: float
    window: Box


NO_10 = Envelope(
    width=9.5,
    height=4.125,
    window=Box(
        left=0.875, right=0.875 + 4.5, top=4.125 - 0.5 - 1.125, bottom=4.125 - 0.5
    ),
)
DL = Envelope(
    width=220 * MM,
    height=110 * MM,
    window=Box(left=20 * MM, right=110 * MM, top=50 * MM, bottom=95 * MM),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fold:
    """A sheet folded for an envelope.

    ``panel`` is the height of the part that carries the address, from the sheet's top
    edge to its first fold; ``packet`` the height of the folded sheet, where a later
    panel is higher than the first.
    """

    sheet_width: float
    panel: float
    envelope: Envelope
    packet: float = 0.0

    @property
    def drop(self) -> float:
        """Give how far the sheet's top edge lies below the top of the folded sheet."""
        return max(0.0, self.packet - self.panel)

    def play(self) -> tuple[float, float]:
        """Give how far the folded sheet can slide sideways and up.

        Raises ValueError when the folded sheet does not go into the envelope.
        """
        across = self.envelope.width - self.sheet_width
        down = self.envelope.height - self.panel - self.drop
        if across < 0 or down < 0:
            raise ValueError((self.sheet_width, self.panel))
        return across, down


def shown_always(fold: Fold) -> Box:
    """Give what the window shows wherever the folded sheet has slid to.

    Raises ValueError when the folded sheet does not go into the envelope.
    """
    across, down = fold.play()
    window = fold.envelope.window
    return Box(
        left=window.left,
        top=window.top - fold.drop,
        right=window.right - across,
        bottom=window.bottom - fold.drop - down,
    )


def shown_ever(fold: Fold) -> Box:
    """Give the strip that the window can show at some position, down to the fold."""
    across, down = fold.play()
    window = fold.envelope.window
    return Box(
        left=max(0.0, window.left - across),
        top=window.top - fold.drop - down,
        right=window.right,
        bottom=min(window.bottom - fold.drop, fold.panel),
    )


def safe_box(fold: Fold) -> Box:
    """Give the part that is always shown and 1/8 inch clear of the window's edges."""
    seen = shown_always(fold)
    return Box(
        left=seen.left + CLEARANCE,
        top=seen.top + CLEARANCE,
        right=seen.right - CLEARANCE,
        bottom=seen.bottom - CLEARANCE,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How a letter is set on one paper: where the address goes and where it is folded.

    ``sender``: the line that gives the sender inside the window, or None where the
    envelope carries it. ``beside``: from where on, to the right, nothing can be seen.
    """

    name: str
    sheet_width: float
    sheet_height: float
    address: Box
    strip: Box
    folds: tuple[float, ...]
    sender: Box | None

    @property
    def beside(self) -> float:
        """Give the left edge of what stands beside the window's strip."""
        return self.strip.right + CLEARANCE


US_PANEL = 4.0
"""An even third (3.667 in) leaves room for two lines only; 4 inches for four."""

US_PANELS = (US_PANEL, 4.1, 3.75, 3.667)
"""Folds to choose from, in inches from the top edge. 4.1 leaves room for four lines
with a barcode above them."""

_SHEET_HEIGHT = 11.0
_A4_WIDTH, _A4_HEIGHT = 210 * MM, 297 * MM
_DIN_PACKET = 105 * MM
_SENDER_LINE = 9.5 * MM


def us_letter(panel: float = US_PANEL) -> Layout:
    """Lay out US Letter for a No. 10 envelope, folded at ``panel`` inches.

    The second fold halves what is left. Raises ValueError where the folded sheet does
    not go into the envelope.
    """
    fold = Fold(sheet_width=8.5, panel=panel, envelope=NO_10)
    return Layout(
        name="letter",
        sheet_width=8.5,
        sheet_height=_SHEET_HEIGHT,
        address=safe_box(fold),
        strip=shown_ever(fold),
        folds=(panel, panel + (_SHEET_HEIGHT - panel) / 2),
        sender=None,
    )


def din_form_b() -> Layout:
    """Lay out A4 as DIN 5008 form B for a DL envelope, folded at 105 and 210 mm."""
    return _din(top=62.7, bottom=90.0, folds=(105.0, 210.0))


def din_form_a() -> Layout:
    """Lay out A4 as DIN 5008 form A for a DL envelope, folded at 87 and 192 mm."""
    return _din(top=44.7, bottom=72.0, folds=(87.0, 192.0))


def _din(*, top: float, bottom: float, folds: tuple[float, float]) -> Layout:
    """Lay out A4 with the address part of DIN 5008; lengths in millimetres.

    The field is 45 mm high, 17.7 mm of it for sender and notes; text 25 mm from the
    left.
    """
    fold = Fold(
        sheet_width=_A4_WIDTH, panel=folds[0] * MM, envelope=DL, packet=_DIN_PACKET
    )
    safe = safe_box(fold)
    field = Box(left=25 * MM, top=top * MM, right=105 * MM, bottom=bottom * MM)
    address = safe.inside(field)
    return Layout(
        name="a4",
        sheet_width=_A4_WIDTH,
        sheet_height=_A4_HEIGHT,
        address=address,
        strip=shown_ever(fold),
        folds=(folds[0] * MM, folds[1] * MM),
        sender=Box(
            left=address.left,
            top=address.top - _SENDER_LINE + 3 * MM,
            right=safe.right,
            bottom=address.top - 2 * MM,
        ),
    )


class LetterForm(StrEnum):
    """How a sheet is laid out, and for which envelope."""

    NO_10 = "no_10"
    DIN_B = "din_b"
    DIN_A = "din_a"


@lru_cache(maxsize=32)
def layout_for(paper: str, form: str = "", panel: float = US_PANEL) -> Layout:
    """Give the layout for the paper in the store's printer: "letter" or "a4".

    On A4 ``form`` is "din_b" or "din_a"; on US Letter the first fold is at ``panel``
    inches.
    """
    if paper != "a4":
        return us_letter(panel)
    return din_form_a() if form == LetterForm.DIN_A else din_form_b()


BARS_HEIGHT = PITCH.height / 1000
"""Height of the postal barcode, in inches."""

BARS_WIDTH = ((BARS - 1) * PITCH.step + PITCH.width) / 1000
BARS_ROOM = BARS_HEIGHT + 0.04
"""What the barcode takes from the address's room: its height and more than .028 in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """In which type an address is set, in points, and whether it keeps to its box.

    ``bars``: whether the postal barcode stands above it.
    """

    size: float
    fits: bool
    bars: bool = False

    @property
    def size_class(self) -> str:
        """Give the size in tenths of a point, as style sheets name it."""
        return f"{self.size * 10:.0f}"


def set_address(
    lines: int, widest_em: float, box: Box, *, bars: bool = False
) -> Setting:
    """Choose the type for an address: the largest of 11, 10.5 and 10 points that fits.

    ``widest_em`` is the width of the longest line in ems; ``bars`` asks for a barcode
    above, which is left out where both do not fit. An address that does not fit at 10
    points is set at 10 all the same, never clipped, and ``fits`` is False.
    """
    if bars and box.width >= BARS_WIDTH:
        size = _fitting(lines, widest_em, box.width, box.height - BARS_ROOM)
        if size:
            return Setting(size=size, fits=True, bars=True)
    size = _fitting(lines, widest_em, box.width, box.height)
    return Setting(size=size or TYPE_SIZES[-1], fits=bool(size))


def _fitting(lines: int, widest_em: float, width: float, height: float) -> float:
    """Give the largest type in which so many lines fit, or 0; lengths in inches."""
    for size in TYPE_SIZES:
        wide = widest_em * size <= width * POINTS
        high = lines * size * LINE_STEP <= height * POINTS
        if wide and high:
            return size
    return 0.0
