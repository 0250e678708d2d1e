"""Letters by the thousand: laid out once for each text and vehicle, then filled in.

The layout engine sets one sample for each set of words that many letters share; the
owner's own lines (address, salutation, VIN, the letter's number and codes) stand in
places of their own, so that nothing moves when they differ. A letter that cannot be
filled in exactly is not filled in at all: the engine sets it whole.
"""

from __future__ import annotations

import hashlib
import io
import json
import zlib
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import pikepdf
from django.template.loader import render_to_string

from campaigns.documents.letters import (
    LETTER_CSS,
    MOST_LINES,
    drawn,
    measures,
)
from campaigns.rules.letter_text import clean
from campaigns.rules.letter_window import (
    BARS_HEIGHT,
    BARS_WIDTH,
    TYPE_SIZES,
)
from dealership.documents.barcodes import mail_drawing, svg
from dealership.documents.frames import (
    FramePage,
    FrameRefused,
    Slot,
    Wanted,
    make_frame,
    save_plain,
    setters_of,
)
from dealership.documents.pdf import lay_out
from dealership.documents.shaping import LIGATURES, NotExact, face_of
from dealership.documents.sheaf import Sheaf
from dealership.documents.stamping import PageStamp
from dealership.rules.mail_barcode import BARS


if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from campaigns.documents.letters import Sender, Sheet
    from campaigns.rules.letter_window import Layout

AT_ONCE = 12
"""Samples laid out together: about 0.75 MB of memory each."""

MOST_SAMPLES = 400
"""Sets of words that get a sample of their own; letters with others go the full way."""

PIXELS = 96
"""CSS pixels in an inch."""

SPECIMEN = "specimen"
_MARK_NAME = "Quorra Vexlind-Jymm"
_MARK_VIN = "0W0KV0QXZ0W0V0X0Z"
_SPECIMEN_BARS = ("FADT" * BARS)[:BARS]
_CODE_CHARACTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
_LETTERHEAD_SIDES = {"letter": 2.0, "a4": 45 / 25.4}
_QUOTE_WIDTH = 5.6
_BESIDE_RIGHT = 0.6


@dataclass(frozen=True, slots=True)
class Filled:
    """One page of a letter: the background's number, and its own deflated content."""

    number: int
    content: bytes


@dataclass(frozen=True, slots=True)
class _Part:
    """What one run of the engine gave: samples by digest, and where addresses stand.

    ``first`` is the number of its first background in the press's PDF, ``side`` the
    number of modules in the code of a sample.
    """

    first: int
    language: str
    side: float
    samples: Mapping[str, Sequence[FramePage]]
    more: Mapping[str, Slot]


class Press:
    """Backgrounds of a round, and where in them the owner's lines go."""

    def __init__(self, pdf: bytes, layout: Layout, parts: Sequence[_Part]) -> None:
        self.pdf, self._layout, self._parts = pdf, layout, parts
        limits = _limits(layout)
        self._stamps: dict[str, tuple[float, list[PageStamp]]] = {}
        with pikepdf.open(io.BytesIO(pdf)) as paper:
            for part in parts:
                setters = setters_of(paper.pages[part.first])
                for digest, pages in part.samples.items():
                    stamps = [
                        PageStamp(
                            replace(page, number=page.number + part.first),
                            setters,
                            limits,
                            language=part.language,
                            more=part.more if place == 0 else None,
                        )
                        for place, page in enumerate(pages)
                    ]
                    self._stamps[digest] = part.side, stamps
        self._known: dict[tuple[object, ...], str] = {}

    def fill(self, sheet: Sheet) -> list[Filled]:
        """Fill in one letter, page by page; raises NotExact."""
        side, stamps = self._stamps_of(sheet)
        values = {"dear": sheet.dear, "vin": sheet.vin, "quote": sheet.quote}
        pages = []
        for place, stamp in enumerate(stamps):
            lines: list[tuple[str, str]] = []
            drawings: list[tuple[str, str]] = []
            if place == 0:
                setting = sheet.setting
                prefix = _prefix(setting.size_class, under=setting.bars)
                if len(sheet.lines) > MOST_LINES:
                    raise NotExact(sheet.code)
                lines = [(f"{prefix}{n}", line) for n, line in enumerate(sheet.lines)]
                if setting.bars:
                    drawings.append(("bars", mail_drawing(sheet.bars).rectangles()))
            lines += [(name, values[name]) for name in values if name in stamp.names]
            if "code" in stamp.names:
                drawing = sheet.code_drawing
                if drawing.width != side:
                    raise NotExact(sheet.code)
                drawings.append(("code", drawing.rectangles()))
            content = zlib.compress(stamp.fill(lines, drawings))
            pages.append(Filled(stamp.number, content))
        return pages

    def bound(self, pages: Iterable[Filled], *, title: str = "") -> bytes:
        """Give a PDF of some pages, in memory."""
        target = io.BytesIO()
        sheaf = Sheaf(target, self.pdf)
        for page in pages:
            sheaf.add(sheaf.pages[page.number], page.content)
        sheaf.close(title=title)
        return target.getvalue()

    def _stamps_of(self, sheet: Sheet) -> tuple[float, list[PageStamp]]:
        common = sheet.common
        digest = self._known.get(common)
        if digest is None:
            digest = self._known[common] = digest_of(common)
        try:
            return self._stamps[digest]
        except KeyError:
            raise NotExact(sheet.code) from None

    def table(self) -> bytes:
        """Give all but the PDF as JSON, for another worker to go on with."""
        return json.dumps([asdict(part) for part in self._parts]).encode()

    @classmethod
    def from_table(cls, pdf: bytes, table: bytes, layout: Layout) -> Press:
        """Make the press anew from its PDF and what ``table`` gave."""
        return cls(pdf, layout, [_part(told) for told in json.loads(table)])


