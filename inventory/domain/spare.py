"""Pieces that may be given away: free, and counted on by no promise and no offer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from dealership.rules.refusals import Refusal
from inventory.domain.ledger import NotEnough, NotPieces, ensure_pockets
from inventory.domain.locks import lock_pockets
from inventory.queries.offers import offered
from inventory.queries.stock import promise_line
from inventory.rules.accounts import Account


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import Store
    from inventory.models import Earmark, Part


class OfferedToOthers(Refusal):
    """Free pieces are offered to somebody who waits for them."""

    def __init__(self, part: Part, wanted: int, spare: int, kept: int) -> None:
        super().__init__(
            _(
                "%(part)s: %(wanted)d wanted, %(spare)d can be spared; %(kept)d are"
                " offered to people on the waiting list. Take fewer, or withdraw an"
                " offer first."
            )
            % {"part": part.number, "wanted": wanted, "spare": spare, "kept": kept}
        )
        self.part = part
        self.wanted = wanted
        self.spare = spare
        self.kept = kept


def hold_spare(
    *,
    store: Store,
    earmark: Earmark | None,
    lines: Mapping[Part, int],
    today: dt.date,
) -> None:
    """Hold the pockets and see that no promise and no offer counts on these pieces.

    Call it in the transaction that moves them. Raises NotPieces, NotEnough,
    OfferedToOthers.
    """
    for part, pieces in lines.items():
        if pieces < 1:
            raise NotPieces(part, pieces)
    earmark_id = earmark.pk if earmark else None
    ensure_pockets(store=store, pockets=[(part.pk, earmark_id) for part in lines])
    lock_pockets(store=store, part_ids=[part.pk for part in lines])
    kept = offered(store=store, part_ids=[part.pk for part in lines], today=today)
    for part, pieces in lines.items():
        picture = promise_line(
            store=store, part=part, earmarks=[earmark], today=today, days=1
        )
        if picture.free_now < pieces:
            raise NotEnough(part, Account.FREE, pieces, picture.free_now)
        others = kept.get((part.pk, earmark_id), 0)
        if picture.free_now - others < pieces:
            spare = max(0, picture.free_now - others)
            raise OfferedToOthers(part, pieces, spare, others)
