"""Charts: a Vega-Lite description drawn as SVG on this machine, without network."""

from __future__ import annotations

import json
import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any


if TYPE_CHECKING:
    from collections.abc import Sequence

INK = "#101010"
"""Stands for the ink while the chart is drawn; the SVG says currentColor instead."""

FACE = "DejaVu Sans"

_CONFIG: dict[str, Any] = {
    "background": None,
    "font": FACE,
    "view": {"stroke": None},
    "axis": {
        "labelColor": INK,
        "titleColor": INK,
        "domainColor": INK,
        "tickColor": INK,
        "gridColor": INK,
        "gridOpacity": 0.14,
        "labelFontSize": 11,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "titlePadding": 8,
    },
    "legend": {
        "labelColor": INK,
        "labelFontSize": 11,
        "labelLimit": 220,
        "symbolStrokeColor": INK,
    },
}
_NARROW: dict[str, Any] = {
    **_CONFIG,
    "axis": {**_CONFIG["axis"], "labelFontSize": 9, "titleFontSize": 9.5},
    "legend": {**_CONFIG["legend"], "labelFontSize": 9},
}
_FONT = re.compile(
    r'font="(?:(?P<weight>bold|normal|\d{3}) )?(?P<size>[\d.]+px) (?P<face>[^"]*)"'
)


def draw_band(
    *,
    points: Sequence[dict[str, float | None]],
    x_title: str,
    y_title: str,
    last_x: float,
    said: str,
    fan: Sequence[dict[str, float]] = (),
    narrow: bool = False,
) -> str:
    """Draw a step curve of shares with its band as inline SVG, 640 px wide.

    ``narrow``: half as wide, for a column of a paper.

    Each point has ``x``, ``y`` and, where there is a bound, ``low`` and ``high``; all
    shares in 0 to 1. ``fan`` goes on from the curve's end: ``x``, ``y``, ``low`` and
    ``high`` (half of all outcomes), ``lowest`` and ``highest`` (8 of 10). ``said`` is
    the same in words, for those who do not see it. The ink is the ``color`` of where
    it stands, so light, dark and paper work alike.
    """
    x: dict[str, Any] = {"field": "x", "type": "quantitative", "title": x_title}
    x["axis"] = {"format": "d", "values": whole_ticks(last_x)}
    x["scale"] = {"domain": [0, last_x], "nice": False}
    share: dict[str, Any] = {"type": "quantitative", "title": y_title}
    share["axis"] = {"format": ".0%"}
    share["scale"] = {"domain": [0, 1]}
    step: dict[str, Any] = {"interpolate": "step-after", "color": INK}
    layers: list[dict[str, Any]] = [
        {
            "transform": [{"filter": "isValid(datum.low) && isValid(datum.high)"}],
            "mark": {"type": "area", "opacity": 0.18, **step},
            "encoding": {
                "x": x,
                "y": {"field": "low", **share},
                "y2": {"field": "high"},
            },
        },
        {
            "mark": {"type": "line", "strokeWidth": 2, **step},
            "encoding": {"x": x, "y": {"field": "y", **share}},
        },
        *_fan_layers(fan, x, share),
    ]
    marks = {"data": {"values": list(points)}, "layer": layers}
    return _drawn(marks, said, narrow=narrow)


