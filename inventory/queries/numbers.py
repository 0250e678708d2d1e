"""Old and new numbers of a part: which serve, what is there of all of them together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.models import Part
from inventory.queries.stock import draw_promise
from inventory.rules.supersession import Number, Shelf, share_numbers, that_serve


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping

    from inventory.queries.stock import PromisePicture, StockOf

_CHAIN = """
WITH RECURSIVE chain(id, superseded_by_id) AS (
    SELECT id, superseded_by_id FROM inventory_part WHERE id IN ({places})
    UNION
    SELECT part.id, part.superseded_by_id
    FROM inventory_part part
    JOIN chain ON part.superseded_by_id = chain.id OR part.id = chain.superseded_by_id
)
SELECT part.* FROM inventory_part part JOIN chain ON chain.id = part.id
"""
"""All numbers of the chains that some parts stand in; UNION ends one that goes round."""

AT_ONCE = 500


class Needs(dict[Part, int]):
    """Pieces wanted by part; ``numbers``: by its id those that serve, oldest first.

    A part without an entry there is served by itself alone.
    """

    def __init__(
        self,
        pieces: Mapping[Part, int] | Iterable[tuple[Part, int]] = (),
        numbers: Mapping[int, tuple[Part, ...]] | None = None,
    ) -> None:
        super().__init__(pieces)
        self.numbers = dict(numbers or {})


def numbers_of(needs: Mapping[Part, int], part: Part) -> tuple[Part, ...]:
    """Give the numbers that serve for a wanted part; of a plain mapping itself."""
    told = needs.numbers if isinstance(needs, Needs) else {}
    return told.get(part.pk, (part,))


def ordered_as(needs: Mapping[Part, int], part: Part) -> Part:
    """Give the number that is ordered where a part is wanted."""
    return numbers_of(needs, part)[-1]


def part_ids_of(needs: Mapping[Part, int]) -> set[int]:
    """Give the ids of all numbers that could serve."""
    return {one.pk for part in needs for one in numbers_of(needs, part)}


@dataclass(frozen=True, slots=True)
class Chains:
    """The chains of some parts, read once."""

    parts: Mapping[int, Part]

    def serving(self, part: Part, *, older: bool) -> tuple[Part, ...]:
        """Give the numbers that serve where a part is asked for, the oldest first.

        ``older``: whether the numbers that it has replaced serve too. Only its own
        chain is looked at, so any number of chains may have been read.
        """
        numbers = {
            pk: Number(
                newer=one.superseded_by_id,
                serves=one.old_stock_serves,
                barred=one.recalled,
            )
            for pk, one in self.parts.items()
        }
        known = {part.pk: part, **self.parts}
        return tuple(known[pk] for pk in that_serve(part.pk, numbers, older=older))


def read_chains(part_ids: Collection[int]) -> Chains:
    """Read the chains of some parts, in one statement for each 500 of them."""
    ids = sorted(set(part_ids))
    found: dict[int, Part] = {}
    for start in range(0, len(ids), AT_ONCE):
        some = ids[start : start + AT_ONCE]
        places = ", ".join(["%s"] * len(some))
        rows = Part.objects.raw(_CHAIN.format(places=places), some)
        found.update({one.pk: one for one in rows})
    return Chains(found)


@dataclass(frozen=True, slots=True)
class Together:
    """What can be promised of numbers that serve alike; pictures oldest first."""

    pictures: tuple[PromisePicture, ...]

    @property
    def free_now(self) -> int:
        """Give the pieces of all numbers that can be promised today."""
        return sum(one.free_now for one in self.pictures)

    def earliest(self, pieces: int) -> dt.date | None:
        """Give the first day on which so many pieces can be promised, or None."""
        if len(self.pictures) == 1:
            return self.pictures[0].earliest(pieces)
        longest = max((one.line.days for one in self.pictures), key=len)
        for entry in longest:
            if sum(one.promise_on(entry.day) for one in self.pictures) >= pieces:
                return entry.day
        return None


def draw_together(
    stock: StockOf,
    *,
    numbers: Iterable[Part],
    earmark_ids: set[int | None],
    today: dt.date,
    days: int = 120,
) -> Together:
    """Draw the promise lines of numbers that serve alike, from rows already read."""
    return Together(
        tuple(
            draw_promise(
                stock.of_part(one.pk),
                part=one,
                earmark_ids=earmark_ids,
                today=today,
                days=days,
            )
            for one in numbers
        )
    )


def as_numbers(
    needs: Mapping[Part, int],
    *,
    stock: StockOf,
    earmark_ids: set[int | None],
    today: dt.date,
    on: dt.date,
) -> dict[Part, int]:
    """Say which numbers are taken for what is wanted on a day, in pieces.

    On the shelf before on its way, old before new, one number before a mix.
    """
    taken: dict[Part, int] = {}
    for part, pieces in needs.items():
        numbers = numbers_of(needs, part)
        together = draw_together(
            stock, numbers=numbers, earmark_ids=earmark_ids, today=today
        )
        shares = share_numbers(
            pieces,
            [
                Shelf(free=one.free_now, promise=one.promise_on(on))
                for one in together.pictures
            ],
        )
        for number, share in zip(numbers, shares, strict=True):
            if share:
                taken[number] = taken.get(number, 0) + share
    return taken
