"""Are two pages alike? Compared as a reader sees them: in pixels and in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pypdfium2  # type: ignore[import-untyped]


if TYPE_CHECKING:
    from collections.abc import Iterable

DOTS_PER_INCH = 100
_POINTS = 72


@dataclass(frozen=True, slots=True)
class Difference:
    """Where two pages differ: pixels that do, and words that only one of them has."""

    place: int
    pixels: int
    words: tuple[str, ...]


def differences(
    left: bytes,
    right: bytes,
    pages: Iterable[tuple[int, int]],
    *,
    dots_per_inch: int = DOTS_PER_INCH,
) -> list[Difference]:
    """Compare pages of two PDFs, given as pairs of page numbers from 0.

    Gives the pairs that differ, by their place among ``pages``; none when all are
    alike. Pages of different size differ in all pixels.
    """
    found = []
    with (
        pypdfium2.PdfDocument(left) as one,
        pypdfium2.PdfDocument(right) as other,
    ):
        for place, (a, b) in enumerate(pages):
            difference = _compare(place, one[a], other[b], dots_per_inch)
            if difference:
                found.append(difference)
    return found


def _compare(
    place: int,
    left: pypdfium2.PdfPage,
    right: pypdfium2.PdfPage,
    dots_per_inch: int,
) -> Difference | None:
    """Compare two pages."""
    scale = dots_per_inch / _POINTS
    seen = [page.render(scale=scale, grayscale=True) for page in (left, right)]
    pictures = [bitmap.to_numpy() for bitmap in seen]
    if pictures[0].shape != pictures[1].shape:
        pixels = int(pictures[0].size)
    else:
        pixels = int((pictures[0] != pictures[1]).sum())
    words = [sorted(words_of(page)) for page in (left, right)]
    if not pixels and words[0] == words[1]:
        return None
    odd = tuple(sorted(set(words[0]) ^ set(words[1])))
    return Difference(place, pixels, odd)


def words_of(page: pypdfium2.PdfPage) -> list[str]:
    """Give the words that can be found and copied on a page."""
    text: str = page.get_textpage().get_text_range()
    return text.split()
