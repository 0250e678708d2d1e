"""Pieces put aside so that nobody can issue them, and taken back or scrapped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from dealership.domain.audit import record
from inventory.domain.ledger import Line, post
from inventory.domain.once import once
from inventory.domain.reserving import PartRecalled, keep_promises
from inventory.models import Movement
from inventory.rules.accounts import Account, MovementKind


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Part


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
) -> Movement:
    """Put free pieces into quarantine. Raises NotEnough, NotPieces."""
    line = _line(part, earmark, Account.FREE, Account.QUARANTINE, quantity)
    return _post(key, MovementKind.QUARANTINE, store, line, by=by, at=at, why=why)


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
) -> Movement:
    """Free pieces from quarantine; those who wait get them first.

    Raises NotEnough, NotPieces, and PartRecalled: recalled stock stays where it is.
    """
    if part.recalled:
        raise PartRecalled(part)
    line = _line(part, earmark, Account.QUARANTINE, Account.FREE, quantity)
    with transaction.atomic():
        movement = _post(
            key, MovementKind.QUARANTINE, store, line, by=by, at=at, why=why
        )
        today = timezone.localdate(at)
        keep_promises(store=store, part=part, by=by, at=at, today=today)
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
) -> Movement:
    """Scrap pieces that stand in quarantine. Raises NotEnough, NotPieces."""
    line = _line(part, earmark, Account.QUARANTINE, Account.SCRAPPED, quantity)
    return _post(key, MovementKind.SCRAP, store, line, by=by, at=at, why=why)


def _line(
    part: Part,
    earmark: Earmark | None,
    source: Account,
    target: Account,
    quantity: int,
) -> Line:
    return Line(
        part=part, earmark=earmark, source=source, target=target, quantity=quantity
    )


def _post(
    key: str,
    kind: MovementKind,
    store: Store,
    line: Line,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
) -> Movement:
    """Post one line and write it into the trail, once a key."""

    def act() -> Movement:
        movement = post(
            key=key,
            kind=kind,
            store=store,
            lines=[line],
            by=by,
            at=at,
            effective_on=timezone.localdate(at),
            why=why,
        )
        record(
            act=f"pieces.{line.source}_to_{line.target}",
            subject=movement,
            by=by,
            at=at,
            store=store,
            after={"part": line.part.pk, "pieces": line.quantity},
            why=why,
        )
        return movement

    return once(found=lambda: Movement.objects.filter(key=key).first(), act=act)
