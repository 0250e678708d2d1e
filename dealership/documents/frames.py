"""Pages that are laid out once and filled in many times.

The layout engine sets a page with a mark in each place where something particular will
stand. Here the marks are looked up in what the engine wrote, taken out, and their
places kept: what remains is a background that any number of pages share. A mark must
come out of our own shaping byte for byte as the engine wrote it; otherwise the frame
is refused, and the engine does all the work itself.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pikepdf

from dealership.documents.shaping import FACES, UNITS, LineSetter, NotExact, face_of


if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

_PREFIX = (re.compile(rb"1 0 0 -1 0 [\d.]+ cm"), re.compile(rb"q"))


class FrameRefused(Exception):
    """The page cannot be filled in: the layout engine has to set it whole."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A place on a page: for a line of text, or, without a font, for a drawing.

    ``chain`` are the transformations that hold there, ``look`` colour and state,
    ``place`` the operands of the text matrix, ``type`` those of font and size.
    """

    chain: str
    look: str
    place: str = ""
    type: str = ""

    @property
    def font(self) -> str:
        """Give the name of the font among the page's resources."""
        return self.type.partition(" ")[0].removeprefix("/")

    @property
    def size(self) -> int:
        """Give the size of the type in units."""
        return round(float(self.type.partition(" ")[2]) * UNITS)


@dataclass(frozen=True, slots=True)
class FramePage:
    """One page of a frame: its place in the frame's PDF, and its slots by name."""

    number: int
    slots: Mapping[str, Slot]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be found on some pages in a row: lines and drawings, by name."""

    pages: Sequence[int]
    lines: Mapping[str, str]
    drawings: Mapping[str, str]
    language: str = "en"


@dataclass(frozen=True, slots=True)
class Found:
    """A line of text as the engine wrote it, or where a drawing begins."""

    at: int
    slot: Slot
    operand: bytes


def widths_of(page: pikepdf.Page) -> dict[str, dict[int, int]]:
    """Give the widths of each font that a page names, by resource and glyph."""
    fonts = page.Resources.Font
    return {
        name.removeprefix("/"): _widths(font.DescendantFonts[0].W)
        for name, font in fonts.items()
    }


def faces_of(page: pikepdf.Page) -> dict[str, str]:
    """Give the name of each font's face, by resource; those that we can set."""
    fonts = page.Resources.Font
    named = {
        name.removeprefix("/"): str(font.BaseFont).partition("+")[2]
        for name, font in fonts.items()
    }
    return {name: face for name, face in named.items() if face in FACES}


def _widths(told: Any) -> dict[int, int]:  # noqa: ANN401 (pikepdf's array)
    """Read the array of widths of a font (ISO 32000-1, 9.7.4.3)."""
    widths: dict[int, int] = {}
    items = list(told)
    at = 0
    while at < len(items):
        first = int(items[at])
        if isinstance(items[at + 1], pikepdf.Array):
            row = (int(width) for width in items[at + 1])
            widths.update(enumerate(row, start=first))
            at += 2
        else:
            last, width = int(items[at + 1]), int(items[at + 2])
            widths.update(dict.fromkeys(range(first, last + 1), width))
            at += 3
    return widths


def setters_of(page: pikepdf.Page) -> Setters:
    """Make setters of lines for the fonts that a page names."""
    return Setters(faces_of(page), widths_of(page))


def make_frame(
    pdf: bytes, wanted: Iterable[Wanted], *, drop: Sequence[int]
) -> tuple[bytes, list[list[FramePage]]]:
    """Take the marks out of pages; give the PDF of backgrounds, and the slots.

    One list of pages for each of ``wanted``. The pages of ``drop`` are left out of
    the PDF once they were read: they are there for their fonts and their slots.
    Raises FrameRefused where a mark is not found exactly once or not exactly so.
    """
    with pikepdf.open(io.BytesIO(pdf)) as paper:
        setters = setters_of(paper.pages[0])
        numbers = [n for n in range(len(paper.pages)) if n not in set(drop)]
        kept = {page: number for number, page in enumerate(numbers)}
        frames = [_fill_out(paper, one, setters, kept) for one in wanted]
        shared = paper.make_indirect(paper.pages[0].obj.Resources)
        for page in paper.pages:
            page.obj.Resources = shared
        for number in sorted(drop, reverse=True):
            del paper.pages[number]
        for entry in ("/Names", "/Outlines"):
            if entry in paper.Root:
                del paper.Root[entry]
        target = io.BytesIO()
        save_plain(paper, target)
    return target.getvalue(), frames


def save_plain(paper: pikepdf.Pdf, target: io.BytesIO) -> None:
    """Write a PDF that can be added to: each object by itself, a plain table."""
    paper.save(
        target,
        deterministic_id=True,
        compress_streams=True,
        object_stream_mode=pikepdf.ObjectStreamMode.disable,
    )


