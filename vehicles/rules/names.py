"""Names as they are compared: whose vehicle is it, is it still the same person."""

from __future__ import annotations

import unicodedata


def folded_name(name: str) -> str:
    """Give a name without case, accents and doubled spaces: "Núñez" is "nunez"."""
    if not name.isascii():
        parts = unicodedata.normalize("NFKD", name)
        name = "".join(c for c in parts if not unicodedata.combining(c))
    return " ".join(name.casefold().split())
