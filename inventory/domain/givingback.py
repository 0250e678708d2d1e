"""Returns to the supplier: boxed, shipped, credited."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.domain.series import next_number
from dealership.rules.money import return_credit_cents, share_of_basis_points
from dealership.rules.refusals import Refusal
from inventory.domain.ledger import Line, NotPieces, post
from inventory.domain.locks import lock_pockets
from inventory.domain.once import once
from inventory.domain.promises import keep_promises
from inventory.domain.quarantine import take_from_lot
from inventory.domain.spare import hold_spare
from inventory.models import (
    Credit,
    Entry,
    GoodsReturn,
    Movement,
    QuarantineLot,
    ReturnLine,
)
from inventory.models.trade import RETURN_WORDS
from inventory.rules.accounts import Account, MovementKind, ReturnState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Part, Supplier


class NothingToReturn(Refusal):
    """A return without a piece."""

    def __init__(self) -> None:
        super().__init__(_("The return has no line. Say which part and how many."))


class ReturnCannotMove(Refusal):
    """The return is in a state in which this cannot be done."""

    def __init__(self, goods_return: GoodsReturn) -> None:
        super().__init__(
            _("Return %(number)s is %(state)s, so this cannot be done any more.")
            % {
                "number": goods_return.number,
                "state": RETURN_WORDS[ReturnState(goods_return.state)],
            }
        )
        self.goods_return = goods_return


class FreightTooHigh(Refusal):
    """The freight taken off is more than the credit."""

    def __init__(self, freight_cents: int, credit_cents: int) -> None:
        super().__init__(
            _("The freight is more than the whole credit. Check the credit note.")
        )
        self.freight_cents = freight_cents
        self.credit_cents = credit_cents


def prepare_return(
    *,
    key: str,
    store: Store,
    supplier: Supplier,
    earmark: Earmark | None,
    lines: Mapping[Part, int],
    last_date: dt.date | None,
    restocking_basis_points: int,
    by: StaffMember | None,
    at: dt.datetime,
) -> GoodsReturn:
    """Box free pieces of one pocket for their return; nobody can issue them now.

    One line a cost layer, at its price. Pieces that a promise counts on stay. The
    same ``key`` again gives the first return. Raises NothingToReturn, NotPieces,
    NotEnough, OfferedToOthers.
    """
    if not lines:
        raise NothingToReturn
    for part, pieces in lines.items():
        if pieces < 1:
            raise NotPieces(part, pieces)

    def found() -> GoodsReturn | None:
        return GoodsReturn.objects.filter(key=key).first()

    def act() -> GoodsReturn:
        today = timezone.localdate(at)
        hold_spare(store=store, earmark=earmark, lines=lines, today=today)
        goods_return = GoodsReturn.objects.create(
            store=store,
            supplier=supplier,
            earmark=earmark,
            number=next_number(store=store, kind="return"),
            key=key,
            last_date=last_date,
            restocking_basis_points=restocking_basis_points,
            made_by=by,
            made_at=at,
        )
        boxed = _post(
            goods_return,
            "boxed",
            MovementKind.QUARANTINE,
            [
                _line(part, earmark, Account.FREE, Account.QUARANTINE, pieces)
                for part, pieces in lines.items()
            ],
            by=by,
            at=at,
        )
        for entry in _aside(boxed):
            assert entry.layer is not None  # the ledger names one
            ReturnLine.objects.create(
                goods_return=goods_return,
                part=entry.part,
                layer=entry.layer,
                quantity=entry.quantity,
                unit_cost_cents=entry.layer.unit_cost_cents,
            )
        _note(goods_return, "prepared", by=by, at=at, pieces=sum(lines.values()))
        return goods_return

    return once(found=found, act=act)


def prepare_lot_return(
    *,
    key: str,
    lot: QuarantineLot,
    quantity: int,
    last_date: dt.date | None,
    restocking_basis_points: int,
    by: StaffMember | None,
    at: dt.datetime,
) -> GoodsReturn:
    """Box pieces of a lot in quarantine for their return; no piece moves yet.

    The same ``key`` again gives the first return. Raises NotPieces, NotEnough.
    """

    def act() -> GoodsReturn:
        lock_pockets(store=lot.store, part_ids=[lot.part_id])
        goods_return = GoodsReturn.objects.create(
            store=lot.store,
            supplier=lot.part.supplier,
            earmark=lot.earmark,
            number=next_number(store=lot.store, kind="return"),
            key=key,
            last_date=last_date,
            restocking_basis_points=restocking_basis_points,
            made_by=by,
            made_at=at,
        )
        for layer, pieces in take_from_lot(lot=lot, quantity=quantity):
            ReturnLine.objects.create(
                goods_return=goods_return,
                part=lot.part,
                layer=layer,
                lot=lot,
                quantity=pieces,
                unit_cost_cents=layer.unit_cost_cents,
            )
        _note(goods_return, "prepared", by=by, at=at, pieces=quantity)
        return goods_return

    return once(found=lambda: GoodsReturn.objects.filter(key=key).first(), act=act)


def ship_return(
    *,
    goods_return: GoodsReturn,
    shipped_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> GoodsReturn:
    """Hand the boxed pieces to the carrier; they leave the books.

    A repeat changes nothing. Raises ReturnCannotMove when it was cancelled.
    """
    with transaction.atomic():
        if not _move(goods_return, ReturnState.SHIPPED, shipped_on=shipped_on):
            return _as_it_is(goods_return, ReturnState.SHIPPED, ReturnState.CREDITED)
        lines = [
            *_boxed_lines(goods_return, Account.RETURNED),
            *_lot_lines(goods_return),
        ]
        _post(goods_return, "shipped", MovementKind.RETURN, lines, by=by, at=at)
        _note(goods_return, "shipped", by=by, at=at)
        return GoodsReturn.objects.get(pk=goods_return.pk)


def cancel_return(
    *, goods_return: GoodsReturn, by: StaffMember | None, at: dt.datetime, why: str
) -> GoodsReturn:
    """Unbox what was not shipped yet; the pieces are free again, or back in their lot.

    A repeat changes nothing. Raises ReturnCannotMove when it has been shipped.
    """
    with transaction.atomic():
        if not _move(goods_return, ReturnState.CANCELLED):
            return _as_it_is(goods_return, ReturnState.CANCELLED)
        _back_to_lots(goods_return)
        lines = _boxed_lines(goods_return, Account.FREE)
        if lines:
            _post(goods_return, "unboxed", MovementKind.QUARANTINE, lines, by=by, at=at)
        for part in {line.part.pk: line.part for line in lines}.values():
            keep_promises(
                store=goods_return.store,
                part=part,
                by=by,
                at=at,
                today=timezone.localdate(at),
            )
        _note(goods_return, "cancelled", by=by, at=at, why=why)
        return GoodsReturn.objects.get(pk=goods_return.pk)


def credit_return(
    *,
    goods_return: GoodsReturn,
    number: str,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    freight_cents: int = 0,
) -> GoodsReturn:
    """Enter the supplier's credit note for a whole return.

    Each line gets its cost less the restocking charge; the freight, in cents, comes
    off the lines from the first on. A repeat changes nothing. Raises ReturnCannotMove
    when it was not shipped, FreightTooHigh.
    """
    with transaction.atomic():
        state = GoodsReturn.objects.get(pk=goods_return.pk).state
        if state == ReturnState.CREDITED:
            return GoodsReturn.objects.get(pk=goods_return.pk)
        moved = GoodsReturn.objects.filter(
            pk=goods_return.pk, state=ReturnState.SHIPPED
        )
        if not moved.update(state=ReturnState.CREDITED):
            raise ReturnCannotMove(GoodsReturn.objects.get(pk=goods_return.pk))
        freight = freight_cents
        for line in goods_return.lines.order_by("pk"):
            freight -= _credit_line(line, number, dated, freight=freight, by=by, at=at)
        if freight:
            raise FreightTooHigh(freight_cents, freight_cents - freight)
        _note(goods_return, "credited", by=by, at=at)
        return GoodsReturn.objects.get(pk=goods_return.pk)


def expected_credit_cents(goods_return: GoodsReturn) -> int:
    """Give what the terms promise for a return, before freight, in cents."""
    share = share_of_basis_points(goods_return.restocking_basis_points)
    return sum(
        return_credit_cents(line.quantity, line.unit_cost_cents, share)
        for line in goods_return.lines.all()
    )


def _credit_line(
    line: ReturnLine,
    number: str,
    dated: dt.date,
    *,
    freight: int,
    by: StaffMember | None,
    at: dt.datetime,
) -> int:
    """Credit one line; give the freight that it has borne, in cents."""
    goods_return = line.goods_return
    share = share_of_basis_points(goods_return.restocking_basis_points)
    credit = return_credit_cents(line.quantity, line.unit_cost_cents, share)
    borne = min(freight, credit)
    Credit.objects.create(
        store=goods_return.store,
        earmark=goods_return.earmark,
        return_line=line,
        number=number,
        dated=dated,
        at_cost_cents=line.quantity * line.unit_cost_cents,
        amount_cents=credit - borne,
        by=by,
        recorded_at=at,
    )
    line.credited_on = dated
    line.save(update_fields=["credited_on"])
    return borne


def _move(goods_return: GoodsReturn, to: ReturnState, **facts: object) -> bool:
    """Move a prepared return on, unless somebody else did."""
    prepared = GoodsReturn.objects.filter(
        pk=goods_return.pk, state=ReturnState.PREPARED
    )
    return bool(prepared.update(state=to, **facts))


def _as_it_is(goods_return: GoodsReturn, *reached: ReturnState) -> GoodsReturn:
    """Give a return that has already come so far; raises ReturnCannotMove."""
    goods_return = GoodsReturn.objects.get(pk=goods_return.pk)
    if goods_return.state not in reached:
        raise ReturnCannotMove(goods_return)
    return goods_return


def _aside(movement: Movement) -> list[Entry]:
    """Give the entries that put pieces into quarantine."""
    entries = movement.entries.filter(account=Account.QUARANTINE)
    return list(entries.select_related("part", "earmark", "layer").order_by("pk"))


def _lot_lines(goods_return: GoodsReturn) -> list[Line]:
    """Take the pieces of a lot out of quarantine, layer by layer."""
    rows = goods_return.lines.filter(lot__isnull=False).select_related("part", "layer")
    return [
        Line(
            part=row.part,
            earmark=goods_return.earmark,
            source=Account.QUARANTINE,
            target=Account.RETURNED,
            quantity=row.quantity,
            layer=row.layer,
        )
        for row in rows.order_by("pk")
    ]


def _back_to_lots(goods_return: GoodsReturn) -> None:
    """Give the pieces of a return that is called off back to their lots."""
    for row in goods_return.lines.filter(lot__isnull=False).select_related("lot"):
        assert row.lot is not None, "asked for"
        lot = QuarantineLot.objects.filter(pk=row.lot.pk)
        lot.update(left=F("left") + row.quantity)


def _boxed_lines(goods_return: GoodsReturn, target: Account) -> list[Line]:
    """Take the very pieces that were boxed off the shelf, layer by layer."""
    boxed = Movement.objects.filter(key=f"return:{goods_return.pk}/boxed").first()
    if boxed is None:
        return []
    return [
        Line(
            part=entry.part,
            earmark=entry.earmark,
            source=Account.QUARANTINE,
            target=target,
            quantity=entry.quantity,
            layer=entry.layer,
        )
        for entry in _aside(boxed)
    ]


def _line(
    part: Part, earmark: Earmark | None, source: Account, target: Account, pieces: int
) -> Line:
    return Line(
        part=part, earmark=earmark, source=source, target=target, quantity=pieces
    )


def _post(
    goods_return: GoodsReturn,
    step: str,
    kind: MovementKind,
    lines: list[Line],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> Movement:
    return post(
        key=f"return:{goods_return.pk}/{step}",
        kind=kind,
        store=goods_return.store,
        lines=lines,
        by=by,
        at=at,
        effective_on=timezone.localdate(at),
        subject=f"return:{goods_return.pk}",
        why=_("return %(number)s") % {"number": goods_return.number},
    )


def _note(
    goods_return: GoodsReturn,
    act: str,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    why: str = "",
    **figures: int,
) -> None:
    record(
        act=f"return.{act}",
        subject=goods_return,
        by=by,
        at=at,
        store=goods_return.store,
        after=dict(figures),
        why=why,
    )
