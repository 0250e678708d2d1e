"""Charts: a Vega-Lite description drawn as SVG on this machine, without network."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import vl_convert


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
) -> str:
    """Draw a step curve of shares with its band as inline SVG, 640 px wide.

    Each point has ``x``, ``y`` and, where there is a bound, ``low`` and ``high``; all
    shares in 0 to 1. ``said`` is the same in words, for those who do not see it. The
    ink is the ``color`` of where it stands, so light, dark and paper work alike.
    """
    x = {"field": "x", "type": "quantitative", "title": x_title}
    x["axis"] = {"format": "d", "tickMinStep": 1}  # type: ignore[assignment]
    x["scale"] = {"domain": [0, last_x], "nice": False}  # type: ignore[assignment]
    share = {"type": "quantitative", "title": y_title, "axis": {"format": ".0%"}}
    share["scale"] = {"domain": [0, 1]}
    step = {"interpolate": "step-after", "color": INK}
    spec: dict[str, Any] = {
        "width": 560,
        "height": 260,
        "padding": 6,
        "data": {"values": list(points)},
        "layer": [
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
        ],
        "config": _CONFIG,
    }
    drawn = vl_convert.vegalite_to_svg(json.dumps(spec), allowed_base_urls=[])
    return _for_page_and_paper(drawn, said)


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
