"""Promising pieces, keeping the promise, and resolving it.

Every verb first holds the pockets of its parts (inventory.domain.locks), so that two
who ask at the same instant are answered one after the other and no piece is promised
twice. A caller that needs several parts in one transaction asks in the order of the
parts' rows.
"""

from __future__ import annotations

from collections import defaultdict
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.holding import can_hold_at_once, hold_at_once
from inventory.domain.ledger import (
    Line,
    NotEnough,
    NotPieces,
    ensure_pockets,
    note_promised,
    post,
)
from inventory.domain.locks import lock_pockets
from inventory.domain.once import once
from inventory.domain.promises import (
    draw,
    free_of,
    hold_pockets,
    ids_of,
    keep_promises,
    live_of,
    post_hold,
)
from inventory.models import Entry, Movement, Reservation
from inventory.queries.stock import promise_line
from inventory.rules.accounts import Account, MovementKind, ReservationState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from dealership.models import StaffMember, Store
    from inventory.models import Balance, CostLayer, Earmark, Part
    from inventory.queries.stock import PromisePicture

MADE = "reservation.made"

__all__ = [
    "Fitted",
    "NothingFree",
    "PartRecalled",
    "keep_promises",
    "lapse",
    "release",
    "reserve",
    "reserve_by_looking",
    "reserve_kit",
    "settle",
]


class NothingFree(Refusal):
    """So many pieces can be promised neither from the shelf nor for that day."""

    def __init__(
        self, part: Part, wanted: int, free_now: int, earliest: dt.date | None
    ) -> None:
        then = (
            _("The earliest day for all of them is %(day)s.") % {"day": earliest}
            if earliest
            else _("No delivery that is on its way brings enough.")
        )
        super().__init__(
            _("%(part)s: %(wanted)d wanted, %(free)d free. %(then)s")
            % {"part": part.number, "wanted": wanted, "free": free_now, "then": then}
        )
        self.part = part
        self.wanted = wanted
        self.free_now = free_now
        self.earliest = earliest


class PartRecalled(Refusal):
    """The part is itself under a recall; it is neither promised nor fitted."""

    def __init__(self, part: Part) -> None:
        super().__init__(
            _(
                "%(part)s is itself under a recall. Leave it in quarantine and follow "
                "the manufacturer's instructions."
            )
            % {"part": part.number}
        )
        self.part = part


