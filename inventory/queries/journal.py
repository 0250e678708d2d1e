"""The movements of a part in a store, each with its why and what stood after it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q, Sum

from inventory.models import Balance, CostLayer, Entry, Movement
from inventory.models.ledger import ACCOUNT_WORDS, KIND_WORDS
from inventory.rules.accounts import ON_HAND, Account, MovementKind


if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.utils.functional import _StrPromise

    from dealership.models import Store
    from inventory.models import Part


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalRow:
    """One movement of one part.

    ``steps`` are (from, to, pieces); ``change`` and ``after`` count what lies in the
    store, in pieces; ``free_after`` what of it was free.
    """

    movement: Movement
    kind: _StrPromise
    steps: tuple[tuple[_StrPromise, _StrPromise, int], ...]
    change: int
    after: int
    free_after: int


def movements_of(*, store: Store, part: Part) -> Sequence[int]:
    """Give the ids of a part's movements in a store, the newest first."""
    ids = Entry.objects.filter(store=store, part=part).order_by("-movement")
    return list(ids.values_list("movement", flat=True).distinct())


def journal(*, store: Store, part: Part, ids: Sequence[int]) -> list[JournalRow]:
    """Give one page of movements (ids, newest first) with their running balance."""
    if not ids:
        return []
    of_part = Entry.objects.filter(store=store, part=part)
    now = Balance.objects.filter(store=store, part=part).aggregate(
        on_hand=Sum("on_hand", default=0), free=Sum("free", default=0)
    )
    on_hand = Q(account__in=sorted(ON_HAND))
    newer = of_part.filter(movement__gt=ids[0]).aggregate(
        on_hand=Sum("quantity", filter=on_hand, default=0),
        free=Sum("quantity", filter=Q(account=Account.FREE), default=0),
    )
    after = now["on_hand"] - newer["on_hand"]
    free_after = now["free"] - newer["free"]
    entries: dict[int, list[Entry]] = {pk: [] for pk in ids}
    for entry in of_part.filter(movement__in=ids).order_by("pk"):
        entries[entry.movement_id].append(entry)
    movements = Movement.objects.select_related("by").in_bulk(ids)
    rows = []
    for pk in ids:
        change = sum(e.quantity for e in entries[pk] if e.account in ON_HAND)
        free = sum(e.quantity for e in entries[pk] if e.account == Account.FREE)
        rows.append(
            JournalRow(
                movement=movements[pk],
                kind=KIND_WORDS[MovementKind(movements[pk].kind)],
                steps=_steps(entries[pk]),
                change=change,
                after=after,
                free_after=free_after,
            )
        )
        after -= change
        free_after -= free
    return rows


def _steps(
    entries: Sequence[Entry],
) -> tuple[tuple[_StrPromise, _StrPromise, int], ...]:
    """Join the pairs of entries that go the same way."""
    pieces: dict[tuple[Account, Account], int] = {}
    for out, into in zip(entries[::2], entries[1::2], strict=True):
        way = Account(out.account), Account(into.account)
        pieces[way] = pieces.get(way, 0) + into.quantity
    return tuple(
        (ACCOUNT_WORDS[source], ACCOUNT_WORDS[target], count)
        for (source, target), count in pieces.items()
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerRow:
    """What is left of one cost layer, in pieces and cents."""

    layer: CostLayer
    left: int

    @property
    def cents(self) -> int:
        """Give what the pieces left have cost."""
        return self.left * self.layer.unit_cost_cents


def layers_left(*, store: Store, part: Part) -> list[LayerRow]:
    """Give the cost layers of a part that still have pieces here, oldest first."""
    layers = CostLayer.objects.filter(store=store, part=part).select_related(
        "earmark", "bill_line__bill"
    )
    return [
        LayerRow(layer=layer, left=left)
        for layer in layers
        if (left := layer.quantity - layer.taken)
    ]
