"""Giving up the cents of pieces that are scrapped or missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record, subject_of
from dealership.rules.refusals import Refusal
from inventory.models import Entry, WriteOff
from inventory.rules.accounts import Account


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember
    from inventory.models import Movement

LOST = (Account.SCRAPPED, Account.VARIANCE)


class NothingLost(Refusal):
    """A movement by which no piece was lost."""

    def __init__(self, movement: Movement) -> None:
        super().__init__(_("By this movement no piece was lost; nothing to write off."))
        self.movement = movement


class NoReasonToGiveUp(Refusal):
    """Cents are given up without a reason."""

    def __init__(self) -> None:
        super().__init__(_("Say why the money is given up; the owner will ask."))


def write_off_pieces(
    *,
    movement: Movement,
    why: str,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> list[WriteOff]:
    """Give up the cost of the pieces that a movement scrapped or found missing.

    One write-off an earmark of the layers concerned. A repeat gives the first ones.
    Raises NoReasonToGiveUp, NothingLost.
    """
    if not why.strip():
        raise NoReasonToGiveUp
    with transaction.atomic():
        written = list(WriteOff.objects.filter(of=subject_of(movement)).order_by("pk"))
        if written:
            return written
        cents: dict[int | None, int] = {}
        for entry in _lost_entries(movement):
            assert entry.layer is not None  # what leaves the shelf names its layer
            worth = entry.quantity * entry.layer.unit_cost_cents
            mark = entry.layer.earmark_id
            cents[mark] = cents.get(mark, 0) + worth
        for earmark_id, worth in sorted(cents.items(), key=lambda one: one[0] or 0):
            written.append(
                WriteOff.objects.create(
                    store=movement.store,
                    earmark_id=earmark_id,
                    key=f"movement:{movement.pk}/{earmark_id or 0}",
                    of=subject_of(movement),
                    cents=worth,
                    why=why.strip()[:200],
                    dated=dated,
                    by=by,
                    recorded_at=at,
                )
            )
        if not written:
            raise NothingLost(movement)
        record(
            act="pieces.written_off",
            subject=movement,
            by=by,
            at=at,
            store=movement.store,
            after={"cents": sum(cents.values()), "on": str(timezone.localdate(at))},
            why=why,
        )
        return written


def _lost_entries(movement: Movement) -> list[Entry]:
    """Give the entries by which pieces were lost: never less than nothing."""
    if movement.subject.startswith("dispute:"):
        return []  # a dispute that ends in a write-off has its own
    rows = Entry.objects.filter(movement=movement, account__in=LOST, quantity__gt=0)
    return list(rows.select_related("layer").order_by("pk"))
