"""Taking a promise back because its pieces are not there, or must not be used."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.ledger import Line, note_promised, post
from inventory.domain.locks import lock_pockets
from inventory.domain.reserving import reserve
from inventory.models import Reservation
from inventory.rules.accounts import Account, MovementKind, ReservationState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from dealership.models import StaffMember, Store


def break_promises(
    *,
    store: Store,
    ids: Sequence[int],
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
) -> list[Reservation]:
    """Take back live promises by their rows; held pieces become free.

    Runs in the caller's transaction, which takes the pieces next: nobody who waits gets
    them in between. Gives the promises that were taken back.
    """
    wanted = Reservation.objects.filter(store=store, pk__in=ids).live()
    lock_pockets(store=store, part_ids=set(wanted.values_list("part_id", flat=True)))
    rows = list(wanted.select_related("part", "earmark", "store").order_by("pk"))
    for row in rows:
        if row.state == ReservationState.HELD:
            post(
                key=f"broken:{row.pk}",
                kind=MovementKind.RELEASE,
                store=store,
                lines=[
                    Line(
                        part=row.part,
                        earmark=row.earmark,
                        source=Account.HELD,
                        target=Account.FREE,
                        quantity=row.quantity,
                    )
                ],
                by=by,
                at=at,
                effective_on=timezone.localdate(at),
                subject=row.subject,
                why=why,
            )
        else:
            note_promised(
                store=store,
                part_id=row.part_id,
                earmark_id=row.earmark_id,
                pieces=-row.quantity,
            )
        row.state, row.resolved_at = ReservationState.RELEASED, at
        row.save(update_fields=["state", "resolved_at"])
        record(
            act="reservation.broken",
            subject=row,
            by=by,
            at=at,
            store=store,
            after={"part": row.part_id, "pieces": row.quantity},
            why=why,
        )
    return rows


def promise_again(
    *, broken: Sequence[Reservation], by: StaffMember | None, at: dt.datetime
) -> list[Reservation]:
    """Promise anew what was taken back, from what is left or comes in time.

    Gives the promises for which there is nothing: somebody has to tell these people.
    """
    today = timezone.localdate(at)
    left_out = []
    for row in sorted(broken, key=lambda one: (one.needed_on, one.pk)):
        try:
            reserve(
                key=f"again:{row.pk}",
                store=row.store,
                part=row.part,
                quantity=row.quantity,
                earmarks=list(dict.fromkeys([row.earmark, None])),
                subject=row.subject,
                needed_on=max(row.needed_on, today),
                today=today,
                by=by,
                at=at,
            )
        except Refusal:
            left_out.append(row)
    return left_out
