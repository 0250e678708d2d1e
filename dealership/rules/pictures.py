"""Where the marks of the two pictures stand: population bar and runway.

All places along a picture are shares of its width (0.0 at the start edge, 1.0 at the
end), heights are shares of the plot (0.0 at its top, 1.0 at its foot). Whoever draws
multiplies them: the page writes per cent, so that a picture fits any screen with its
letters unscaled; paper writes points.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import groupby
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence


class PopulationCategory(StrEnum):
    """The stretches of a population bar, in their fixed order."""

    REMEDIED = "remedied"
    INSPECTED_CLEAR = "inspected_clear"
    BOOKED = "booked"
    OPEN = "open"
    TO_BE_VERIFIED = "to_be_verified"
    NOT_REACHABLE = "not_reachable"


_ORDER = {category: place for place, category in enumerate(PopulationCategory)}

LEAST_STRETCH = 0.005
"""A stretch that holds any vehicle is at least this wide, so that it can be seen."""

_WEEK = 7
_MIDDLE = 0.5
_LEAST_GAP = 0.06
"""Two figures above the bar stand at least this far apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PopulationStretch:
    """One stretch of the bar: its vehicles, where it lies, where its count stands.

    ``inside`` tells whether the count fits into the stretch; else it stands above, at
    ``count_at``, and a line leads to ``middle``.
    """

    category: PopulationCategory
    count: int
    start: float
    width: float
    inside: bool
    count_at: float

    @property
    def middle(self) -> float:
        """Give the middle of the stretch as a share of the bar."""
        return self.start + self.width / 2


def population_stretches(
    counts: Iterable[tuple[str, int]], *, letter_width: float = 0.026
) -> tuple[PopulationStretch, ...]:
    """Lay out the categories that hold vehicles, in their fixed order.

    ``letter_width`` is the width of a figure as a share of the bar, at the narrowest
    width that is expected (0.026: about 9 px of a phone's 350). The widths add up to 1;
    no vehicle at all gives no stretch. Raises ValueError for an unknown or repeated
    category and for a count below zero.
    """
    held: dict[PopulationCategory, int] = {}
    for key, count in counts:
        category = PopulationCategory(key)
        if category in held:
            raise ValueError(f"{category} is counted twice")
        if count < 0:
            raise ValueError(f"{category} counts {count}; a count is zero or more")
        held[category] = count
    present = [
        (c, held[c]) for c in sorted(held, key=lambda c: _ORDER[c]) if held[c] > 0
    ]
    widths = _widths([count for _, count in present])
    placed: list[PopulationStretch] = []
    start = 0.0
    for (category, count), width in zip(present, widths, strict=True):
        fits = width >= letter_width * (len(f"{count:,}") + 1)
        placed.append(
            PopulationStretch(
                category=category,
                count=count,
                start=start,
                width=width,
                inside=fits,
                count_at=start + width / 2,
            )
        )
        start += width
    return _spread(placed)


def _widths(counts: Sequence[int]) -> list[float]:
    """Give each count its share of the bar, the small ones their least width."""
    whole = sum(counts)
    raised = [count / whole < LEAST_STRETCH for count in counts]
    rest = sum(count for count, small in zip(counts, raised, strict=True) if not small)
    room = 1 - LEAST_STRETCH * sum(raised)
    return [
        LEAST_STRETCH if small else count / rest * room
        for count, small in zip(counts, raised, strict=True)
    ]


def _spread(stretches: list[PopulationStretch]) -> tuple[PopulationStretch, ...]:
    """Move the counts that stand above the bar apart, each as little as it must."""
    above = [i for i, stretch in enumerate(stretches) if not stretch.inside]
    places = spread_apart([stretches[i].middle for i in above], _LEAST_GAP)
    moved = dict(zip(above, places, strict=True))
    return tuple(
        PopulationStretch(
            category=s.category,
            count=s.count,
            start=s.start,
            width=s.width,
            inside=s.inside,
            count_at=moved.get(i, s.count_at),
        )
        for i, s in enumerate(stretches)
    )


def spread_apart(places: Sequence[float], gap: float) -> list[float]:
    """Move rising places within 0 to 1 until they are ``gap`` apart, order kept.

    First each is pushed on from the one before it, then all are pushed back from the
    far edge. Places that cannot all fit stand evenly.
    """
    if not places:
        return []
    if gap * (len(places) - 1) > 1 - gap:
        return [(i + 0.5) / len(places) for i in range(len(places))]
    moved: list[float] = []
    for place in places:
        floor = moved[-1] + gap if moved else gap / 2
        moved.append(max(place, floor))
    ceiling = 1 - gap / 2
    for i in range(len(moved) - 1, -1, -1):
        moved[i] = min(moved[i], ceiling)
        ceiling = moved[i] - gap
    return moved


