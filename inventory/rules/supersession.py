"""Which number of a part is ordered, and which older numbers still serve.

A number that is replaced names the newer one and says whether what is left of it may
still be fitted. The bulletin of a campaign may say no for its own work: that is told
by whoever asks (``older``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


class SupersessionGoesRound(Exception):
    """The chain of replacements leads back to where it began."""


@dataclass(frozen=True, slots=True)
class Number:
    """One part number in its chain, known by its row's id.

    ``newer`` replaces it; ``serves``: what is left of it may still be fitted;
    ``barred``: under a recall itself, so never fitted.
    """

    newer: int | None
    serves: bool = True
    barred: bool = False


@dataclass(frozen=True, slots=True)
class Shelf:
    """Pieces of one number: free to be given away now, and to be promised for a day."""

    free: int
    promise: int


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


def served_by(part: int, numbers: Mapping[int, Number]) -> int:
    """Give the newest number that pieces of this one may be fitted as.

    Itself where nothing replaces it, or where what is left of it does not serve.
    """
    seen = {part}
    while (one := numbers.get(part)) and one.newer is not None and one.serves:
        if one.newer in seen:
            raise SupersessionGoesRound(part)
        seen.add(one.newer)
        part = one.newer
    return part


def that_serve(
    part: int, numbers: Mapping[int, Number], *, older: bool
) -> tuple[int, ...]:
    """Give the numbers that serve where ``part`` is asked for, the oldest first.

    The newest is last: it is the one that is ordered. ``older``: whether numbers that
    ``part`` itself has replaced serve too. Every step from an old number to the newest
    must say that what is left of it serves. What is barred is left out; if nothing
    else is left, the newest stands alone.
    """
    newest = current_of(part, {pk: one.newer for pk, one in numbers.items()})
    onward = {part}
    while (following := numbers[part].newer if part in numbers else None) is not None:
        onward.add(following)
        part = following
    found = [
        (steps, pk)
        for pk in {*numbers, newest}
        if (steps := _steps(pk, newest, numbers)) is not None
        and (older or pk in onward)
        and not (pk in numbers and numbers[pk].barred)
    ]
    in_order = tuple(pk for _steps_on, pk in sorted(found, key=lambda f: (-f[0], f[1])))
    return in_order or (newest,)


def _steps(part: int, newest: int, numbers: Mapping[int, Number]) -> int | None:
    """Count the replacements up to the newest; None where one does not serve."""
    steps = 0
    while part != newest:
        one = numbers.get(part)
        if one is None or one.newer is None or not one.serves or steps > len(numbers):
            return None
        part, steps = one.newer, steps + 1
    return steps


def share_numbers(pieces: int, shelves: Sequence[Shelf]) -> list[int]:
    """Share pieces over numbers that serve alike, given oldest first.

    What is on the shelf goes before what comes, the old before the new, and one number
    alone before a mix. Where too little is there in all, the newest gets the rest.
    """
    alone = next(
        (place for place, one in enumerate(shelves) if one.free >= pieces), None
    )
    if alone is None and sum(one.free for one in shelves) < pieces:
        last_first = range(len(shelves) - 1, -1, -1)
        alone = next((n for n in last_first if shelves[n].promise >= pieces), None)
        room = [one.promise for one in shelves]
    else:
        room = [one.free for one in shelves]
    if alone is not None:
        return [pieces if place == alone else 0 for place in range(len(shelves))]
    shares = []
    for most in room:
        shares.append(min(pieces, max(0, most)))
        pieces -= shares[-1]
    shares[-1] += pieces
    return shares
