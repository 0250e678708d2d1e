"""Sale over the counter: from the common stock, or from what is set apart by right."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from inventory.domain.ledger import Line, post
from inventory.domain.once import once
from inventory.domain.reserving import PartRecalled
from inventory.domain.spare import hold_spare
from inventory.models import Movement
from inventory.rules.accounts import Account, MovementKind


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Part


class SetApart(Refusal):
    """Stock kept for a campaign is sold by somebody without the right, or unsaid."""

    def __init__(self, part: Part, earmark: Earmark) -> None:
        super().__init__(
            _(
                "%(part)s of this stock is set apart for %(words)s. Sell from the common "
                "stock, or ask the service manager, who may sell it with a reason."
            )
            % {"part": part.number, "words": earmark.words}
        )
        self.part = part
        self.earmark = earmark


class TicketMissing(Refusal):
    """A sale without the number of its ticket or invoice."""

    def __init__(self) -> None:
        super().__init__(_("Give the number of the sales ticket or invoice."))


def sell_pieces(
    *,
    key: str,
    store: Store,
    part: Part,
    earmark: Earmark | None,
    quantity: int,
    ticket: str,
    by: StaffMember | None,
    at: dt.datetime,
    why_set_apart: str = "",
) -> Movement:
    """Sell free pieces of one pocket over the counter.

    Pieces that a promise counts on stay. Stock with an earmark is sold only by somebody
    who may, with ``why_set_apart``, which goes into books and trail. The same ``key``
    again gives the first sale. Raises TicketMissing, SetApart, PartRecalled, NotPieces,
    NotEnough, OfferedToOthers.
    """
    if not ticket.strip():
        raise TicketMissing
    if part.recalled:
        raise PartRecalled(part)
    if earmark is not None:
        allowed = by is not None and by.may(Capability.SELL_SET_APART, store.pk)
        if not allowed or not why_set_apart.strip():
            raise SetApart(part, earmark)
    why = _("ticket %(ticket)s") % {"ticket": ticket.strip()}
    if earmark is not None:
        why = f"{why}. {why_set_apart.strip()}"

    def act() -> Movement:
        today = timezone.localdate(at)
        hold_spare(store=store, earmark=earmark, lines={part: quantity}, today=today)
        movement = post(
            key=key,
            kind=MovementKind.SELL,
            store=store,
            lines=[
                Line(
                    part=part,
                    earmark=earmark,
                    source=Account.FREE,
                    target=Account.SOLD,
                    quantity=quantity,
                )
            ],
            by=by,
            at=at,
            effective_on=today,
            why=why,
        )
        record(
            act="pieces.sold_set_apart" if earmark else "pieces.sold",
            subject=movement,
            by=by,
            at=at,
            store=store,
            after={
                "part": part.pk,
                "pieces": quantity,
                "earmark": earmark.pk if earmark else None,
            },
            why=why,
        )
        return movement

    return once(found=lambda: Movement.objects.filter(key=key).first(), act=act)