def whole_ticks(last: float, *, most: int = 9) -> list[int]:
    """Give whole numbers from 0 to ``last``, at most so many, evenly apart."""
    top = max(1, math.floor(last))
    step = next(
        (one for one in (1, 2, 4, 8, 13, 26, 52) if top // one + 1 <= most),
        -(-top // (most - 1)),
    )
    return list(range(0, top + 1, step))


def _fan_layers(
    fan: Sequence[dict[str, float]], x: dict[str, Any], share: dict[str, Any]
) -> list[dict[str, Any]]:
    """Give the marks of a forecast: two bands and a dashed middle."""
    if not fan:
        return []
    data = {"values": list(fan)}

    def band(low: str, high: str, opacity: float) -> dict[str, Any]:
        return {
            "data": data,
            "mark": {"type": "area", "opacity": opacity, "color": INK},
            "encoding": {"x": x, "y": {"field": low, **share}, "y2": {"field": high}},
        }

    return [
        band("lowest", "highest", 0.10),
        band("low", "high", 0.16),
        {
            "data": data,
            "mark": {
                "type": "line", "strokeWidth": 1.5, "strokeDash": [5, 4], "color": INK,
            },
            "encoding": {"x": x, "y": {"field": "y", **share}},
        },
    ]  # fmt: skip


def draw_costs(
    *,
    points: Sequence[dict[str, float]],
    lines: Sequence[tuple[str, str]],
    x_title: str,
    y_title: str,
    chosen: int | None,
    said: str,
    narrow: bool = False,
) -> str:
    """Draw several lines over the same numbers of pieces as inline SVG, 640 px wide.

    ``narrow``: half as wide, for a column of a paper.

    Each point has ``x`` and a figure for each of ``lines``, pairs of its name in the
    points and its words; the first is drawn strongest. ``chosen`` is marked.
    """
    last = max((point["x"] for point in points), default=1.0)
    x: dict[str, Any] = {"field": "x", "type": "quantitative", "title": x_title}
    x["scale"] = {"domain": [0, last], "nice": False}
    x["axis"] = {"format": "d", "tickMinStep": 1}
    named = [words for _name, words in lines]
    by_line = {"field": "line", "type": "nominal", "sort": named}
    legend = {"orient": "top", "title": None, "symbolType": "stroke", "symbolSize": 500}
    if narrow:
        legend |= {"columns": 2, "symbolSize": 250}
    rows = [
        {"x": point["x"], "y": point[name], "line": words}
        for name, words in lines
        for point in points
    ]
    dashes = [[1, 0], [2, 2], [7, 3], [9, 3, 2, 3]][: len(named)]
    strokes = [2.4, 1.4, 1.4, 1.4][: len(named)]
    layers: list[dict[str, Any]] = [
        {
            "mark": {"type": "line", "color": INK},
            "encoding": {
                "x": x,
                "y": {"field": "y", "type": "quantitative", "title": y_title},
                "strokeDash": {
                    **by_line,
                    "scale": {"domain": named, "range": dashes},
                    "legend": legend,
                },
                "strokeWidth": {
                    **by_line,
                    "scale": {"domain": named, "range": strokes},
                    "legend": None,
                },
            },
        }
    ]
    if chosen is not None:
        layers.append(
            {
                "data": {"values": [{"x": chosen}]},
                "mark": {"type": "rule", "color": INK, "opacity": 0.6},
                "encoding": {"x": x},
            }
        )
    return _drawn({"data": {"values": rows}, "layer": layers}, said, narrow=narrow)


def _drawn(marks: dict[str, Any], said: str, *, narrow: bool) -> str:
    """Turn marks into SVG for page and paper."""
    size = {"width": 255, "height": 120} if narrow else {"width": 560, "height": 260}
    spec = {**size, "padding": 6, **marks, "config": _NARROW if narrow else _CONFIG}
    return _for_page_and_paper(_svg(json.dumps(spec, sort_keys=True)), said)


@lru_cache(maxsize=64)
def _svg(spec: str) -> str:
    """Draw a description; the same one again costs nothing."""
    import vl_convert  # noqa: PLC0415 (10 MB, wanted only where a chart is drawn)

    return vl_convert.vegalite_to_svg(spec, allowed_base_urls=[])


def _for_page_and_paper(svg: str, said: str) -> str:
    """Put the ink of the place in, and split font shorthands.

    The PDF engine misreads the shorthand ``font`` as an attribute; a page's content
    policy refuses ``style``.
    """
    svg = _FONT.sub(_split_font, svg).replace(INK, "currentColor")
    svg = re.sub(r'\s(?:style|aria-[a-z]+|role)="[^"]*"', "", svg)
    words = said.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    return svg.replace("<svg", f'<svg role="img" aria-label="{words}"', 1)


def _split_font(found: re.Match[str]) -> str:
    """Write a font shorthand as single attributes."""
    weight = f' font-weight="{found["weight"]}"' if found["weight"] else ""
    return f'font-size="{found["size"]}" font-family="{FACE}, sans-serif"{weight}'
