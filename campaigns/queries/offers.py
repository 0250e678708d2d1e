"""What the offers to those on the waiting list count on, for sales and returns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from campaigns.queries.waiting import Shelf, waiting_list
from inventory.queries.numbers import part_ids_of
from inventory.queries.offers import keeps
from inventory.queries.stock import stock_of


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

    from dealership.models import Store


@keeps
def offered_pieces(
    store: Store, part_ids: Collection[int], today: dt.date
) -> dict[tuple[int, int | None], int]:
    """Count the pieces of these parts that offers draw on, pocket by pocket.

    As holds would take them: the campaign's own pocket before the common stock, and
    an old number that serves before the new one.
    """
    offers = [one for one in waiting_list(store=store, today=today) if one.is_offered]
    wanted = {pk for one in offers for pk in part_ids_of(one.needs)}
    if not wanted & set(part_ids):
        return {}
    shelf = Shelf(stock=stock_of(store=store, part_ids=wanted), today=today)
    for one in offers:
        shelf.take(one.campaign, one.needs)
    return {
        pocket: pieces
        for pocket, pieces in shelf.drawn.items()
        if pocket[0] in part_ids
    }