def reserve(
    *,
    key: str,
    store: Store,
    part: Part,
    quantity: int,
    earmarks: Sequence[Earmark | None],
    subject: str,
    needed_on: dt.date,
    today: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> tuple[Reservation, ...]:
    """Promise pieces of a part, all or nothing; see reserve_kit.

    Raises NothingFree, PartRecalled, NotPieces.
    """
    return reserve_kit(
        key=key,
        store=store,
        wanted={part: quantity},
        earmarks=earmarks,
        subject=subject,
        needed_on=needed_on,
        today=today,
        by=by,
        at=at,
    )


def reserve_kit(
    *,
    key: str,
    store: Store,
    wanted: Mapping[Part, int],
    earmarks: Sequence[Earmark | None],
    subject: str,
    needed_on: dt.date,
    today: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> tuple[Reservation, ...]:
    """Promise pieces of all the parts that one job wants, all or nothing.

    Pieces that are free today are held now, pocket by pocket in the order of
    ``earmarks``: one reservation a pocket. Of a part that is not free, if the promise
    line reaches the pieces on ``needed_on``, one reservation counts on the coming
    delivery. What is held is one movement. The same ``key`` again gives the first
    result. Raises NothingFree, PartRecalled, NotPieces; then nothing is promised.
    """
    for part, quantity in wanted.items():
        if quantity < 1:
            raise NotPieces(part, quantity)
        if part.recalled:
            raise PartRecalled(part)
    facts: dict[str, Any] = {
        "key": key,
        "store": store,
        "wanted": wanted,
        "earmarks": earmarks,
        "subject": subject,
        "needed_on": needed_on,
        "by": by,
        "at": at,
    }
    held: Sequence[Reservation] | None = None
    if can_hold_at_once():
        states = dict.fromkeys(wanted, ReservationState.HELD)
        with suppress(IntegrityError):  # the key was used: its result is found below
            held = hold_at_once(act=MADE, after=_made_words(wanted, states), **facts)
    return tuple(held or reserve_by_looking(today=today, **facts))


def reserve_by_looking(
    *,
    key: str,
    store: Store,
    wanted: Mapping[Part, int],
    earmarks: Sequence[Earmark | None],
    subject: str,
    needed_on: dt.date,
    today: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> tuple[Reservation, ...]:
    """Hold the pockets, look at the promise line, then promise; see reserve_kit.

    The long way, on any database, and the only one that can count on a delivery.
    """

    def found() -> tuple[Reservation, ...] | None:
        keys = [_row_key(key, place) for place in range(len(wanted) * len(earmarks))]
        return tuple(Reservation.objects.filter(key__in=keys).order_by("pk")) or None

    def act() -> tuple[Reservation, ...]:
        parts = sorted(wanted, key=lambda one: one.pk)
        balances = hold_pockets(store, parts, earmarks)
        rows: list[Reservation] = []
        nobody_waits = not any(balance.promised for balance in balances)
        for part in parts:
            free, chain = free_of(balances, part), ids_of(earmarks)
            if nobody_waits and sum(free[one] for one in chain) >= wanted[part]:
                shares = draw(free, chain, wanted[part])
                state = ReservationState.HELD
            else:
                picture = promise_line(
                    store=store, part=part, earmarks=earmarks, today=today
                )
                shares, state = _choose(picture, free, chain, wanted[part], needed_on)
            for earmark_id, pieces in shares:
                row = Reservation(
                    key=_row_key(key, len(rows)),
                    store=store,
                    part=part,
                    earmark_id=earmark_id,
                    quantity=pieces,
                    state=state,
                    subject=subject,
                    needed_on=needed_on,
                    made_by=by,
                    made_at=at,
                )
                rows.append(row)
        return _write(rows, key=key, earmarks=earmarks, by=by, at=at)

    return once(found=found, act=act)


def _choose(
    picture: PromisePicture,
    free: dict[int | None, int],
    chain: Sequence[int | None],
    quantity: int,
    needed_on: dt.date,
) -> tuple[list[tuple[int | None, int]], ReservationState]:
    """Take free pieces, or count on a delivery; raises NothingFree."""
    if picture.free_now >= quantity:
        shares = draw(free, chain, quantity)
        return shares, ReservationState.HELD
    if picture.promise_on(needed_on) >= quantity:
        return [(chain[0], quantity)], ReservationState.PROMISED
    raise NothingFree(
        picture.part, quantity, picture.free_now, picture.earliest(quantity)
    )


def _write(
    rows: Sequence[Reservation],
    *,
    key: str,
    earmarks: Sequence[Earmark | None],
    by: StaffMember | None,
    at: dt.datetime,
) -> tuple[Reservation, ...]:
    """Write new reservations, the movement of those that are held, and the trail."""
    made = Reservation.objects.bulk_create(rows)
    held = [row for row in made if row.state == ReservationState.HELD]
    if held:
        post_hold(held, key=key, earmarks=earmarks, by=by, at=at)
    wanted: dict[Part, int] = defaultdict(int)
    for row in made:
        wanted[row.part] += row.quantity
        if row.state == ReservationState.PROMISED:
            _note(row, row.quantity)
    states = {row.part: ReservationState(row.state) for row in made}
    record(
        act=MADE,
        subject=made[0],
        by=by,
        at=at,
        store=made[0].store,
        after=_made_words(wanted, states),
    )
    return tuple(made)


def _note(row: Reservation, pieces: int) -> None:
    note_promised(
        store=row.store, part_id=row.part_id, earmark_id=row.earmark_id, pieces=pieces
    )


def _made_words(
    wanted: Mapping[Part, int], states: Mapping[Part, ReservationState]
) -> dict[str, Any]:
    """Say in the trail which pieces were promised, and how."""
    lines = [
        {"part": part.pk, "pieces": pieces, "state": str(states[part])}
        for part, pieces in sorted(wanted.items(), key=lambda one: one[0].pk)
    ]
    return lines[0] if len(lines) == 1 else {"parts": lines}


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """Pieces of one cost layer that were used, at its price."""

    part: Part
    layer: CostLayer
    quantity: int
    unit_cost_cents: int
    movement: Movement


def settle(
    *,
    subject: str,
    store: Store,
    used: Mapping[Part, int],
    earmarks: Sequence[Earmark | None],
    key: str,
    effective_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> tuple[Fitted, ...]:
    """Resolve all that is promised to a subject: ``used`` pieces leave the books.

    Held pieces go first; what is used beyond them comes from the free pieces of
    ``earmarks``, in that order; what is held and not used is free again, and those
    who wait for it get it. The same ``key`` again gives the first result. Raises
    NotEnough, PartRecalled, NotPieces.
    """
    for part, pieces in used.items():
        if pieces < 0:
            raise NotPieces(part, pieces)
        if pieces and part.recalled:
            raise PartRecalled(part)
    with transaction.atomic():
        balances = _hold_for_settling(store, subject, used, earmarks)
        first = _fitted(key)
        if first is not None:
            return first
        live = live_of(store=store, subject=subject)
        shares, beyond = _share_holds(live, used)
        extra = _from_free(balances, beyond, earmarks)
        facts: dict[str, Any] = {
            "store": store,
            "by": by,
            "at": at,
            "effective_on": effective_on,
            "subject": subject,
        }
        lines = _settling_lines(live, shares)
        if lines:
            post(key=key, kind=MovementKind.SETTLE, lines=lines, **facts)
        if extra:
            post(key=f"{key}/free", kind=MovementKind.USE, lines=extra, **facts)
        for row in live:
            held = row.state == ReservationState.HELD
            state = ReservationState.SETTLED if held else ReservationState.RELEASED
            _resolve(row, state, used=shares.get(row.pk, 0), by=by, at=at)
        _keep_for_others(store, live, by=by, at=at)
        return _fitted(key) or ()


def _hold_for_settling(
    store: Store,
    subject: str,
    used: Mapping[Part, int],
    earmarks: Sequence[Earmark | None],
) -> list[Balance]:
    """Hold the pockets of everything promised or used, in one go."""
    rows = Reservation.objects.filter(store=store, subject=subject).live()
    promised = set(rows.values_list("part_id", flat=True))
    pockets = [(part.pk, one) for part in used for one in ids_of(earmarks)]
    ensure_pockets(store=store, pockets=pockets)
    return lock_pockets(store=store, part_ids=promised | {part.pk for part in used})


def _fitted(key: str) -> tuple[Fitted, ...] | None:
    """Read what a settlement took; None where the key is new."""
    keys = [key, f"{key}/free"]
    if not Movement.objects.filter(key__in=keys).exists():
        return None
    entries = Entry.objects.filter(movement__key__in=keys, account=Account.USED)
    return tuple(
        Fitted(
            part=entry.part,
            layer=entry.layer,
            quantity=entry.quantity,
            unit_cost_cents=entry.layer.unit_cost_cents,
            movement=entry.movement,
        )
        for entry in entries.select_related("part", "layer", "movement").order_by("pk")
        if entry.layer is not None
    )


def _share_holds(
    live: Sequence[Reservation], used: Mapping[Part, int]
) -> tuple[dict[int, int], dict[Part, int]]:
    """Share the used pieces over the holds; give the rest that no hold covers."""
    shares: dict[int, int] = {}
    beyond: dict[Part, int] = {}
    for part, wanted in used.items():
        left = wanted
        for row in live:
            if row.part_id == part.pk and row.state == ReservationState.HELD:
                shares[row.pk] = min(left, row.quantity)
                left -= shares[row.pk]
        if left:
            beyond[part] = left
    return shares, beyond


def _settling_lines(
    live: Sequence[Reservation], shares: Mapping[int, int]
) -> list[Line]:
    """Take the used pieces out of each hold and free the rest."""
    lines = []
    for row in live:
        if row.state != ReservationState.HELD:
            continue
        used = shares.get(row.pk, 0)
        if used:
            lines.append(_line(row, Account.HELD, Account.USED, used))
        if row.quantity > used:
            rest = row.quantity - used
            lines.append(_line(row, Account.HELD, Account.FREE, rest))
    return lines


def _from_free(
    balances: Sequence[Balance],
    beyond: Mapping[Part, int],
    earmarks: Sequence[Earmark | None],
) -> list[Line]:
    """Take what no hold covers from the free pieces; raises NotEnough."""
    by_id = {one.pk if one else None: one for one in earmarks}
    lines = []
    for part, wanted in beyond.items():
        free = free_of(balances, part)
        shares = draw(free, ids_of(earmarks), wanted)
        there = sum(pieces for _earmark, pieces in shares)
        if there < wanted:
            raise NotEnough(part, Account.FREE, wanted, there)
        lines += [
            Line(
                part=part,
                earmark=by_id[earmark_id],
                source=Account.FREE,
                target=Account.USED,
                quantity=pieces,
            )
            for earmark_id, pieces in shares
        ]
    return lines


def release(
    *, subject: str, by: StaffMember | None, at: dt.datetime, why: str
) -> tuple[Reservation, ...]:
    """Let go what is promised to a subject; held pieces become free again.

    Those who wait for the same parts get them at once, first needed first kept. A
    repeat changes nothing. Gives the reservations that were let go.
    """
    return _let_go(
        subject=subject, state=ReservationState.RELEASED, by=by, at=at, why=why
    )


def lapse(
    *, subject: str, by: StaffMember | None, at: dt.datetime, why: str
) -> tuple[Reservation, ...]:
    """Let go what is promised to a subject that did not come; as release does."""
    return _let_go(
        subject=subject, state=ReservationState.LAPSED, by=by, at=at, why=why
    )


def _let_go(
    *,
    subject: str,
    state: ReservationState,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
) -> tuple[Reservation, ...]:
    with transaction.atomic():
        rows = Reservation.objects.filter(subject=subject).live()
        stores = {row.store for row in rows.select_related("store")}
        gone: list[Reservation] = []
        for store in sorted(stores, key=lambda one: one.pk):
            gone += _let_go_in(store, subject, state, by=by, at=at, why=why)
        return tuple(gone)


def _let_go_in(
    store: Store,
    subject: str,
    state: ReservationState,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
) -> list[Reservation]:
    live = live_of(store=store, subject=subject)
    held = [row for row in live if row.state == ReservationState.HELD]
    if held:
        post(
            key=f"{state}:{held[0].pk}",
            kind=MovementKind.RELEASE,
            store=store,
            lines=[
                _line(row, Account.HELD, Account.FREE, row.quantity) for row in held
            ],
            by=by,
            at=at,
            effective_on=timezone.localdate(at),
            subject=subject,
            why=why,
        )
    for row in live:
        _resolve(row, state, used=0, by=by, at=at, why=why)
    _keep_for_others(store, live, by=by, at=at)
    return live


def _keep_for_others(
    store: Store,
    rows: Iterable[Reservation],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Give what has become free to those who wait for it, part by part."""
    parts = {row.part_id: row.part for row in rows}
    today = timezone.localdate(at)
    for pk in sorted(parts):
        keep_promises(store=store, part=parts[pk], by=by, at=at, today=today)


def _resolve(
    row: Reservation,
    state: ReservationState,
    *,
    used: int,
    by: StaffMember | None,
    at: dt.datetime,
    why: str = "",
) -> None:
    """Close a reservation for good, with its line in the trail."""
    if row.state == ReservationState.PROMISED:
        _note(row, -row.quantity)
    row.state, row.used, row.resolved_at = state, used, at
    row.save(update_fields=["state", "used", "resolved_at"])
    record(
        act=f"reservation.{state}",
        subject=row,
        by=by,
        at=at,
        store=row.store,
        after={"part": row.part_id, "pieces": row.quantity, "used": used},
        why=why,
    )


def _line(row: Reservation, source: Account, target: Account, pieces: int) -> Line:
    return Line(
        part=row.part,
        earmark=row.earmark,
        source=source,
        target=target,
        quantity=pieces,
    )


def _row_key(key: str, number: int) -> str:
    return f"{key}/{number}"
