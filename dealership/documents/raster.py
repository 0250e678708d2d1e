"""Pictures of PDF pages, for a look at what will be printed."""

from __future__ import annotations

import io
from contextlib import closing

import pypdfium2  # type: ignore[import-untyped]


_POINTS_AN_INCH = 72
MOST_PAGES = 3


def page_pictures(
    pdf: bytes, *, dots_an_inch: int = 96, most: int = MOST_PAGES
) -> list[bytes]:
    """Draw the first pages of a PDF as PNG, at most so many."""
    pictures = []
    with closing(pypdfium2.PdfDocument(pdf)) as document:
        for number in range(min(len(document), most)):
            drawn = document[number].render(scale=dots_an_inch / _POINTS_AN_INCH)
            out = io.BytesIO()
            drawn.to_pil().convert("L").save(out, "PNG", optimize=True)
            pictures.append(out.getvalue())
    return pictures
