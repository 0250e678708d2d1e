"""Codes that scan: as SVG for pages, and as the rectangles that they are made of."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import zxingcpp
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from dealership.rules.mail_barcode import PITCH, bar_spans


_ROWS_KEPT = 4096


@dataclass(frozen=True, slots=True)
class Drawing:
    """Dark rectangles on a field of ``width`` by ``height``, quiet zone inside."""

    width: float
    height: float
    parts: tuple[str, ...]
    """Each rectangle as "left top width height", in the order they are drawn."""

    def svg_path(self) -> str:
        """Give the rectangles as the data of one SVG path."""
        told = []
        for part in self.parts:
            left, top, width, height = part.split(" ")
            told.append(f"M{left} {top}h{width}v{height}h-{width}z")
        return "".join(told)

    def outlines(self) -> str:
        """Give the rectangles as the layout engine writes such a path into a PDF."""
        told = []
        for part in self.parts:
            left, top, width, height = (float(one) for one in part.split(" "))
            corners = (
                (left, top, "m"),
                (left + width, top, "l"),
                (left + width, top + height, "l"),
                (left, top + height, "l"),
            )
            told += [f"{_short(x)} {_short(y)} {act}" for x, y, act in corners]
            told.append("h")
        return "\n".join(told)

    def rectangles(self) -> str:
        """Give the rectangles as operators of a PDF (ISO 32000-1, table 59: re)."""
        return "\n".join([f"{part} re" for part in self.parts])


def data_matrix(text: str, *, side: str) -> SafeString:
    """Draw a Data Matrix code (ISO/IEC 16022) as inline SVG, ``side`` wide and high.

    ``text`` is plain ASCII; ``side`` a CSS length such as "11mm", quiet zone inside.
    Raises ValueError for other text.
    """
    return svg(data_matrix_drawing(text), width=side, height=side, label=text)


def data_matrix_drawing(text: str) -> Drawing:
    """Make a Data Matrix code of plain ASCII; raises ValueError for other text."""
    if not text.isascii() or not text.isprintable():
        raise ValueError(text)
    code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix)
    image = zxingcpp.write_barcode_to_image(code, add_quiet_zones=True)
    pixels = memoryview(image)  # type: ignore[arg-type]
    assert pixels.shape is not None
    height, width = pixels.shape
    flat = pixels.tobytes()
    parts: list[str] = []
    for top in range(height):
        parts += _row(flat[top * width : (top + 1) * width], top)
    return Drawing(width, height, tuple(parts))


@lru_cache(maxsize=_ROWS_KEPT)
def _row(pixels: bytes, top: int) -> tuple[str, ...]:
    """Give the dark stretches of a row of pixels; 0 is dark."""
    parts = []
    at = pixels.find(0)
    while at >= 0:
        end = pixels.find(255, at)
        end = len(pixels) if end < 0 else end
        parts.append(f"{at} {top} {end - at} 1")
        at = pixels.find(0, end)
    return tuple(parts)


def mail_drawing(bars: str) -> Drawing:
    """Draw the bars of an Intelligent Mail barcode, in thousandths of an inch."""
    parts = [
        f"{left} {top} {width} {height}" for left, top, width, height in bar_spans(bars)
    ]
    spans = list(bar_spans(bars))
    right = max(left + width for left, _top, width, _height in spans)
    return Drawing(right, PITCH.height, tuple(parts))


def svg(drawing: Drawing, *, width: str, height: str, label: str) -> SafeString:
    """Draw rectangles as inline SVG; ``width`` and ``height`` are CSS lengths."""
    # Nothing in it comes from outside: figures of ours, and the label escaped.
    return mark_safe(  # noqa: S308
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {drawing.width}'
        f' {drawing.height}" width="{width}" height="{height}" role="img"'
        f' aria-label="{escape(label)}"><path fill="#fff" d="M0 0h{drawing.width}v'
        f'{drawing.height}h-{drawing.width}z"/><path fill="#000"'
        f' d="{drawing.svg_path()}"/></svg>'
    )


def _short(value: float) -> str:
    """Write a figure as the layout engine does."""
    return f"{value:f}".rstrip("0").rstrip(".")
