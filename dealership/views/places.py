"""One place that a page can be reached by, as the head of a page shows it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


@dataclass(frozen=True)
class Place:
    """A word, its address, and whether one is there now."""

    label: str | _StrPromise
    url: str
    current: bool