def digest_of(common: tuple[object, ...]) -> str:
    """Name what letters have in common in a few characters."""
    return hashlib.sha256(repr(common).encode()).hexdigest()[:32]


def make_press(
    sender: Sender,
    samples: Iterable[Sheet],
    *,
    characters: Iterable[str],
    date: str,
    campaign: str,
) -> Press:
    """Lay out one sample of each set of words, and find the owner's places in it.

    ``characters`` are those of all names and addresses. Raises FrameRefused where the
    places cannot be found exactly, PdfEngineMissing.
    """
    wanted: dict[str, dict[str, Sheet]] = {}
    for sheet in samples:
        wanted.setdefault(sheet.language, {}).setdefault(digest_of(sheet.common), sheet)
    shown = _specimen_characters(characters)
    parts, papers, first = [], [], 0
    for language, by_digest in wanted.items():
        digests = list(by_digest)
        for start in range(0, len(digests), AT_ONCE):
            these = {one: by_digest[one] for one in digests[start : start + AT_ONCE]}
            pdf, part = _make_part(
                sender, these, first, language, shown, date=date, campaign=campaign
            )
            parts.append(part)
            papers.append(pdf)
            first += sum(len(pages) for pages in part.samples.values())
    if not parts:
        raise FrameRefused("no samples")
    return Press(_joined(papers), sender.layout, parts)


def _make_part(
    sender: Sender,
    samples: Mapping[str, Sheet],
    first: int,
    language: str,
    characters: str,
    *,
    date: str,
    campaign: str,
) -> tuple[bytes, _Part]:
    """Lay out some samples together with a specimen of all characters."""
    marked = {digest: _marked(sheet) for digest, sheet in samples.items()}
    addresses = _address_lines()
    html = render_to_string(
        "documents/letters.html",
        {
            "sender": sender.shown,
            "sheets": [
                {**drawn(sheet), "anchor": digest, "lines": ()}
                for digest, sheet in marked.items()
            ],
            "layout": sender.layout,
            "date": date,
            "campaign": clean(campaign),
            "specimen": _specimen(language, characters, addresses),
        },
    )
    laid = lay_out(
        html, page=sender.paper, css=LETTER_CSS, measures=measures(sender.layout)
    )
    starts = [laid.starts[name] for name in (*marked, SPECIMEN)]
    wanted = [
        Wanted(
            pages=range(start, end),
            lines=_own_lines(sheet),
            drawings={"code": sheet.code_drawing.outlines()},
            language=language,
        )
        for start, end, sheet in zip(starts, starts[1:], marked.values(), strict=False)
    ]
    rest = range(starts[-1], laid.pages)
    wanted.append(
        Wanted(
            pages=rest,
            lines={name: line for _kind, lines in addresses for name, line in lines},
            drawings={"bars": mail_drawing(_SPECIMEN_BARS).outlines()},
            language=language,
        )
    )
    pdf, frames = make_frame(laid.pdf, wanted, drop=rest)
    more = {name: slot for page in frames.pop() for name, slot in page.slots.items()}
    side = next(iter(marked.values())).code_drawing.width
    return pdf, _Part(
        first, language, side, dict(zip(marked, frames, strict=True)), more
    )


