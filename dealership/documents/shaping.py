"""Lines of text as glyphs, the way the layout engine sets them.

HarfBuzz shapes a line at the scale that the engine's text library uses (1/1024 of a
pixel) and each advance is written with the engine's own rounding, so that a line set
here has the very operators that the engine would write. What cannot be set exactly
this way is refused: another script, marks that are placed, a character of another
font. Sizes are in 1/1024 pixel, 96 pixels to the inch.
"""

from __future__ import annotations

import unicodedata
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import uharfbuzz  # type: ignore[import-untyped]

from dealership.documents.pdf import fontconfig


if TYPE_CHECKING:
    from collections.abc import Mapping

UNITS = 1024
"""Units in a pixel."""

FACES = {
    "DejaVu-Sans": "DejaVu Sans:style=Book",
    "DejaVu-Sans-Bold": "DejaVu Sans:style=Bold",
    "DejaVu-Sans-Mono-Bold": "DejaVu Sans Mono:style=Bold",
}
"""Faces that can be set here: the name that the engine writes, and its pattern."""

LIGATURES = ("ff", "fi", "fl", "ffi", "ffl")
_WORDS_KEPT = 16_384
_RIGHT_TO_LEFT = frozenset({"R", "AL", "AN"})
_NEAR_A_HALF = 0.06
_COMMON_END = 0x2070
"""Signs up to the end of General Punctuation; later ones are of many fonts."""


class NotExact(Exception):
    """This text cannot be set exactly here; the layout engine has to do it."""


@lru_cache(maxsize=4096)
def is_plain(character: str) -> bool:
    """Tell whether a character is set by itself, from left to right, in Latin text.

    Letters of the Latin alphabet and what is common to all scripts. Marks that stand
    on other characters, other scripts, joiners and odd spaces are not plain.
    """
    if character == " ":
        return True
    category = unicodedata.category(character)
    if category[0] in "MCZ" or unicodedata.bidirectional(character) in _RIGHT_TO_LEFT:
        return False
    if category[0] == "L":
        return unicodedata.name(character, "").startswith("LATIN ")
    return ord(character) < _COMMON_END


class Face:
    """A font file, ready to be shaped with."""

    def __init__(self, path: Path) -> None:
        self._face = uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(path)))
        self._fonts: dict[int, uharfbuzz.Font] = {}
        self.characters = frozenset(
            chr(code) for code in self._face.unicodes if self._is_sure(chr(code))
        )

    def _is_sure(self, character: str) -> bool:
        """Tell whether a character is plain and as wide at every size, in thousandths.

        The engine writes widths rounded at the size that it meets first; one that
        lies at a half may come out either way.
        """
        font = self._font(self._face.upem)
        glyph = font.get_nominal_glyph(ord(character))
        if glyph is None or not is_plain(character):
            return False
        thousandths = font.get_glyph_h_advance(glyph) * 1000 / self._face.upem
        return bool(abs(thousandths % 1 - 0.5) > _NEAR_A_HALF)

    def shaped(
        self, text: str, size: int, language: str = "en"
    ) -> list[tuple[int, int]]:
        """Shape a line and give each glyph with its advance, in units.

        Raises NotExact for a character that is not in this face or not plain, and
        where a glyph is placed off its line.
        """
        if not self.characters.issuperset(text):
            raise NotExact(text)
        buffer = uharfbuzz.Buffer()
        buffer.add_str(text)
        buffer.direction, buffer.script = "ltr", "Latn"
        buffer.language = language
        uharfbuzz.shape(self._font(size), buffer)
        placed = []
        positions = buffer.glyph_positions
        for info, place in zip(buffer.glyph_infos, positions, strict=True):
            offset_x, offset_y, advance, _down = place.position
            if offset_x or offset_y:
                raise NotExact(text)
            placed.append((info.codepoint, advance))
        return placed

    @cached_property
    def words_stand_alone(self) -> bool:
        """Tell whether a space never changes its neighbours, so words can be kept.

        Each character and ligature between two spaces must be as wide as alone.
        """
        size = self._face.upem
        tokens = [*sorted(self.characters - {" "}), *LIGATURES]
        tokens = [one for one in tokens if self.characters.issuperset(one)]
        alone = [pair for one in tokens for pair in (*self.shaped(one, size), None)]
        [space] = self.shaped(" ", size)
        together = self.shaped(" ".join((*tokens, "")), size)
        return together == [space if pair is None else pair for pair in alone]

    def _font(self, size: int) -> uharfbuzz.Font:
        if size not in self._fonts:
            font = uharfbuzz.Font(self._face)
            font.scale = (size, size)
            self._fonts[size] = font
        return self._fonts[size]


@lru_cache(maxsize=len(FACES))
def face_of(name: str) -> Face:
    """Give the face of this name; raises NotExact for one that is not ours."""
    if name not in FACES:
        raise NotExact(name)
    [path] = fontconfig("fc-match", "--format", "%{file}\n", FACES[name])
    return Face(Path(path))


class LineSetter:
    """Sets lines of one face and size with the widths that a PDF tells of its font.

    ``widths`` are in thousandths of the size, by glyph: those of the embedded font.
    Words that come again are remembered.
    """

    def __init__(
        self, face: Face, size: int, widths: Mapping[int, int], language: str
    ) -> None:
        self._face, self._size, self._widths = face, size, widths
        self._language = language
        self._pieces: dict[tuple[int, int], str] = {}
        self._word = lru_cache(maxsize=_WORDS_KEPT)(self._set)

    def line(self, text: str) -> tuple[str, float]:
        """Give the operand that shows a line, and the line's width in pixels.

        Raises NotExact.
        """
        if not self._face.words_stand_alone:
            return _closed(*self._set(text))
        space, wide = self._word(" ")
        words = [self._word(word) for word in text.split(" ")]
        operand = space.join([shown for shown, _width in words])
        width = sum([width for _shown, width in words]) + wide * (len(words) - 1)
        return _closed(operand, width)

    def _set(self, text: str) -> tuple[str, float]:
        """Set a stretch of text; raises NotExact."""
        if not text:
            return "", 0.0
        placed = self._face.shaped(text, self._size, self._language)
        pieces = self._pieces
        for one in placed:
            if one not in pieces:
                pieces[one] = self._piece(*one)
        operand = "".join([pieces[one] for one in placed])
        return operand, sum([advance for _glyph, advance in placed]) / UNITS

    def _piece(self, glyph: int, advance: int) -> str:
        """Give a glyph, and the correction that the engine writes after it.

        The engine cuts the correction to whole thousandths, toward zero.
        """
        if glyph not in self._widths:
            raise NotExact(glyph)
        size = self._size / UNITS
        correction = int(self._widths[glyph] - advance * 1000 * (1 / UNITS) / size)
        return f"{glyph:04x}>{correction}<" if correction else f"{glyph:04x}"


def _closed(operand: str, width: float) -> tuple[str, float]:
    """Close an operand; a correction after the last glyph moves nothing any more."""
    if operand.endswith("<"):
        operand = operand[: operand.rindex(">")]
    return f"[<{operand}>]", width
