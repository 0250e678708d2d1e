"""Holding pieces for who was promised them, first needed first kept."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from dealership.domain.audit import record
from inventory.domain.ledger import Line, ensure_pockets, note_promised, post
from inventory.domain.locks import lock_pockets
from inventory.models import Reservation
from inventory.rules.accounts import Account, MovementKind, ReservationState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Sequence

    from dealership.models import StaffMember, Store
    from inventory.models import Balance, Earmark, Part


def keep_promises(
    *,
    store: Store,
    part: Part,
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
) -> tuple[Reservation, ...]:
    """Hold free pieces for those promised from a delivery, first needed first kept.

    A promise that cannot be kept in full keeps its claim on what is free: nobody
    needed later takes it. Gives the reservations that are held now. Call it as often
    as you like.
    """
    del today  # an old promise is as good as a new one until it lapses
    with transaction.atomic():
        balances = hold_pockets(store, [part], [None])
        free = free_of(balances, part)
        waiting = Reservation.objects.filter(
            store=store, part=part, state=ReservationState.PROMISED
        ).select_related("earmark")
        kept: list[Reservation] = []
        for promise in waiting.order_by("needed_on", "pk"):
            chain = list(dict.fromkeys([promise.earmark_id, None]))
            shares = draw(free, chain, promise.quantity)
            for earmark_id, pieces in shares:
                free[earmark_id] -= pieces
            if sum(pieces for _earmark, pieces in shares) == promise.quantity:
                kept += _keep(promise, shares, by=by, at=at)
        return tuple(kept)


def live_of(*, store: Store, subject: str) -> list[Reservation]:
    """Hold the pockets of a subject's parts, then read what is promised to it."""
    rows = Reservation.objects.filter(store=store, subject=subject).live()
    lock_pockets(store=store, part_ids=set(rows.values_list("part_id", flat=True)))
    return list(rows.select_related("part", "earmark").order_by("pk"))


def ids_of(earmarks: Sequence[Earmark | None]) -> list[int | None]:
    """Give the row ids of earmarks; None stands for the stock without one."""
    return [one.pk if one else None for one in earmarks]


def hold_pockets(
    store: Store, parts: Collection[Part], earmarks: Sequence[Earmark | None]
) -> list[Balance]:
    """Make the pockets where there are none, and hold all pockets of the parts."""
    ensure_pockets(
        store=store,
        pockets=[(part.pk, earmark) for part in parts for earmark in ids_of(earmarks)],
    )
    return lock_pockets(store=store, part_ids=[part.pk for part in parts])


def free_of(balances: Iterable[Balance], part: Part) -> dict[int | None, int]:
    """Count the free pieces of a part, by pocket."""
    free: dict[int | None, int] = defaultdict(int)
    for balance in balances:
        if balance.part_id == part.pk:
            free[balance.earmark_id] += balance.free
    return free


def draw(
    free: dict[int | None, int], chain: Sequence[int | None], quantity: int
) -> list[tuple[int | None, int]]:
    """Take pieces pocket by pocket until there are enough, or all that there are."""
    shares = []
    for earmark_id in chain:
        pieces = min(quantity, free[earmark_id])
        if pieces > 0:
            shares.append((earmark_id, pieces))
            quantity -= pieces
    return shares


def post_hold(
    rows: Sequence[Reservation],
    *,
    key: str,
    earmarks: Sequence[Earmark | None],
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Post the hold of reservations just made."""
    by_id = {one.pk: one for one in earmarks if one}
    post(
        key=key,
        kind=MovementKind.RESERVE,
        store=rows[0].store,
        lines=[
            Line(
                part=row.part,
                earmark=by_id.get(row.earmark_id) if row.earmark_id else None,
                source=Account.FREE,
                target=Account.HELD,
                quantity=row.quantity,
            )
            for row in rows
        ],
        by=by,
        at=at,
        effective_on=timezone.localdate(at),
        subject=rows[0].subject,
    )


def _keep(
    promise: Reservation,
    shares: Sequence[tuple[int | None, int]],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> list[Reservation]:
    """Hold the pieces of one promise; one that draws on two pockets is split."""
    own = promise.earmark
    note_promised(
        store=promise.store,
        part_id=promise.part_id,
        earmark_id=promise.earmark_id,
        pieces=-promise.quantity,
    )
    rows = []
    for number, (earmark_id, pieces) in enumerate(shares):
        row = promise if number == 0 else Reservation.objects.get(pk=promise.pk)
        if number:
            row.pk, row.key = None, f"kept:{promise.pk}/{number}"
            row._state.adding = True  # noqa: SLF001 (Django's documented copy of a row)
        row.earmark = own if earmark_id is not None else None
        row.quantity, row.state = pieces, ReservationState.HELD
        rows.append(row)
    for row in reversed(rows):
        row.save()
    post_hold(
        rows,
        key=f"kept:{promise.pk}",
        earmarks=[own, None],
        by=by,
        at=at,
    )
    record(
        act="reservation.held",
        subject=promise,
        by=by,
        at=at,
        store=promise.store,
        after={"pieces": sum(row.quantity for row in rows)},
    )
    return rows