def _own_lines(sheet: Sheet) -> dict[str, str]:
    """Give the owner's lines that stand in the letter itself, by name."""
    return {"dear": sheet.dear, "vin": sheet.vin, "quote": sheet.quote}


def _marked(sheet: Sheet) -> Sheet:
    """Put marks where a sample has the owner's own lines."""
    code = sheet.code[:1] + "9" * (len(sheet.code) - 1)
    return replace(sheet, name=_MARK_NAME, vin=_MARK_VIN, code=code, tracking="")


_Kind = tuple[str, bool]


def _address_lines() -> list[tuple[_Kind, list[tuple[str, str]]]]:
    """Name each line of an address in each type, with and without a barcode above."""
    told = []
    for size in TYPE_SIZES:
        for under in (False, True):
            size_class = f"{size * 10:.0f}"
            prefix = _prefix(size_class, under=under)
            lines = [(f"{prefix}{n}", f"{prefix}{n}") for n in range(MOST_LINES)]
            told.append(((size_class, under), lines))
    return told


def _prefix(size_class: str, *, under: bool) -> str:
    """Begin the names of an address's lines in one type."""
    return f"address-{size_class}-{'under' if under else 'top'}-"


def _specimen(
    language: str,
    characters: str,
    addresses: list[tuple[_Kind, list[tuple[str, str]]]],
) -> dict[str, object]:
    """Give what the specimen shows: all characters, all places of addresses."""
    return {
        "name": SPECIMEN,
        "language": language,
        "characters": characters,
        "codes": " ".join(_CODE_CHARACTERS),
        "bars": svg(
            mail_drawing(_SPECIMEN_BARS),
            width=f"{BARS_WIDTH:.3f}in",
            height=f"{BARS_HEIGHT:.3f}in",
            label=SPECIMEN,
        ),
        "addresses": [
            (size_class, under, [line for _name, line in lines])
            for (size_class, under), lines in addresses
        ],
    }


def _specimen_characters(characters: Iterable[str]) -> str:
    """Give the characters that can be filled in, each by itself, and their ligatures."""
    known = face_of("DejaVu-Sans").characters
    asked = {*characters, *_CODE_CHARACTERS, "-", ",", ".", ":"}
    return " ".join((*sorted((asked & known) - {" "}), *LIGATURES))


def _limits(layout: Layout) -> dict[str, float]:
    """Give how wide each line may get, in pixels."""
    sides = _LETTERHEAD_SIDES[layout.name]
    limits = {
        "dear": (layout.sheet_width - sides) * PIXELS,
        "quote": _QUOTE_WIDTH * PIXELS,
        "vin": (layout.sheet_width - _BESIDE_RIGHT - layout.beside) * PIXELS,
    }
    wide = layout.address.width * PIXELS
    names = (name for _kind, lines in _address_lines() for name, _line in lines)
    return limits | dict.fromkeys(names, wide)


def _joined(papers: Sequence[bytes]) -> bytes:
    """Put the backgrounds of several runs into one PDF."""
    if len(papers) == 1:
        return papers[0]
    target = io.BytesIO()
    with pikepdf.new() as whole:
        for paper in papers:
            with pikepdf.open(io.BytesIO(paper)) as one:
                whole.pages.extend(one.pages)
        save_plain(whole, target)
    return target.getvalue()


def _part(told: dict[str, Any]) -> _Part:
    """Read what ``table`` wrote."""
    return _Part(
        first=told["first"],
        language=told["language"],
        side=told["side"],
        samples={
            digest: [FramePage(page["number"], _slots(page["slots"])) for page in pages]
            for digest, pages in told["samples"].items()
        },
        more=_slots(told["more"]),
    )


def _slots(told: dict[str, dict[str, str]]) -> dict[str, Slot]:
    return {name: Slot(**slot) for name, slot in told.items()}
