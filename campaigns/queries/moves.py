"""Pieces that would serve more customers at another store of the group."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import F, Q

from campaigns.models import Replenishment
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from dealership.models import Store
from inventory.forecasting.moving import Shelf, find_moves
from inventory.models import Balance, Part


if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from dealership.models import StaffMember
    from inventory.forecasting.moving import Move
    from inventory.models import Earmark

WORTH_WITHOUT_COSTS = 0.5
"""Customers that a journey must serve on average where no costs are given: a
judgement, no source."""

LEAST_WORTH = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMove:
    """A journey of one part between two stores, as of the last night's proposals.

    ``earmark`` is that of the giver's pocket with the most pieces to spare, and
    ``from_pocket`` how many of the journey it can give: a transfer empties one pocket.
    """

    part: Part
    giver: Store
    taker: Store
    move: Move
    earmark: Earmark | None = None
    from_pocket: int = 0

    @property
    def pieces(self) -> int:
        """Give the pieces to move."""
        return self.move.pieces


def moves_of(
    *, staff: StaffMember, store: Store, part_ids: Collection[int] | None = None
) -> list[PartMove]:
    """Find the moves to and from a store, among the stores that this person sees.

    Read from the open proposals: what is there, and how likely each piece is wanted.
    Only parts of which somebody should order are looked at. The most useful come
    first.
    """
    rows = Replenishment.objects.for_staff(staff).filter(state=ProposalState.OPEN)
    if part_ids is not None:
        rows = rows.filter(part__in=part_ids)
    mine = rows.filter(store=store).values("part")
    wanting = rows.filter(
        Q(kind=ProposalKind.ORDER) | Q(facts__window__have__lt=0), part__in=mine
    )
    found: dict[int, list[tuple[int, Any]]] = defaultdict(list)
    values = (
        rows.filter(part__in=wanting.values("part"))
        .order_by("part", "store__code")
        .values_list("part_id", "store_id", "facts__window")
    )
    for part_id, store_id, window in values:
        if window is not None:
            found[part_id].append((store_id, window))
    moves = [
        (part_id, move)
        for part_id, shelves in found.items()
        if len(shelves) > 1
        for move in find_moves(_shelves(shelves), worth=_worth(shelves))
        if str(store.pk) in {move.giver, move.taker}
    ]
    parts = Part.objects.in_bulk({part_id for part_id, _move in moves})
    ids = {int(pk) for _part, move in moves for pk in (move.giver, move.taker)}
    stores = Store.objects.in_bulk(ids)
    pockets = _pockets({(int(move.giver), part_id) for part_id, move in moves})
    found_moves = []
    for part_id, move in sorted(
        moves, key=lambda row: (-row[1].served, parts[row[0]].number)
    ):
        pocket = pockets.get((int(move.giver), part_id))
        found_moves.append(
            PartMove(
                part=parts[part_id],
                giver=stores[int(move.giver)],
                taker=stores[int(move.taker)],
                move=move,
                earmark=pocket.earmark if pocket else None,
                from_pocket=min(move.pieces, _spare(pocket)) if pocket else 0,
            )
        )
    return found_moves


def _pockets(places: Collection[tuple[int, int]]) -> dict[tuple[int, int], Balance]:
    """Give the pocket with the most to spare of each store and part."""
    rows = Balance.objects.filter(
        store__in={store for store, _part in places},
        part__in={part for _store, part in places},
        free__gt=F("promised"),
    ).select_related("earmark")
    ordered = sorted(rows, key=lambda one: (_spare(one), -(one.earmark_id or 0)))
    return {(one.store_id, one.part_id): one for one in ordered}


def _spare(pocket: Balance) -> int:
    """Give the free pieces on which no promise counts."""
    return pocket.free - pocket.promised


def _shelves(rows: Iterable[tuple[int, Any]]) -> list[Shelf]:
    return [
        Shelf(
            store=str(store_id),
            have=window["have"],
            free=window["free"],
            tail=tuple(window["tail"]),
        )
        for store_id, window in rows
    ]


def _worth(rows: Iterable[tuple[int, Any]]) -> float:
    """Give the customers that a journey must serve: its cost over that of one."""
    costs: list[tuple[int, int]] = [
        (window["order_cents"], window["short_cents"])
        for _store, window in rows
        if window["short_cents"]
    ]
    if not costs:
        return WORTH_WITHOUT_COSTS
    journey, short = max(costs)
    return max(LEAST_WORTH, journey / short)
