"""The only place where rows are locked, and the one order in which it is done.

Pockets first, by store and then by row, cost layers after them. Whoever needs
several parts in one transaction names them together or in the order of their rows.
On SQLite a transaction holds the write lock from its start, so these read the rows
and no more.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import F

from inventory.models import Balance, CostLayer


if TYPE_CHECKING:
    from collections.abc import Collection

    from dealership.models import Store


def lock_pockets(*, store: Store, part_ids: Collection[int]) -> list[Balance]:
    """Hold every pocket of these parts in a store until the transaction ends.

    Whoever changes or promises pieces of a part waits here for whoever came first.
    """
    return list(
        Balance.objects.select_for_update()
        .filter(store=store, part_id__in=part_ids)
        .order_by("pk")
    )


def lock_layers(*, store: Store, part_ids: Collection[int]) -> list[CostLayer]:
    """Hold the cost layers of these parts that still have pieces on hand.

    Call it after the pockets are held.
    """
    return list(
        CostLayer.objects.select_for_update()
        .filter(store=store, part_id__in=part_ids, taken__lt=F("quantity"))
        .order_by("pk")
    )
