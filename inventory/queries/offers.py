"""Free pieces that somebody was offered: spoken for, though the books do not hold them.

An offer is another app's affair, so whoever makes offers registers here, in a module
``queries.offers``, and tells how many pieces of each pocket they count on.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from typing import TYPE_CHECKING, TypeAlias

from django.utils.module_loading import autodiscover_modules


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Collection, Mapping

    from dealership.models import Store

    Pocket: TypeAlias = tuple[int, int | None]
    Keeper: TypeAlias = Callable[
        [Store, Collection[int], dt.date], Mapping[Pocket, int]
    ]

_keepers: list[Keeper] = []


def keeps(function: Keeper) -> Keeper:
    """Register who knows of offers: (store, part ids, today) to pieces by pocket."""
    _keepers.append(function)
    return function


def offered(
    *, store: Store, part_ids: Collection[int], today: dt.date
) -> dict[tuple[int, int | None], int]:
    """Count the free pieces that offers count on, by (part id, earmark id or None)."""
    _find_keepers()
    found: Counter[Pocket] = Counter()
    for keeper in _keepers:
        found.update(keeper(store, part_ids, today))
    return dict(found)


@cache
def _find_keepers() -> None:
    """Let the other apps register, once."""
    autodiscover_modules("queries.offers")
