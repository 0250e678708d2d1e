"""Where an address must stand so that a window envelope always shows it, and only it.

A folded sheet slides in its envelope. What the window shows at every position is the
safe part; what it can show at some position is the strip in which nothing private may
stand. Lengths in inches from the top left corner of the sheet unless told otherwise.

Window of a No. 10 envelope: common sizes, read at second hand. Clearance: 1/8 inch
between the address and each edge of the window at every position of the insert
(Domestic Mail Manual, read at second hand). Address field of form B: DIN 5008; the
DL window (90 x 45 mm, 20 mm from the left, 15 mm from the bottom) from memory.
"""

from __future__ import annotations

from dataclasses import dataclass


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


def shown_always(*, sheet_width: float, panel: float, envelope: Envelope) -> Box:
    """Give what the window shows wherever the folded sheet has slid to.

    ``panel`` is the height of the folded sheet, its top edge being the sheet's.
    Raises ValueError when the folded sheet does not go into the envelope.
    """
    across, down = _play(sheet_width, panel, envelope)
    window = envelope.window
    return Box(
        left=window.left,
        top=window.top,
        right=window.right - across,
        bottom=window.bottom - down,
    )


def shown_ever(*, sheet_width: float, panel: float, envelope: Envelope) -> Box:
    """Give the strip that the window can show at some position, down to the fold."""
    across, down = _play(sheet_width, panel, envelope)
    window = envelope.window
    return Box(
        left=max(0.0, window.left - across),
        top=window.top - down,
        right=window.right,
        bottom=min(window.bottom, panel),
    )


def safe_box(*, sheet_width: float, panel: float, envelope: Envelope) -> Box:
    """Give the part that is always shown and 1/8 inch clear of the window's edges."""
    seen = shown_always(sheet_width=sheet_width, panel=panel, envelope=envelope)
    return Box(
        left=seen.left + CLEARANCE,
        top=seen.top + CLEARANCE,
        right=seen.right - CLEARANCE,
        bottom=seen.bottom - CLEARANCE,
    )


def _play(sheet_width: float, panel: float, envelope: Envelope) -> tuple[float, float]:
    """Give how far the folded sheet can slide sideways and up."""
    across, down = envelope.width - sheet_width, envelope.height - panel
    if across < 0 or down < 0:
        raise ValueError((sheet_width, panel))
    return across, down


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

DIN_PANEL = 105 * MM
DIN_ADDRESS = Box(left=25 * MM, top=62.7 * MM, right=105 * MM, bottom=90 * MM)
"""DIN 5008 form B: the field from 45 to 90 mm, 17.7 mm of it for sender and notes;
text 25 mm from the left."""

_SENDER_LINE = 9.5 * MM


def us_letter() -> Layout:
    """Lay out US Letter for a No. 10 envelope, folded at 4.0 and 7.5 inches."""
    fold = {"sheet_width": 8.5, "panel": US_PANEL, "envelope": NO_10}
    return Layout(
        name="letter",
        sheet_width=8.5,
        sheet_height=11.0,
        address=safe_box(**fold),  # type: ignore[arg-type]
        strip=shown_ever(**fold),  # type: ignore[arg-type]
        folds=(US_PANEL, 7.5),
        sender=None,
    )


def din_form_b() -> Layout:
    """Lay out A4 as DIN 5008 form B for a DL envelope, folded at 105 and 210 mm."""
    fold = {"sheet_width": 210 * MM, "panel": DIN_PANEL, "envelope": DL}
    safe = safe_box(**fold)  # type: ignore[arg-type]
    address = safe.inside(DIN_ADDRESS)
    return Layout(
        name="a4",
        sheet_width=210 * MM,
        sheet_height=297 * MM,
        address=address,
        strip=shown_ever(**fold),  # type: ignore[arg-type]
        folds=(DIN_PANEL, 210 * MM),
        sender=Box(
            left=address.left,
            top=address.top - _SENDER_LINE + 3 * MM,
            right=safe.right,
            bottom=address.top - 2 * MM,
        ),
    )


def layout_for(paper: str) -> Layout:
    """Give the layout for the paper in the store's printer: "letter" or "a4"."""
    return din_form_b() if paper == "a4" else us_letter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """In which type an address is set, in points, and whether it keeps to its box."""

    size: float
    fits: bool

    @property
    def size_class(self) -> str:
        """Give the size in tenths of a point, as style sheets name it."""
        return f"{self.size * 10:.0f}"


def set_address(lines: int, widest_em: float, box: Box) -> Setting:
    """Choose the type for an address: the largest of 11, 10.5 and 10 points that fits.

    ``widest_em`` is the width of the longest line in ems. One that does not fit at 10
    points is set at 10 all the same, never clipped, and ``fits`` is False.
    """
    for size in TYPE_SIZES:
        wide = widest_em * size <= box.width * POINTS
        high = lines * size * LINE_STEP <= box.height * POINTS
        if wide and high:
            return Setting(size=size, fits=True)
    return Setting(size=TYPE_SIZES[-1], fits=False)
