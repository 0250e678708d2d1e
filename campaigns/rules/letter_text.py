"""What may stand in a letter's text: a closed list of fields, and no markup.

A text is plain paragraphs. A field in braces, as ``{store_name}``, is filled in from
the campaign and the store. Owner and VIN have their own places on the sheet, so that
the running text of a round is the same for nearly everybody; a text may name them all
the same, which takes longer to set.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Mapping

FIELDS = (
    "campaign_title",
    "campaign_number",
    "maker",
    "maker_number",
    "regulator_number",
    "risk",
    "bulletin",
    "vehicle",
    "vin",
    "owner_name",
    "store_name",
    "store_phone",
    "store_email",
    "parts_from",
)
"""The fields that a text may use; ``vehicle`` is year and line."""

OWNER_FIELDS = ("owner_name", "vin")
"""Fields that differ in every letter: a paragraph with one is set letter by letter."""

_FIELD = re.compile(r"\{([^{}]*)\}")
_LONGEST = 2_000
_KEPT_FORMATS = frozenset("\u200c\u200d")
"""Joiners change how letters of some scripts join; all other format characters go."""


class UnknownField(ValueError):
    """A text names a field that does not exist."""

    def __init__(self, fields: tuple[str, ...]) -> None:
        super().__init__(fields)
        self.fields = fields


def check_fields(text: str) -> None:
    """Raise UnknownField when a text names a field that is not on the list."""
    found = _FIELD.findall(text)
    stray = _FIELD.sub("", text)
    unknown = [name for name in found if name not in FIELDS]
    if "{" in stray or "}" in stray:
        unknown.append("{" if "{" in stray else "}")
    if unknown:
        raise UnknownField(tuple(dict.fromkeys(unknown)))


def fields_of(text: str) -> frozenset[str]:
    """Give the fields that a text names."""
    return frozenset(_FIELD.findall(text))


def fill(text: str, values: Mapping[str, str]) -> str:
    """Fill the fields of a text; what is filled in is never read again for fields."""
    return _FIELD.sub(lambda found: clean(values.get(found[1], "")), text)


def paragraphs(text: str) -> tuple[str, ...]:
    """Split a text at empty lines; line breaks inside a paragraph become spaces."""
    parts = re.split(r"\n\s*\n", text.replace("\r\n", "\n").strip())
    return tuple(" ".join(part.split()) for part in parts if part.strip())


def clean(value: str) -> str:
    """Give a value as one line fit for print, cut at 2,000 characters."""
    return one_line(value)[:_LONGEST]


def one_line(text: str) -> str:
    """Give a text as one line fit for print.

    Control characters, line breaks and marks that turn the direction of writing are
    dropped or become one space; letters stay in composed form (Unicode NFC).
    """
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    shown = (
        " "
        if character.isspace() or unicodedata.category(character) == "Cc"
        else character
        for character in unicodedata.normalize("NFC", text)
        if unicodedata.category(character) not in {"Cf", "Cs", "Co", "Cn"}
        or character in _KEPT_FORMATS
    )
    return " ".join("".join(shown).split())
