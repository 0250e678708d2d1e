"""Pieces put aside so that nobody can issue them, and what becomes of them.

Pieces that go aside together for one reason are a lot; it leaves quarantine piece by
piece: freed, scrapped, or sent back. Recalled stock and parts taken out of vehicles are
never freed: a part under a recall must not be sold or installed unless it has been
remedied (49 USC 30120(j)). Pieces in dispute with a shipper and pieces boxed for a
return stand in quarantine by their own papers and are not touched here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import F, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.rules.refusals import Refusal
from inventory.domain.breaking import break_promises
from inventory.domain.ledger import Line, NotEnough, NotPieces, post
from inventory.domain.locks import lock_pockets
from inventory.domain.once import once
from inventory.domain.reserving import PartRecalled, keep_promises
from inventory.models import (
    Balance,
    CostLayer,
    Entry,
    Movement,
    Part,
    QuarantineLot,
    Reservation,
    ReturnLine,
)
from inventory.rules.accounts import (
    NEVER_FREED,
    Account,
    LotKind,
    MovementKind,
    ReturnState,
)


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Sequence

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark
    from inventory.models.shelf import LotQuerySet


class NeverFreed(Refusal):
    """Pieces of a kind that may only be sent back or scrapped."""

    def __init__(self, lot: QuarantineLot) -> None:
        super().__init__(
            _(
                "%(part)s in this lot is %(kind)s. It may be sent back or scrapped, not "
                "used again; follow the manufacturer's instructions."
            )
            % {"part": lot.part.number, "kind": lot.get_kind_display()}
        )
        self.lot = lot


class WhyMissing(Refusal):
    """An act on quarantine without its reason."""

    def __init__(self) -> None:
        super().__init__(_("Give the reason; it stands in the books for good."))


@dataclass(frozen=True, kw_only=True)
class Recalled:
    """What a recall of a part has put aside, and whose promises it has taken back."""

    lots: tuple[QuarantineLot, ...]
    broken: tuple[Reservation, ...]


def put_aside(
    *,
    key: str,
    store: Store,
    part: Part,
    earmark: Earmark | None,
    quantity: int,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
    kind: LotKind = LotKind.DOUBTFUL,
) -> QuarantineLot:
    """Put free pieces into quarantine, as a lot.

    The same ``key`` again gives the first lot. Raises NotEnough, NotPieces, WhyMissing;
    ValueError for parts out of a vehicle, which come in by ``take_in_removed``.
    """
    if kind is LotKind.REMOVED:
        raise ValueError("removed parts do not come from the shelf")
    if quantity < 1:
        raise NotPieces(part, quantity)
    if not why.strip():
        raise WhyMissing
    facts = {"store": store, "part": part, "earmark": earmark, "quantity": quantity}

    def act() -> QuarantineLot:
        lock_pockets(store=store, part_ids=[part.pk])
        lot = _open(key, kind, why, by=by, at=at, **facts)
        line = _line(lot, Account.FREE, Account.QUARANTINE, quantity)
        _post(lot, f"{key}/aside", MovementKind.QUARANTINE, [line], why, by=by, at=at)
        return lot

    return once(found=lambda: QuarantineLot.objects.filter(key=key).first(), act=act)


def take_in_removed(
    *,
    key: str,
    store: Store,
    part: Part,
    quantity: int,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
) -> QuarantineLot:
    """Take parts that came out of vehicles into quarantine, at no cost.

    ``why`` names the repair order or vehicle. They are never freed. The same ``key``
    again gives the first lot. Raises NotPieces, WhyMissing.
    """
    if quantity < 1:
        raise NotPieces(part, quantity)
    if not why.strip():
        raise WhyMissing

    def act() -> QuarantineLot:
        lot = _open(
            key,
            LotKind.REMOVED,
            why,
            by=by,
            at=at,
            store=store,
            part=part,
            earmark=None,
            quantity=quantity,
        )
        layer = CostLayer.objects.create(
            store=store,
            part=part,
            source=lot.subject,
            unit_cost_cents=0,
            quantity=quantity,
            received_on=timezone.localdate(at),
        )
        line = _line(lot, Account.SUPPLIER, Account.QUARANTINE, quantity, layer=layer)
        _post(lot, f"{key}/in", MovementKind.RECEIVE, [line], why, by=by, at=at)
        return lot

    return once(found=lambda: QuarantineLot.objects.filter(key=key).first(), act=act)


def put_back(
    *,
    key: str,
    store: Store,
    part: Part,
    earmark: Earmark | None,
    quantity: int,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
    lot: QuarantineLot | None = None,
) -> Movement:
    """Free pieces from quarantine; those who wait get them first.

    ``lot`` None: from the oldest lots of the pocket that may be freed. Raises
    NotEnough, NotPieces, WhyMissing, NeverFreed, and PartRecalled: recalled stock stays
    where it is.
    """
    if part.recalled:
        raise PartRecalled(part)
    if lot and lot.kind in NEVER_FREED:
        raise NeverFreed(lot)
    with transaction.atomic():
        movement = _leave(
            _Exit(
                key=key,
                kind=MovementKind.QUARANTINE,
                target=Account.FREE,
                quantity=quantity,
                why=why,
                by=by,
                at=at,
            ),
            _lots(store, part, earmark, lot).exclude(kind__in=NEVER_FREED),
            store,
            part,
        )
        today = timezone.localdate(at)
        keep_promises(store=store, part=part, by=by, at=at, today=today)
        enqueue(
            kind="inventory.freed",
            arguments={"store_id": store.pk, "part_ids": [part.pk]},
            by=by,
            store=store,
            now=at,
            unique_key=f"movement {movement.pk}",
        )
        return movement


def scrap(
    *,
    key: str,
    store: Store,
    part: Part,
    earmark: Earmark | None,
    quantity: int,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
    lot: QuarantineLot | None = None,
) -> Movement:
    """Scrap pieces that stand in quarantine, of one lot or of the pocket's oldest.

    Raises NotEnough, NotPieces, WhyMissing.
    """
    with transaction.atomic():
        return _leave(
            _Exit(
                key=key,
                kind=MovementKind.SCRAP,
                target=Account.SCRAPPED,
                quantity=quantity,
                why=why,
                by=by,
                at=at,
            ),
            _lots(store, part, earmark, lot),
            store,
            part,
        )


def recall_part(
    *, part: Part, by: StaffMember | None, at: dt.datetime, why: str
) -> Recalled:
    """Mark a part as under a recall itself and put all of it aside, in every store.

    Promises of it are taken back: nothing of it may be fitted. A repeat puts aside what
    has come in since. Raises WhyMissing.
    """
    if not why.strip():
        raise WhyMissing
    with transaction.atomic():
        if Part.objects.filter(pk=part.pk, recalled=False).update(recalled=True):
            record(act="part.recalled", subject=part, by=by, at=at, why=why)
        part.recalled = True
        lots: list[QuarantineLot] = []
        broken: list[Reservation] = []
        rows = Balance.objects.filter(part=part).select_related("store", "earmark")
        for store in sorted({one.store for one in rows}, key=lambda one: one.pk):
            live = Reservation.objects.filter(store=store, part=part).live()
            broken += break_promises(
                store=store,
                ids=list(live.values_list("pk", flat=True)),
                by=by,
                at=at,
                why=_("the part is recalled"),
            )
            lots += _aside_all(store, part, why, by=by, at=at)
        return Recalled(lots=tuple(lots), broken=tuple(broken))


def _aside_all(
    store: Store, part: Part, why: str, *, by: StaffMember | None, at: dt.datetime
) -> list[QuarantineLot]:
    """Put every free piece of a part in one store aside."""
    lots = []
    for pocket in lock_pockets(store=store, part_ids=[part.pk]):
        if pocket.free:
            number = QuarantineLot.objects.filter(store=store, part=part).count()
            lots.append(
                put_aside(
                    key=f"recall:{pocket.pk}/{number}",
                    store=store,
                    part=part,
                    earmark=pocket.earmark,
                    quantity=pocket.free,
                    kind=LotKind.RECALLED,
                    by=by,
                    at=at,
                    why=why,
                )
            )
    return lots


def lift_recall(
    *, part: Part, by: StaffMember | None, at: dt.datetime, why: str
) -> Part:
    """Take the mark off a part that was marked by mistake, or was remedied.

    What stands in quarantine as recalled stays there. Raises WhyMissing.
    """
    if not why.strip():
        raise WhyMissing
    with transaction.atomic():
        if Part.objects.filter(pk=part.pk, recalled=True).update(recalled=False):
            record(act="part.recall_lifted", subject=part, by=by, at=at, why=why)
        return Part.objects.get(pk=part.pk)


def shares_of(lot: QuarantineLot) -> list[tuple[CostLayer, int]]:
    """Give the layers of the pieces that are left of a lot, in their order.

    What its movements put into quarantine, less what a return that is not called off
    has taken over and not yet shipped or unboxed.
    """
    entries = Entry.objects.filter(
        movement__subject=lot.subject, account=Account.QUARANTINE
    )
    left = dict(entries.order_by().values_list("layer").annotate(Sum("quantity")))
    boxed = (
        ReturnLine.objects.filter(lot=lot)
        .exclude(goods_return__state=ReturnState.CANCELLED)
        .values_list("layer", "quantity")
    )
    for layer, pieces in boxed:
        left[layer] -= pieces
    layers = CostLayer.objects.in_bulk([pk for pk, pieces in left.items() if pieces])
    return [(layers[pk], left[pk]) for pk in sorted(layers)]


def take_from_lot(*, lot: QuarantineLot, quantity: int) -> list[tuple[CostLayer, int]]:
    """Take pieces off a lot, in the caller's transaction; give their layers.

    Raises NotPieces, NotEnough.
    """
    if quantity < 1:
        raise NotPieces(lot.part, quantity)
    there = QuarantineLot.objects.filter(pk=lot.pk, left__gte=quantity)
    shares = shares_of(lot)
    if not there.update(left=F("left") - quantity):
        raise NotEnough(lot.part, Account.QUARANTINE, quantity, lot.left)
    taken = []
    for layer, pieces in shares:
        share = min(quantity, pieces)
        if share:
            taken.append((layer, share))
            quantity -= share
    return taken


def _lots(
    store: Store, part: Part, earmark: Earmark | None, lot: QuarantineLot | None
) -> LotQuerySet:
    """Give one lot, or those of a pocket with pieces left, the oldest first."""
    rows = QuarantineLot.objects.filter(store=store, part=part, left__gt=0)
    rows = rows.filter(pk=lot.pk) if lot else rows.filter(earmark=earmark)
    return rows.select_related("part", "earmark", "store").order_by("pk")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Exit:
    """How pieces leave quarantine, and at whose hand."""

    key: str
    kind: MovementKind
    target: Account
    quantity: int
    why: str
    by: StaffMember | None
    at: dt.datetime


def _leave(leaving: _Exit, lots: LotQuerySet, store: Store, part: Part) -> Movement:
    """Let pieces leave quarantine, lot by lot; the first movement is given back."""
    if leaving.quantity < 1:
        raise NotPieces(part, leaving.quantity)
    if not leaving.why.strip():
        raise WhyMissing

    def act() -> Movement:
        lock_pockets(store=store, part_ids=[part.pk])
        found = list(lots)
        there = sum(lot.left for lot in found)
        if there < leaving.quantity:
            raise NotEnough(part, Account.QUARANTINE, leaving.quantity, there)
        return _leave_lots(leaving, found)[0]

    first = Movement.objects.filter(key=leaving.key)
    return once(found=first.all().first, act=act)


def _leave_lots(leaving: _Exit, lots: Sequence[QuarantineLot]) -> list[Movement]:
    keys, quantity = _keys(leaving.key), leaving.quantity
    movements = []
    for lot in lots:
        pieces = min(quantity, lot.left)
        if not pieces:
            break
        quantity -= pieces
        lines = [
            _line(lot, Account.QUARANTINE, leaving.target, share, layer=layer)
            for layer, share in take_from_lot(lot=lot, quantity=pieces)
        ]
        movements.append(
            _post(
                lot,
                next(keys),
                leaving.kind,
                lines,
                leaving.why,
                by=leaving.by,
                at=leaving.at,
            )
        )
    return movements


def _keys(key: str) -> Iterator[str]:
    """Give the keys of an act's movements: its own, then numbered ones."""
    yield key
    for number in count(1):
        yield f"{key}/{number}"


