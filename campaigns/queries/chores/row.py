"""One row of a day's work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterable

MOST = 50
"""Rows of one kind that are shown; the full list is linked."""

ThingT = TypeVar("ThingT")


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A page by its name and arguments, and what follows the question mark."""

    name: str
    args: tuple[object, ...] = ()
    query: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chore:
    """Something that waits for a person.

    ``act`` is the word on the button and ``target`` where it leads. ``tone`` is one of
    the marks of the pages; empty for none. ``press``: one press does it.
    """

    kind: str
    reason: str
    about: str
    act: str
    target: Target
    deadline: dt.date | None = None
    detail: str = ""
    tone: str = ""
    press: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """All rows of one kind; ``more``: there are further ones on the page ``full``."""

    chores: tuple[Chore, ...]
    full: Target
    full_words: str
    more: bool = False


def listed(
    found: Iterable[ThingT],
    write: Callable[[ThingT], Chore],
    *,
    full: Target,
    full_words: str,
) -> Kind:
    """Write rows, at most ``MOST``; ``found`` holds one more where there are more."""
    things = list(found)
    return Kind(
        chores=tuple(write(one) for one in things[:MOST]),
        full=full,
        full_words=full_words,
        more=len(things) > MOST,
    )
