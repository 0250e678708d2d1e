"""Sharing a supply that is too small over the stores of a group, in whole packs.

Webster's rule (Sainte-Lague) on cumulative totals: each next pack goes to the store
with the largest w / (2 a + 1), w its open vehicles and a the packs it has already. It
keeps sum (a - q)^2 / w smallest, q the exact shares (separable convex, so the greedy
order is optimal: Gross, 1956; Fox, 1966; Balinski and Young, Fair Representation,
1982; all from memory), favours neither large nor small stores, and when a second wave
comes no store's total falls. Hamilton's rule keeps everybody within one pack of the
exact share, but may take a pack back, so it is for a single share only.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction


class ShareRule(StrEnum):
    """How packs are shared."""

    WEBSTER = "webster"
    HAMILTON = "hamilton"


class ShareReason(StrEnum):
    """Why a store gets as many as it gets."""

    NEED_MET = "need_met"
    LEAST = "least"
    SHARE = "share"
    HAS_ITS_SHARE = "has_its_share"
    NOTHING_WANTED = "nothing_wanted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Claimant:
    """A store that wants some: open vehicles, pieces it needs, pieces it has for them.

    ``need`` counts all pieces for the open vehicles, ``have`` those on the shelf and
    on their way among them.
    """

    code: str
    vehicles: int
    need: int
    have: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """What one store gets: packs and pieces, beside its exact share in pieces.

    ``most_packs`` is what its need leaves room for. ``exact`` is its part of all that
    there is, what the stores have already included.
    """

    claimant: Claimant
    packs: int
    pieces: int
    most_packs: int
    exact: float
    reason: ShareReason

    @property
    def total(self) -> int:
        """Give the pieces it has with its share."""
        return self.claimant.have + self.pieces

    @property
    def short(self) -> int:
        """Give the pieces of its need that stay unmet."""
        return max(0, self.claimant.need - self.total)


def webster(
    weights: Sequence[int],
    seats: int,
    *,
    most: Sequence[int] | None = None,
    least: Sequence[int] | None = None,
    already: Sequence[Fraction] | None = None,
) -> list[int]:
    """Give each its seats: the next always to the largest w / (2 a + 1) below its most.

    ``least`` is given first, ``already`` counts with what is given. Ties: the larger
    weight, then the earlier place. Fewer than ``seats`` are given when all have their
    most. Raises ValueError where the least is more than there is.
    """
    places = range(len(weights))
    given = list(least) if least is not None else [0] * len(weights)
    before = list(already) if already is not None else [Fraction(0)] * len(weights)
    if sum(given) > seats:
        raise ValueError("the least that each gets is more than there is")
    for _seat in range(seats - sum(given)):
        open_places = [
            place
            for place in places
            if weights[place] > 0 and (most is None or given[place] < most[place])
        ]
        if not open_places:
            break
        next_one = max(
            open_places,
            key=lambda place: (
                Fraction(weights[place]) / (2 * (before[place] + given[place]) + 1),
                weights[place],
                -place,
            ),
        )
        given[next_one] += 1
    return given


def hamilton(weights: Sequence[int], seats: int) -> list[int]:
    """Give each the whole part of its exact share, the rest by largest remainder.

    Ties: the larger weight, then the earlier place.
    """
    whole = sum(weights)
    if not whole:
        return [0] * len(weights)
    given = [weight * seats // whole for weight in weights]
    left = sorted(
        range(len(weights)),
        key=lambda place: (-(weights[place] * seats % whole), -weights[place], place),
    )
    for place in left[: seats - sum(given)]:
        given[place] += 1
    return given


def share_out(
    claimants: Sequence[Claimant],
    pieces: int,
    *,
    pack: int = 1,
    rule: ShareRule = ShareRule.WEBSTER,
    least_one: bool = True,
) -> list[Share]:
    """Share so many pieces over stores in whole packs, none above its need.

    A pack is not split, so the last pack of a store may go over its need. With
    ``least_one`` each store that needs some and has none gets one pack first, if there
    are that many. Pieces that fill no pack stay unshared. Raises ValueError for a pack
    below 1.
    """
    if pack < 1:
        raise ValueError("a pack has at least one piece")
    packs = max(0, pieces) // pack
    most = [math.ceil(max(0, one.need - one.have) / pack) for one in claimants]
    weights = [
        one.vehicles if room else 0 for one, room in zip(claimants, most, strict=True)
    ]
    least = [
        int(least_one and room > 0 and one.have <= 0)
        for one, room in zip(claimants, most, strict=True)
    ]
    if sum(least) > packs:
        least = [0] * len(claimants)
    if sum(most) <= packs:
        given = most
    elif rule is ShareRule.HAMILTON:
        given = _hamilton_within(weights, packs, most)
    else:
        given = webster(
            weights,
            packs,
            most=most,
            least=least,
            already=[Fraction(max(0, one.have), pack) for one in claimants],
        )
    rooms = list(zip(claimants, given, most, least, strict=True))
    return _told(rooms, pieces=pieces, pack=pack)


def _hamilton_within(
    weights: Sequence[int], packs: int, most: Sequence[int]
) -> list[int]:
    """Share by largest remainder; what is above a need goes to the others again."""
    given = [0] * len(weights)
    left = packs
    while left:
        room = [w if given[i] < most[i] else 0 for i, w in enumerate(weights)]
        more = hamilton(room, left)
        if not any(more):
            break
        for place, extra in enumerate(more):
            taken = min(extra, most[place] - given[place])
            given[place] += taken
            left -= taken
    return given


def _told(
    rooms: Sequence[tuple[Claimant, int, int, int]], *, pieces: int, pack: int
) -> list[Share]:
    """Put the answer (given, at the most, at the least) beside shares and reasons."""
    wanting = [one for one, _given, most, _least in rooms if most]
    vehicles = sum(one.vehicles for one in wanting)
    there = pieces + sum(max(0, one.have) for one in wanting)
    found = []
    for one, given, most, least in rooms:
        exact = there * one.vehicles / vehicles if vehicles and most else 0.0
        reason = _reason(given, most, least, has_it=one.have + pack / 2 >= exact)
        found.append(
            Share(
                claimant=one,
                packs=given,
                pieces=given * pack,
                most_packs=most,
                exact=exact,
                reason=reason,
            )
        )
    return found


def _reason(given: int, most: int, least: int, *, has_it: bool) -> ShareReason:
    if not most:
        return ShareReason.NOTHING_WANTED
    if given == most:
        return ShareReason.NEED_MET
    if given == least == 1:
        return ShareReason.LEAST
    return ShareReason.HAS_ITS_SHARE if not given and has_it else ShareReason.SHARE
