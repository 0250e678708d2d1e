"""Paper: HTML laid out into PDF. The one module that imports the PDF engine.

The engine reads nothing but our own static files: an address of any other kind in a
page stops the whole paper, for it could only come from data that broke out.
"""

from __future__ import annotations

import logging
import subprocess
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal
from urllib.parse import unquote, urlsplit

import pikepdf
from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

Page = Literal["letter", "a4"]

PAGE_SIZES: dict[Page, str] = {"letter": "Letter", "a4": "A4"}
BASE_URL = "https://paper.invalid/"
"""RFC 6761: no host of that name exists, so nothing is ever fetched from one."""

ENGINE_PACKAGES = (
    "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core"
)
FACE = "DejaVu Sans"


def page_of(paper: str) -> Page:
    """Give the page of a store's paper; US Letter where it says nothing else."""
    return "a4" if paper == "a4" else "letter"


class PdfEngineMissing(Refusal):
    """The PDF engine or the system libraries that it needs are not installed."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "Papers cannot be made on this machine: the PDF engine does not start."
                " Ask whoever runs it to install %(packages)s; the rest works."
            )
            % {"packages": ENGINE_PACKAGES}
        )
        self.packages = ENGINE_PACKAGES


class ForeignAddress(Exception):
    """A paper asked for something that is not one of our own files."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidOut:
    """A paper: its bytes, how many pages, and on which page each anchor stands.

    ``starts`` counts pages from 0, by the ``id`` of the element.
    """

    pdf: bytes
    pages: int
    starts: Mapping[str, int]


def render_pdf(
    template: str,
    context: dict[str, Any],
    *,
    page: Page = "letter",
    css: Sequence[str] = ("css/paper.css",),
) -> bytes:
    """Lay out a template as PDF with the named static style sheets.

    Raises PdfEngineMissing where the engine is not installed.
    """
    return lay_out(render_to_string(template, context), page=page, css=css).pdf


def lay_out(
    html: str,
    *,
    page: Page = "letter",
    css: Sequence[str] = ("css/paper.css",),
    measures: str = "",
) -> LaidOut:
    """Lay out HTML as PDF and tell where its anchors stand.

    ``measures`` is CSS with lengths that were worked out, put after the style sheets.
    The same HTML gives the same bytes: no clock and no random identifier goes in.
    Raises PdfEngineMissing where the engine is not installed, ForeignAddress where
    the HTML names anything but our own static files.
    """
    engine = _engine()
    try:
        return _laid_out(
            engine, html, f"@page {{ size: {PAGE_SIZES[page]} }}\n{measures}", css
        )
    except engine.urls.FatalURLFetchingError as refused:
        raise ForeignAddress(str(refused)) from refused


def _laid_out(engine: Any, html: str, measures: str, css: Sequence[str]) -> LaidOut:  # noqa: ANN401 (the engine has no types)
    """Lay out HTML; raises the engine's own error at a foreign address."""
    fetcher = _own_files_only(engine)
    fonts = engine.text.fonts.FontConfiguration()
    sheets = [
        engine.CSS(
            string=_static_bytes(name).decode(),
            base_url=BASE_URL,
            url_fetcher=fetcher,
            font_config=fonts,
        )
        for name in css
    ]
    sheets.append(engine.CSS(string=measures))
    document = engine.HTML(string=html, base_url=BASE_URL, url_fetcher=fetcher).render(
        stylesheets=sheets, font_config=fonts
    )
    starts: dict[str, int] = {}
    for number, sheet in enumerate(document.pages):
        for anchor in sheet.anchors:
            # What goes on over several pages has its anchor on each of them.
            starts.setdefault(anchor, number)
    written: bytes = document.write_pdf(pdf_identifier=b"mendroll")
    return LaidOut(pdf=written, pages=len(document.pages), starts=starts)


def merge_pdfs(parts: Iterable[BinaryIO], target: BinaryIO, *, title: str) -> int:
    """Join papers into one, in order, and give the number of its pages."""
    with pikepdf.new() as whole:
        for part in parts:
            with pikepdf.open(part) as one:
                whole.pages.extend(one.pages)
        whole.docinfo["/Title"] = title
        pages = len(whole.pages)
        whole.save(target, deterministic_id=True)
    return pages


def count_pages(paper: BinaryIO) -> int:
    """Give the number of pages of a paper."""
    with pikepdf.open(paper) as one:
        return len(one.pages)


