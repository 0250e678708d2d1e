"""Which number of a part is ordered when an old one has been replaced."""

from __future__ import annotations

from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Mapping


class SupersessionGoesRound(Exception):
    """The chain of replacements leads back to where it began."""


def current_of(part: int, superseded_by: Mapping[int, int | None]) -> int:
    """Give the number at the end of the chain; itself where nothing replaces it.

    Raises SupersessionGoesRound when the chain has no end.
    """
    seen = {part}
    while (following := superseded_by.get(part)) is not None:
        if following in seen:
            raise SupersessionGoesRound(part)
        seen.add(following)
        part = following
    return part
