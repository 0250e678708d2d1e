"""The two pictures of the house, drawn as SVG by the server.

Each mark carries a class and, beside it, plain attributes: style sheets of the page
overrule the attributes, paper (WeasyPrint) uses them as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from itertools import count as counter
from typing import TYPE_CHECKING, Any, TypeAlias

from babel.dates import format_date
from django import template
from django.utils.translation import gettext as _

from dealership.rules.pictures import (
    Level,
    PopulationCategory,
    RunwayDrawing,
    RunwayPicture,
    population_stretches,
    runway_drawing,
)
from dealership.templatetags.formats import babel_locale, qty


if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

register = template.Library()

PAPER_WIDTH = 640
"""Width of a picture on paper, in px of 1/96 inch: 17 cm."""

_ROW = 17
_PLOT = 92
_BAR = 26
_numbers = counter(1)

_PAPER_FILL = {
    PopulationCategory.REMEDIED: "#d4d4d4",
    PopulationCategory.INSPECTED_CLEAR: "#ebebeb",
    PopulationCategory.BOOKED: "#c4c4c4",
    PopulationCategory.OPEN: "#262626",
    PopulationCategory.TO_BE_VERIFIED: "#ffffff",
    PopulationCategory.NOT_REACHABLE: "#ffffff",
}

Counted: TypeAlias = "tuple[str, str, int] | tuple[str, str, int, str]"


@dataclass(frozen=True)
class Scale:
    """Turns a share of the width into what SVG takes: per cent, or px on paper."""

    paper: bool

    def across(self, share: float) -> str:
        """Write a place or a width along the picture."""
        if self.paper:
            return f"{share * PAPER_WIDTH:.2f}"
        return f"{share * 100:.3f}%"


@register.inclusion_tag("components/population.html")
def population_bar(
    counts: Iterable[Counted],
    *,
    small: bool = False,
    paper: bool = False,
    title: str = "",
) -> dict[str, Any]:
    """Draw how far a campaign is: one stretch per category with its count.

    ``counts`` holds (key, label, count) or (key, label, count, address), keys as in
    PopulationCategory. ``small`` is for a table cell: no figures, no list.
    """
    counted = [(*entry, "")[:4] for entry in counts]
    scale = Scale(paper)
    stretches = population_stretches((key, number) for key, _l, number, _u in counted)
    labels = {key: label for key, label, _n, _u in counted}
    above = not small and any(not stretch.inside for stretch in stretches)
    top = _ROW if above else 0
    bar = 12 if small else _BAR
    drawn = [
        {
            "category": stretch.category.value,
            "fill": _PAPER_FILL[stretch.category],
            "x": scale.across(stretch.start),
            "width": scale.across(stretch.width),
            "middle": scale.across(stretch.middle),
            "count": qty(stretch.count),
            "count_x": scale.across(stretch.count_at),
            "plate_x": f"{stretch.middle * PAPER_WIDTH - _plate(stretch.count) / 2:.2f}",
            "plate": _plate(stretch.count),
            "inside": stretch.inside,
        }
        for stretch in stretches
    ]
    whole = sum(number for _k, _l, number, _u in counted)
    said = ", ".join(
        f"{labels[s.category.value]} {qty(s.count)}" for s in stretches
    ) or _("no vehicle")
    return {
        "number": next(_numbers),
        "stretches": drawn,
        "entries": [
            {"key": key, "label": label, "count": number, "url": url,
             "fill": _PAPER_FILL[PopulationCategory(key)]}
            for key, label, number, url in counted
        ],
        "title": title or _("%(whole)s vehicles") % {"whole": qty(whole)},
        "said": said,
        "small": small,
        "paper": paper,
        "paper_width": PAPER_WIDTH,
        "top": top,
        "bar": bar,
        "foot": top + bar,
        "text_y": top + bar / 2 + 4.5,
        "height": top + bar + 1,
    }  # fmt: skip


def _plate(number: int) -> int:
    """Give the width of the white plate under a count on paper, in px."""
    return len(f"{number:,}") * 8 + 6


@register.inclusion_tag("components/runway.html")
def runway(picture: RunwayPicture, *, paper: bool = False) -> dict[str, Any]:
    """Draw the days of a part: stock, bookings, deliveries, risk and deadlines."""
    drawing = runway_drawing(picture)
    scale = Scale(paper)
    flag_rows = len(drawing.flags)
    risk_rows = 0 if drawing.risk_from is None else 1
    top = _ROW * (2 + risk_rows + flag_rows)
    zero = top + drawing.zero * _PLOT
    foot = top + _PLOT
    return {
        "number": next(_numbers),
        "paper": paper,
        "paper_width": PAPER_WIDTH,
        "height": foot + 14 + _ROW,
        "top": top,
        "foot": foot,
        "plot": _PLOT,
        "zero": f"{zero:.1f}",
        "levels": _drawn_levels(drawing, scale, top),
        "promise": _stepped(drawing.promise, scale, top),
        "risers": [
            stroke
            for stroke in _stepped(drawing.levels, scale, top)
            if stroke["x1"] == stroke["x2"]
        ],
        "bookings": [
            {
                "x": scale.across(mark.place),
                "foot": f"{foot + 4 + min(mark.pieces, 4) * 2.5:.1f}",
            }
            for mark in drawing.bookings
        ],
        "deliveries": [
            {
                "x": scale.across(mark.place),
                "word": f"+{qty(mark.pieces)}",
                "anchor": _anchor(mark.place),
            }
            for mark in drawing.deliveries
        ],
        "delivery_y": top - 5,
        "dates": [
            {
                "x": scale.across(mark.place),
                "word": _short_day(mark.day),
                "anchor": "end" if mark.place > 0.9 else "start",  # noqa: PLR2004 -- the last tenth
            }
            for mark in drawing.dates
        ],
        "date_y": foot + 14 + _ROW - 4,
        "today_x": None if drawing.today is None else scale.across(drawing.today),
        "risk": _drawn_risk(picture, drawing, scale, foot),
        "flags": [
            {
                "x": scale.across(mark.place),
                "y": _ROW * (1 + risk_rows + mark.row),
                "text_y": _ROW * (1 + risk_rows + mark.row) + 12,
                "word": f"{mark.flag.words} {_short_day(mark.flag.day)}",
                "before": mark.words_before,
                "offset": -14 if mark.words_before else 14,
            }
            for mark in drawing.flags
        ],
        "highest": qty(drawing.highest),
        "said": runway_words(picture),
        "rows": _event_rows(picture),
    }


def runway_words(picture: RunwayPicture) -> str:
    """Say a runway in one or two sentences."""
    said = _("%(free)s free at the end of %(day)s; %(needed)s needed and %(coming)s "
             "coming until %(last)s.") % {
        "free": qty(_balance_on(picture, picture.today)),
        "day": _short_day(picture.today),
        "needed": qty(sum(picture.bookings)),
        "coming": qty(sum(picture.deliveries)),
        "last": _short_day(picture.last_day),
    }  # fmt: skip
    if picture.risk_from is not None:
        risk = _("May run out from %(day)s.") % {"day": _short_day(picture.risk_from)}
        return f"{said} {risk}"
    return said


def _balance_on(picture: RunwayPicture, day: date) -> int:
    """Give the balance of a day, or of the nearest day drawn."""
    offset = (day - picture.first_day).days
    return picture.balance[min(max(offset, 0), picture.days - 1)]


def _drawn_levels(
    drawing: RunwayDrawing, scale: Scale, top: int
) -> list[dict[str, Any]]:
    """Draw each flat piece of the balance as an area between its line and zero."""
    zero = top + drawing.zero * _PLOT
    drawn = []
    for level in drawing.levels:
        y = top + level.height * _PLOT
        drawn.append(
            {
                "x": scale.across(level.start),
                "end": scale.across(level.start + level.width),
                "width": scale.across(level.width),
                "line_y": f"{y:.1f}",
                "y": f"{min(y, zero):.1f}",
                "height": f"{abs(y - zero):.1f}",
                "below": level.pieces < 0,
            }
        )
    return drawn


def _stepped(levels: Iterable[Level], scale: Scale, top: int) -> list[dict[str, str]]:
    """Draw a stepped line: a flat stroke for each level and a riser between two."""
    strokes = []
    before: str | None = None
    for level in levels:
        x, end = scale.across(level.start), scale.across(level.start + level.width)
        y = f"{top + level.height * _PLOT:.1f}"
        if before is not None:
            strokes.append({"x1": x, "x2": x, "y1": before, "y2": y})
        strokes.append({"x1": x, "x2": end, "y1": y, "y2": y})
        before = y
    return strokes


def _drawn_risk(
    picture: RunwayPicture, drawing: RunwayDrawing, scale: Scale, foot: int
) -> dict[str, Any] | None:
    if drawing.risk_from is None or picture.risk_from is None:
        return None
    place = drawing.risk_from
    return {
        "x": scale.across(place),
        "width": scale.across(1 - place),
        "words": _("may run out from %(day)s") % {"day": _short_day(picture.risk_from)},
        "anchor": "end" if place > 0.5 else "start",  # noqa: PLR2004 -- the half with room
        "text_x": scale.across(1 if place > 0.5 else place),  # noqa: PLR2004 -- as above
        "y": _ROW + 12,
        "top": _ROW,
        "height": foot - _ROW,
    }


def _event_rows(picture: RunwayPicture) -> list[dict[str, Any]]:
    """List the days on which something happens, for those who read the table."""
    flagged: dict[date, list[str]] = {}
    for flag in picture.flags:
        flagged.setdefault(flag.day, []).append(flag.words)
    rows = []
    for i in range(picture.days):
        day = picture.first_day + timedelta(days=i)
        words = list(flagged.get(day, []))
        if day == picture.risk_from:
            words.append(_("may run out from here"))
        if picture.bookings[i] or picture.deliveries[i] or words:
            rows.append(
                {
                    "day": day,
                    "bookings": picture.bookings[i],
                    "deliveries": picture.deliveries[i],
                    "balance": picture.balance[i],
                    "words": "; ".join(words),
                }
            )
    return rows


def _anchor(place: float) -> str:
    """Keep a word at an edge within the picture."""
    if place < 0.05:  # noqa: PLR2004 -- a twentieth is half a word's width
        return "start"
    return "end" if place > 0.95 else "middle"  # noqa: PLR2004 -- as above


def _short_day(day: date) -> str:
    """Write a day for a picture: 9 Mar, which no reader can take for another."""
    return format_date(day, "d MMM", locale=babel_locale())