def _fill_out(
    paper: pikepdf.Pdf, wanted: Wanted, setters: Setters, kept: Mapping[int, int]
) -> list[FramePage]:
    """Take the marks of one letter out of its pages."""
    pages: list[FramePage] = []
    found: set[str] = set()
    for number in wanted.pages:
        page = paper.pages[number]
        lines = page.Contents.read_bytes().split(b"\n")
        _check_prefix(lines)
        slots: dict[str, Slot] = {}
        for name, at, slot, count in _marks(lines, wanted, setters):
            if name in found or name in slots:
                raise FrameRefused(name)
            slots[name] = slot
            lines[at : at + count] = [b""] * count
        found |= slots.keys()
        if number in kept:
            page.Contents = paper.make_stream(b"\n".join(one for one in lines if one))
        pages.append(FramePage(kept.get(number, -1), slots))
    missing = {*wanted.lines, *wanted.drawings} - found
    if missing:
        raise FrameRefused(sorted(missing))
    return pages


def _check_prefix(lines: Sequence[bytes]) -> None:
    """See that a page begins as the engine begins it; raises FrameRefused."""
    if not all(one.fullmatch(line) for one, line in zip(_PREFIX, lines, strict=False)):
        raise FrameRefused(lines[:2])


def _marks(
    lines: Sequence[bytes], wanted: Wanted, setters: Setters
) -> Iterator[tuple[str, int, Slot, int]]:
    """Find the marks of a page: name, first line, slot, how many lines."""
    drawn = {name: path.encode().split(b"\n") for name, path in wanted.drawings.items()}
    texts: dict[tuple[str, int], dict[str, str]] = {}
    for one in read_page(lines):
        if not one.slot.font:
            for name, path in drawn.items():
                if list(lines[one.at : one.at + len(path)]) == path:
                    yield name, one.at, one.slot, len(path)
            continue
        setting = (one.slot.font, one.slot.size)
        if setting not in texts:
            texts[setting] = setters.all_of(one.slot, wanted)
        known = texts[setting].get(plain_operand(one.operand).decode())
        if known:
            yield known, one.at, one.slot, 1


def plain_operand(operand: bytes) -> bytes:
    """Leave corrections of nothing out of an operand, and one after the last glyph."""
    inner = operand[1:-1]
    last = inner.rfind(b">")
    cut = inner[: last + 1].replace(b">0<", b"")
    return b"[" + cut + b"]"


def read_page(lines: Sequence[bytes]) -> Iterator[Found]:
    """Walk over what the engine wrote: each line of text, each path to be filled."""
    chain: list[bytes] = []
    look: dict[bytes, bytes] = {}
    kept: list[tuple[list[bytes], dict[bytes, bytes]]] = []
    place = font = b""
    for at, line in enumerate(lines):
        words = line.rsplit(b" ", 1)
        act = words[-1]
        if act == b"q":
            kept.append((chain.copy(), look.copy()))
        elif act == b"Q":
            chain, look = kept.pop()
        elif act == b"cm":
            chain.append(line)
        elif act in {b"rg", b"gs", b"g", b"k"}:
            look[act] = line
        elif act == b"Tm":
            place = words[0]
        elif act == b"Tf":
            font = words[0]
        elif act == b"TJ":
            yield Found(at, _slot(chain, look, place, font), words[0])
        elif act == b"m":
            yield Found(at, _slot(chain, look), b"")


def _slot(
    chain: Sequence[bytes],
    look: Mapping[bytes, bytes],
    place: bytes = b"",
    font: bytes = b"",
) -> Slot:
    """Make a slot of what holds at a place; the page's own turn is left out."""
    return Slot(
        chain=b"\n".join(chain[1:]).decode(),
        look=b"\n".join(look[key] for key in sorted(look)).decode(),
        place=place.decode(),
        type=font.decode(),
    )


class Setters:
    """Setters of lines for each font and size of a PDF."""

    def __init__(
        self, faces: Mapping[str, str], widths: Mapping[str, Mapping[int, int]]
    ) -> None:
        self._faces, self._widths = faces, widths
        self.fonts = tuple(faces)
        self._made: dict[tuple[str, int, str], LineSetter] = {}

    def of(self, slot: Slot, language: str) -> LineSetter:
        """Give the setter for a slot; raises NotExact for a font that is not ours."""
        key = slot.font, slot.size, language
        if key not in self._made:
            if slot.font not in self._faces:
                raise NotExact(slot.font)
            face = face_of(self._faces[slot.font])
            self._made[key] = LineSetter(
                face, slot.size, self._widths[slot.font], language
            )
        return self._made[key]

    def widths(self, font: str) -> Mapping[int, int]:
        """Give the widths of a font's glyphs."""
        return self._widths[font]

    def all_of(self, slot: Slot, wanted: Wanted) -> dict[str, str]:
        """Set all marks as they would stand in a slot: names by operand.

        A mark that this font cannot set does not stand there.
        """
        names: dict[str, str] = {}
        for name, text in wanted.lines.items():
            try:
                shown, _width = self.of(slot, wanted.language).line(text)
            except NotExact:
                continue
            if shown in names:
                raise FrameRefused(text)
            names[shown] = name
        return names