def missing_characters(text: str) -> frozenset[str]:
    """Give the characters of a text that no installed font can draw.

    Asked of fontconfig, as the engine does. Spaces and control characters are never
    missing.
    """
    covered = _covered_ranges()
    return frozenset(
        character
        for character in set(text)
        if character.isprintable()
        and not character.isspace()
        and not any(low <= ord(character) <= high for low, high in covered)
    )


def text_width(text: str, size: float) -> float:
    """Give an upper bound of a line's width in the paper face; both in points.

    The sum of the advances, without kerning, which only ever draws letters together
    in this face. A character that the face lacks counts as one em.
    """
    widths, em = _advances()
    return sum(widths.get(ord(character), em) for character in text) * size / em


def _engine() -> Any:  # noqa: ANN401 (the engine has no types)
    """Import the engine when it is first wanted."""
    try:
        import weasyprint  # noqa: PLC0415 -- the rest works without it
        import weasyprint.text.fonts  # noqa: PLC0415
        import weasyprint.urls  # noqa: PLC0415
    except (ImportError, OSError) as missing:
        raise PdfEngineMissing from missing
    for chatty in ("weasyprint.progress", "fontTools"):
        logging.getLogger(chatty).setLevel(logging.WARNING)
    return weasyprint


def _own_files_only(engine: Any) -> Any:  # noqa: ANN401 (the engine has no types)
    """Make the fetcher that gives our static files and refuses all else."""

    class OwnFiles(engine.urls.URLFetcher):  # type: ignore[misc]
        """Static files of this house, by name; nothing else."""

        def fetch(self, url: str, headers: object = None) -> object:  # noqa: ARG002
            """Give one static file; stop the paper at any other address."""
            try:
                body = _static_bytes(_static_name(url))
            except FileNotFoundError as refused:
                raise engine.urls.FatalURLFetchingError(str(refused)) from refused
            return engine.urls.URLFetcherResponse(url, body)

    return OwnFiles()


def _static_name(url: str) -> str:
    """Give the name of a static file; raises FileNotFoundError for another address."""
    asked = urlsplit(url)
    ours = urlsplit(BASE_URL)
    path = unquote(asked.path)
    prefix = settings.STATIC_URL
    if (asked.scheme, asked.netloc) != (ours.scheme, ours.netloc) or not (
        path.startswith(prefix)
    ):
        raise FileNotFoundError(f"a paper reads no address but our own files: {url}")
    return path.removeprefix(prefix)


def _static_bytes(name: str) -> bytes:
    """Read a static file, from where it was gathered or where it is kept."""
    root = Path(settings.STATIC_ROOT).resolve()
    gathered = (root / name).resolve()
    if gathered.is_relative_to(root) and gathered.is_file():
        return gathered.read_bytes()
    found = finders.find(name)
    if not found:
        raise FileNotFoundError(f"no static file {name}")
    return Path(found).read_bytes()


@lru_cache(maxsize=1)
def _covered_ranges() -> tuple[tuple[int, int], ...]:
    """Ask fontconfig which characters the installed fonts have, as ranges."""
    lines = fontconfig("fc-list", "--format", "%{charset}\n")
    ranges = set()
    for word in {word for line in lines for word in line.split()}:
        low, _dash, high = word.partition("-")
        ranges.add((int(low, 16), int(high or low, 16)))
    return tuple(sorted(ranges))


@lru_cache(maxsize=1)
def _advances() -> tuple[dict[int, int], int]:
    """Read the advances of the paper face by character, and its em."""
    [path] = fontconfig("fc-match", "--format", "%{file}\n", FACE)
    with TTFont(path, fontNumber=0, lazy=True) as font:
        metrics = font["hmtx"].metrics
        widths = {code: metrics[glyph][0] for code, glyph in font.getBestCmap().items()}
        return widths, font["head"].unitsPerEm


def fontconfig(*command: str) -> list[str]:
    """Ask fontconfig; raises PdfEngineMissing where it is not installed."""
    try:
        done = subprocess.run(  # noqa: S603 (fixed commands, no data of ours)
            command, capture_output=True, check=True, text=True, timeout=60
        )
    except (OSError, subprocess.SubprocessError) as missing:
        raise PdfEngineMissing from missing
    return [line for line in done.stdout.splitlines() if line]