def _open(
    key: str,
    kind: LotKind,
    why: str,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    **facts: Any,  # noqa: ANN401 (the row's own fields)
) -> QuarantineLot:
    return QuarantineLot.objects.create(
        key=key,
        kind=kind,
        left=facts["quantity"],
        why=why.strip()[:200],
        opened_by=by,
        opened_at=at,
        **facts,
    )


def _line(
    lot: QuarantineLot,
    source: Account,
    target: Account,
    quantity: int,
    *,
    layer: CostLayer | None = None,
) -> Line:
    return Line(
        part=lot.part,
        earmark=lot.earmark,
        source=source,
        target=target,
        quantity=quantity,
        layer=layer,
    )


def _post(
    lot: QuarantineLot,
    key: str,
    kind: MovementKind,
    lines: Sequence[Line],
    why: str,
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> Movement:
    """Post the movement of a lot and write it into the trail."""
    movement = post(
        key=key,
        kind=kind,
        store=lot.store,
        lines=lines,
        by=by,
        at=at,
        effective_on=timezone.localdate(at),
        subject=lot.subject,
        why=why,
    )
    record(
        act=f"pieces.{lines[0].source}_to_{lines[0].target}",
        subject=lot,
        by=by,
        at=at,
        store=lot.store,
        after={
            "part": lot.part_id,
            "pieces": sum(line.quantity for line in lines),
            "movement": movement.pk,
        },
        why=why,
    )
    return movement
