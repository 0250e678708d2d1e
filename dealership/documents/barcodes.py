"""Codes that scan, as SVG for pages and paper."""

import re

import zxingcpp
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe


_SVG = re.compile(r"<svg\b[^>]*>(.*)</svg>", re.DOTALL)
_IDENTITY = re.compile(r'\sid="[^"]*"|<desc>.*?</desc>', re.DOTALL)
_BOX = re.compile(r'\bviewBox="([^"]+)"|\bwidth="(\d+)"[^>]*\bheight="(\d+)"')


def data_matrix(text: str, *, side: str) -> SafeString:
    """Draw a Data Matrix code (ISO/IEC 16022) as inline SVG, ``side`` wide and high.

    ``text`` is plain ASCII; ``side`` a CSS length such as "11mm", quiet zone inside.
    Raises ValueError for other text.
    """
    if not text.isascii() or not text.isprintable():
        raise ValueError(text)
    barcode = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix)
    drawn = zxingcpp.write_barcode_to_svg(barcode, add_quiet_zones=True)
    whole = _SVG.search(drawn)
    size = _BOX.search(drawn)
    if whole is None or size is None:
        raise ValueError(drawn[:200])
    box = size[1] or f"0 0 {size[2]} {size[3]}"
    shapes = _IDENTITY.sub("", whole[1])
    # Nothing in it comes from outside: shapes that the writer drew from ASCII.
    return mark_safe(  # noqa: S308
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" width="{side}"'
        f' height="{side}" role="img" aria-label="{escape(text)}">{shapes}</svg>'
    )
