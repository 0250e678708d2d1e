"""How a list in a text file is written: its encoding, its separator."""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from charset_normalizer import from_bytes


if TYPE_CHECKING:
    from collections.abc import Callable

DELIMITERS = ",;\t|"
_CHUNK = 1 << 20
_HEAD = 65_536
_SAMPLE_LINES = 100
_MOST_CONTROLS = 0.02
_UTF_16_SHARE = 0.3
_BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# Signatures: PNG (ISO 15948, 5.2), JPEG (ITU-T T.81, B.1), GIF89a, gzip (RFC 1952,
# 2.3.1), and from memory 7z and RAR.
_SIGNATURES = (
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"\x1f\x8b", "a compressed file (gzip)"),
    (b"7z\xbc\xaf\x27\x1c", "a compressed file (7z)"),
    (b"Rar!", "a compressed file (RAR)"),
    (b"{\\rtf", "a text document (RTF)"),
)
_MARKUP = (
    ("<!doctype html", "a web page"),
    ("<html", "a web page"),
    ("<table", "a web page"),
    ("<?xml", "an XML file"),
    ("{", "a JSON file"),
    ("[{", "a JSON file"),
)


class Encoding(NamedTuple):
    """An encoding, and whether that is certain or only the likely one."""

    name: str
    certain: bool


def foreign_content(head: bytes) -> str:
    """Name what the first bytes are when they are no list; empty when they may be."""
    for signature, found in _SIGNATURES:
        if head.startswith(signature):
            return found
    text = head.decode("latin-1").lstrip("\xef\xbb\xbf \r\n\t").lower()
    for start, found in _MARKUP:
        if text.startswith(start):
            return found
    if _marked(head) or _unmarked_utf_16(head):
        return ""
    controls = sum(byte < ord(" ") and byte not in b"\t\n\r\f\x1a" for byte in head)
    return "a binary file" if controls > len(head) * _MOST_CONTROLS else ""


def choose_encoding(opened: Callable[[], BinaryIO]) -> Encoding:
    """Tell the encoding from the whole content, a piece at a time.

    A byte order mark decides; else all of it is UTF-8 or it is not; else it is
    Windows-1252, which is certain only where the content reads like text in it.
    """
    with opened() as stream:
        head = stream.read(_HEAD)
    marked = _marked(head) or _unmarked_utf_16(head)
    if marked:
        return Encoding(marked, certain=True)
    strange = _lines_beyond_utf_8(opened)
    if not strange:
        return Encoding("utf-8", certain=True)
    # isolated, for among all code pages it takes Windows-1252 for 1250
    best = from_bytes(strange, cp_isolation=["cp1252"]).best()
    if not _decodes(opened, "cp1252"):
        return Encoding("latin-1", certain=False)
    return Encoding("cp1252", certain=best is not None)


def choose_delimiter(text: str) -> str:
    """Tell the separator from the first lines: the one most lines agree about.

    A list of one column has none; then it is the comma.
    """
    best, best_score = ",", 0.0
    for delimiter in DELIMITERS:
        rows = [
            row for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
            if any(cell.strip() for cell in row)
        ]  # fmt: skip
        widths = Counter(len(row) for row in rows if len(row) > 1)
        if not widths:
            continue
        width, lines = widths.most_common(1)[0]
        score = lines / len(rows) * (1 - 1 / (width + 1))
        if score > best_score:
            best, best_score = delimiter, score
    return best


def first_lines(opened: Callable[[], BinaryIO], encoding: str) -> str:
    """Give the first lines as text, without a line cut in two."""
    with (
        opened() as stream,
        io.TextIOWrapper(stream, encoding, errors="replace", newline="") as text,
    ):
        sample = text.read(_HEAD)
    lines = sample.splitlines(keepends=True)
    if len(sample) == _HEAD and len(lines) > 1:
        lines.pop()
    return "".join(lines[:_SAMPLE_LINES])


def _marked(head: bytes) -> str:
    return next((n for mark, n in _BYTE_ORDER_MARKS if head.startswith(mark)), "")


def _unmarked_utf_16(head: bytes) -> str:
    """Every second byte of western text in UTF-16 is zero, and no other one is."""
    half = len(head) // 2
    if not half:
        return ""
    even, odd = head[::2].count(0), head[1::2].count(0)
    if odd > half * _UTF_16_SHARE and not even:
        return "utf-16-le"
    return "utf-16-be" if even > half * _UTF_16_SHARE and not odd else ""


def _lines_beyond_utf_8(opened: Callable[[], BinaryIO]) -> bytes:
    """Give lines that hold other bytes than ASCII when the file is no UTF-8."""
    if _decodes(opened, "utf-8"):
        return b""
    kept = bytearray()
    with opened() as stream:
        while line := stream.readline(_CHUNK):
            if not line.isascii():
                kept += line
            if len(kept) > _HEAD:
                break
    return bytes(kept)


def _decodes(opened: Callable[[], BinaryIO], encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        with opened() as stream:
            while chunk := stream.read(_CHUNK):
                decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True