class FlagKind(StrEnum):
    """What becomes due on a flagged day."""

    CLAIM = "claim"
    RETURN = "return"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class RunwayFlag:
    """A deadline on the runway and the words on its flag."""

    day: date
    kind: FlagKind
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunwayPicture:
    """The days of one part, as known at ``today``; every tuple has one entry a day.

    ``balance`` is what is on hand and not set aside at the end of the day, after that
    day's bookings and deliveries, in pieces; it may fall below zero. ``bookings`` and
    ``deliveries`` are pieces needed and pieces coming on the day. ``promise_line`` is
    what may still be promised for the day without breaking a later promise, or empty.
    ``risk_from`` is the first day on which stock may run out.
    """

    first_day: date
    today: date
    balance: tuple[int, ...]
    bookings: tuple[int, ...]
    deliveries: tuple[int, ...]
    promise_line: tuple[int, ...] = ()
    risk_from: date | None = None
    flags: tuple[RunwayFlag, ...] = ()

    def __post_init__(self) -> None:
        length = len(self.balance)
        if length == 0:
            raise ValueError("a runway has at least one day")
        for name in ("bookings", "deliveries", "promise_line"):
            series: tuple[int, ...] = getattr(self, name)
            if len(series) != length and not (name == "promise_line" and not series):
                raise ValueError(f"{name} has {len(series)} days, balance {length}")
        if min(*self.bookings, *self.deliveries, 0) < 0:
            raise ValueError("bookings and deliveries are zero or more")

    @property
    def days(self) -> int:
        """Count the days drawn."""
        return len(self.balance)

    @property
    def last_day(self) -> date:
        """Give the last day drawn."""
        return self.first_day + timedelta(days=self.days - 1)

    def place_of(self, day: date) -> float | None:
        """Give where a day begins, as a share of the width; None when not drawn."""
        offset = (day - self.first_day).days
        return offset / self.days if 0 <= offset < self.days else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A run of days with the same figure: a flat piece of a stepped line."""

    start: float
    width: float
    height: float
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DayMark:
    """Pieces on one day: a booking or a delivery; ``place`` is the day's middle."""

    day: date
    place: float
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagMark:
    """A flag: where its pole stands, and whether its words go before it."""

    flag: RunwayFlag
    place: float
    row: int
    words_before: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DateMark:
    """A date under the axis."""

    day: date
    place: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RunwayDrawing:
    """All that is drawn of a runway, in shares of width and plot height."""

    highest: int
    lowest: int
    zero: float
    levels: tuple[Level, ...]
    promise: tuple[Level, ...]
    bookings: tuple[DayMark, ...]
    deliveries: tuple[DayMark, ...]
    dates: tuple[DateMark, ...]
    flags: tuple[FlagMark, ...]
    today: float | None
    risk_from: float | None


def runway_drawing(picture: RunwayPicture, *, most_dates: int = 5) -> RunwayDrawing:
    """Work out where everything on a runway stands.

    The plot reaches from the lowest to the highest figure, zero always within, and is
    never flat. At most ``most_dates`` dates stand under the axis, whole weeks apart
    where that can be.
    """
    figures = (*picture.balance, *picture.promise_line, 0)
    highest, lowest = max(*figures, 1), min(figures)
    reach = highest - lowest

    def height(pieces: int) -> float:
        return (highest - pieces) / reach

    return RunwayDrawing(
        highest=highest,
        lowest=lowest,
        zero=height(0),
        levels=_levels(picture.balance, height),
        promise=_levels(picture.promise_line, height),
        bookings=_day_marks(picture, picture.bookings),
        deliveries=_day_marks(picture, picture.deliveries),
        dates=_date_marks(picture, most_dates),
        flags=_flag_marks(picture),
        today=picture.place_of(picture.today),
        risk_from=_risk_place(picture),
    )


def _levels(series: Sequence[int], height: Callable[[int], float]) -> tuple[Level, ...]:
    """Join equal neighbours into flat pieces."""
    levels: list[Level] = []
    first = 0
    for pieces, run in groupby(series):
        length = sum(1 for _ in run)
        levels.append(
            Level(
                start=first / len(series),
                width=length / len(series),
                height=height(pieces),
                pieces=pieces,
            )
        )
        first += length
    return tuple(levels)


def _day_marks(picture: RunwayPicture, series: Sequence[int]) -> tuple[DayMark, ...]:
    return tuple(
        DayMark(
            day=picture.first_day + timedelta(days=i),
            place=(i + 0.5) / picture.days,
            pieces=pieces,
        )
        for i, pieces in enumerate(series)
        if pieces
    )


def _date_marks(picture: RunwayPicture, most: int) -> tuple[DateMark, ...]:
    """Date the first day and then every so many days, in weeks from two weeks on."""
    step = max(1, -(-picture.days // most))
    if step >= _WEEK:
        step = -(-step // _WEEK) * _WEEK
    return tuple(
        DateMark(day=picture.first_day + timedelta(days=i), place=i / picture.days)
        for i in range(0, picture.days, step)
    )


def _flag_marks(picture: RunwayPicture) -> tuple[FlagMark, ...]:
    """Put each flag on its own row, so that words never meet."""
    drawn = [
        (place, flag)
        for flag in sorted(picture.flags, key=lambda flag: flag.day)
        if (place := picture.place_of(flag.day)) is not None
    ]
    return tuple(
        FlagMark(flag=flag, place=place, row=row, words_before=place > _MIDDLE)
        for row, (place, flag) in enumerate(drawn)
    )


def _risk_place(picture: RunwayPicture) -> float | None:
    """Give where the risk begins: the start edge when it began before the first day."""
    if picture.risk_from is None:
        return None
    if picture.risk_from <= picture.first_day:
        return 0.0
    return picture.place_of(picture.risk_from)
