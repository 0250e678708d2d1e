"""Pieces that a repair takes beyond what was held for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Sum
from django.utils.translation import gettext as _

from campaigns.queries.repairs import hold_subject, pockets_of
from campaigns.queries.waiting import availability, before, kept_for, waiting_list
from dealership.rules.refusals import Refusal
from inventory.domain.locks import lock_pockets
from inventory.models import Reservation
from inventory.queries.numbers import Needs
from inventory.queries.stock import draw_promise, stock_of
from inventory.rules.accounts import ReservationState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from campaigns.models import Repair
    from inventory.models import Part
    from inventory.queries.stock import StockOf


class KeptForOthers(Refusal):
    """Free pieces beyond the hold are promised or offered to somebody else."""

    def __init__(self, part: Part, wanted: int, spare: int) -> None:
        super().__init__(
            _(
                "%(part)s: %(wanted)d would be taken beyond what is held for this"
                " repair, but only %(spare)d can be spared; the rest is promised or"
                " offered to others. Withdraw an offer or move a visit first, then"
                " sign off."
            )
            % {"part": part.number, "wanted": wanted, "spare": spare}
        )
        self.part = part
        self.wanted = wanted
        self.spare = spare


def refuse_kept(
    *,
    repair: Repair,
    used: Mapping[Part, int],
    numbers: Mapping[int, Sequence[Part]],
    today: dt.date,
) -> None:
    """See that pieces beyond the hold may be taken: by the rules by which one holds.

    ``numbers``: by the id of a part of the job those that serve for it. Nothing is
    said of what is not there at all; the books refuse that. Call it in the transaction
    of the sign-off. Raises KeptForOthers.
    """
    beyond = _beyond(repair, used)
    if not beyond:
        return
    ids = {one.pk for serving in numbers.values() for one in serving}
    ids |= {part.pk for part in beyond}
    lock_pockets(store=repair.store, part_ids=ids | {part.pk for part in used})
    stock = stock_of(store=repair.store, part_ids=ids)
    pockets = {one.pk if one else None for one in pockets_of(repair)}
    for part, wanted in beyond.items():
        free = sum(
            one.free
            for one in stock.balances
            if one.part_id == part.pk and one.earmark_id in pockets
        )
        if free < wanted:
            continue
        spare = _spare(repair, part, stock, numbers, pockets=pockets, today=today)
        if spare < wanted:
            raise KeptForOthers(part, wanted, spare)


def _beyond(repair: Repair, used: Mapping[Part, int]) -> dict[Part, int]:
    """Give what is used of each part beyond the pieces held for the repair."""
    held = dict(
        Reservation.objects.filter(
            store=repair.store,
            subject=hold_subject(repair),
            state=ReservationState.HELD,
        )
        .order_by()
        .values_list("part_id")
        .annotate(Sum("quantity"))
    )
    return {
        part: pieces - held.get(part.pk, 0)
        for part, pieces in used.items()
        if pieces > held.get(part.pk, 0)
    }


def _spare(
    repair: Repair,
    part: Part,
    stock: StockOf,
    numbers: Mapping[int, Sequence[Part]],
    *,
    pockets: set[int | None],
    today: dt.date,
) -> int:
    """Give the pieces of a number that are kept for nobody else."""
    row = repair.campaign_vehicle
    campaign = row.campaign if row else None
    serving = next((tuple(some) for some in numbers.values() if part in some), (part,))
    ahead = before(waiting_list(store=repair.store, today=today), row)
    there = availability(
        Needs({part: 1}, {part.pk: serving}),
        campaign=campaign,
        stock=stock,
        kept=kept_for(ahead, campaign=campaign, stock=stock),
        today=today,
    )
    own = draw_promise(
        stock.of_part(part.pk), part=part, earmark_ids=pockets, today=today, days=1
    )
    return min(own.free_now, there.parts[0].free_now)
