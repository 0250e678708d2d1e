"""Pieces from one store to another: sent, arrived (short or damaged), called back.

They stay the sending store's own, on its TRANSIT account, until they have arrived; then
they stand in the other store in layers of the same cents, bill and age. What was lost
on the way is the sending store's to explain.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.domain.series import next_number
from dealership.rules.refusals import Refusal
from inventory.domain.ledger import Line, NotPieces, ensure_pockets, post, reverse
from inventory.domain.locks import lock_pockets
from inventory.domain.once import once
from inventory.domain.promises import keep_promises
from inventory.domain.quarantine import put_aside
from inventory.domain.reserving import PartRecalled
from inventory.domain.spare import hold_spare
from inventory.models import (
    CostLayer,
    Entry,
    Movement,
    QuarantineLot,
    Transfer,
    TransferLine,
)
from inventory.models.shelf import TRANSFER_WORDS
from inventory.rules.accounts import Account, LotKind, MovementKind, TransferState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Part

    Share = tuple[CostLayer, int]


@dataclass(frozen=True, kw_only=True)
class Arrived:
    """What came of one line; the rest of what was sent is lost."""

    good: int
    damaged: int = 0


class NothingSent(Refusal):
    """A transfer without a line."""

    def __init__(self) -> None:
        super().__init__(_("The transfer has no line. Say which part and how many."))


class SameStore(Refusal):
    """A transfer from a store to itself."""

    def __init__(self, store: Store) -> None:
        super().__init__(
            _("The pieces are in %(store)s already. Choose another store.")
            % {"store": store.name}
        )
        self.store = store


class TransferOver(Refusal):
    """The transfer has ended in another way, or with another count."""

    def __init__(self, transfer: Transfer) -> None:
        super().__init__(
            _(
                "Transfer %(number)s is %(state)s already, with other figures or in "
                "another way. Look at it again; a wrong count is corrected by counting "
                "the shelf."
            )
            % {
                "number": transfer.number,
                "state": TRANSFER_WORDS[TransferState(transfer.state)],
            }
        )
        self.transfer = transfer


class ArrivalDoesNotFit(Refusal):
    """A line of a transfer has no count, one below zero, or more than was sent."""

    def __init__(self, line: TransferLine) -> None:
        super().__init__(
            _(
                "%(part)s: %(sent)d were sent. Say how many came in order and how many "
                "damaged, together no more than that; 0 for none."
            )
            % {"part": line.part.number, "sent": line.quantity}
        )
        self.line = line


def send_pieces(
    *,
    key: str,
    store: Store,
    to_store: Store,
    earmark: Earmark | None,
    lines: Mapping[Part, int],
    expected_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    why: str = "",
) -> Transfer:
    """Send free pieces of one pocket to another store; the earmark stays on them.

    Pieces that a promise or an offer counts on stay. The same ``key`` again gives the
    first transfer. Raises NothingSent, SameStore, PartRecalled, NotPieces, NotEnough,
    OfferedToOthers.
    """
    if not lines:
        raise NothingSent
    if store.pk == to_store.pk:
        raise SameStore(store)
    for part in lines:
        if part.recalled:
            raise PartRecalled(part)

    def act() -> Transfer:
        today = timezone.localdate(at)
        hold_spare(store=store, earmark=earmark, lines=lines, today=today)
        transfer = Transfer.objects.create(
            store=store,
            to_store=to_store,
            number=next_number(store=store, kind="transfer"),
            key=key,
            earmark=earmark,
            why=why[:200],
            expected_on=expected_on,
            sent_by=by,
            sent_at=at,
        )
        for part, pieces in lines.items():
            TransferLine.objects.create(transfer=transfer, part=part, quantity=pieces)
        post(
            key=_key(transfer, "sent"),
            kind=MovementKind.SEND,
            store=store,
            lines=[
                _line(transfer, part, Account.FREE, Account.TRANSIT, pieces)
                for part, pieces in lines.items()
            ],
            by=by,
            at=at,
            effective_on=today,
            subject=f"transfer:{transfer.pk}",
            why=_("to %(store)s. %(why)s") % {"store": to_store.name, "why": why},
        )
        _note(transfer, "sent", store, by=by, at=at, pieces=sum(lines.values()))
        return transfer

    return once(found=lambda: Transfer.objects.filter(key=key).first(), act=act)


def receive_transfer(
    *,
    transfer: Transfer,
    counts: Mapping[int, Arrived],
    by: StaffMember | None,
    at: dt.datetime,
) -> Transfer:
    """Count a transfer into the store that it was sent to, all lines at once.

    ``counts`` by line id. Pieces in order are free, damaged ones go into quarantine,
    the rest is lost and stands as a difference in the store that sent. Promises are
    kept from what came. The same counts again change nothing. Raises
    ArrivalDoesNotFit, TransferOver.
    """
    with transaction.atomic():
        lines = list(transfer.lines.select_related("part").order_by("pk"))
        for line in lines:
            _check(line, counts.get(line.pk))
        if not _end(transfer, TransferState.ARRIVED, by=by, at=at):
            return _as_it_is(transfer, lines, counts)
        transfer = Transfer.objects.select_related("store", "to_store", "earmark").get(
            pk=transfer.pk
        )
        _hold_both(transfer, lines)
        sent = _layers_sent(transfer)
        gone: list[Line] = []
        came: list[Line] = []
        for line in lines:
            count = counts[line.pk]
            gone_here, came_here = _count_line(
                transfer, line, count, sent[line.part_id], by=by, at=at
            )
            gone += gone_here
            came += came_here
        _post_arrival(transfer, gone, came, by=by, at=at)
        _keep_recalled_aside(transfer, lines, by=by, at=at)
        _give_out(transfer, lines, by=by, at=at)
        _note(
            transfer,
            "arrived",
            transfer.to_store,
            by=by,
            at=at,
            good=sum(line.good or 0 for line in lines),
            damaged=sum(line.damaged or 0 for line in lines),
            lost=sum(line.lost or 0 for line in lines),
        )
        return transfer


def call_back(
    *, transfer: Transfer, by: StaffMember | None, at: dt.datetime, why: str
) -> Transfer:
    """Undo a transfer that has not left after all; its pieces are free again.

    They go back into the very layers they came from. A repeat changes nothing. Raises
    TransferOver when it has arrived.
    """
    with transaction.atomic():
        if not _end(transfer, TransferState.CALLED_BACK, by=by, at=at):
            transfer = Transfer.objects.get(pk=transfer.pk)
            if transfer.state != TransferState.CALLED_BACK:
                raise TransferOver(transfer)
            return transfer
        transfer = Transfer.objects.select_related("store").get(pk=transfer.pk)
        parts = {line.part for line in transfer.lines.select_related("part")}
        lock_pockets(store=transfer.store, part_ids=[part.pk for part in parts])
        reverse(
            movement=Movement.objects.get(key=_key(transfer, "sent")),
            key=_key(transfer, "called back"),
            by=by,
            at=at,
            effective_on=timezone.localdate(at),
            why=why,
        )
        _keep(transfer.store, parts, by=by, at=at)
        _note(transfer, "called_back", transfer.store, by=by, at=at, why=why)
        return transfer


def _check(line: TransferLine, count: Arrived | None) -> None:
    if count is None or min(count.good, count.damaged) < 0:
        raise ArrivalDoesNotFit(line)
    if count.good + count.damaged > line.quantity:
        raise ArrivalDoesNotFit(line)


def _end(
    transfer: Transfer, state: TransferState, *, by: StaffMember | None, at: dt.datetime
) -> bool:
    """End a transfer that is on its way; False where somebody else did."""
    going = Transfer.objects.filter(pk=transfer.pk, state=TransferState.SENT)
    return bool(going.update(state=state, ended_by=by, ended_at=at))


def _as_it_is(
    transfer: Transfer, lines: Sequence[TransferLine], counts: Mapping[int, Arrived]
) -> Transfer:
    """Give a transfer that arrived with the same counts; raises TransferOver."""
    transfer = Transfer.objects.get(pk=transfer.pk)
    same = all(
        (line.good, line.damaged) == (counts[line.pk].good, counts[line.pk].damaged)
        for line in lines
    )
    if transfer.state != TransferState.ARRIVED or not same:
        raise TransferOver(transfer)
    return transfer


def _hold_both(transfer: Transfer, lines: Sequence[TransferLine]) -> None:
    """Hold the pockets of both stores, in the one order of locks."""
    pocket = transfer.earmark_id
    ids = [line.part_id for line in lines]
    both = sorted((transfer.store, transfer.to_store), key=lambda one: one.pk)
    for store in both:
        ensure_pockets(store=store, pockets=[(part_id, pocket) for part_id in ids])
    for store in both:
        lock_pockets(store=store, part_ids=ids)


def _layers_sent(transfer: Transfer) -> dict[int, list[Share]]:
    """Give the layers of the pieces on their way, by part."""
    entries = Entry.objects.filter(
        movement__key=_key(transfer, "sent"), account=Account.TRANSIT
    )
    found: dict[int, list[Share]] = defaultdict(list)
    for entry in entries.select_related("layer").order_by("pk"):
        assert entry.layer is not None  # the ledger names one
        found[entry.part_id].append((entry.layer, entry.quantity))
    return found


def _count_line(
    transfer: Transfer,
    line: TransferLine,
    count: Arrived,
    sent: Sequence[Share],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> tuple[list[Line], list[Line]]:
    """Note one line; give what leaves the first store and what is free in the other."""
    line.good, line.damaged = count.good, count.damaged
    line.lost = line.quantity - count.good - count.damaged
    line.save(update_fields=["good", "damaged", "lost"])
    good, rest = _split(sent, count.good)
    damaged, lost = _split(rest, count.damaged)
    gone = [
        *_lines(transfer, line, Account.TRANSIT, Account.SUPPLIER, (*good, *damaged)),
        *_lines(transfer, line, Account.TRANSIT, Account.VARIANCE, lost),
    ]
    came = _lines(
        transfer,
        line,
        Account.SUPPLIER,
        Account.FREE,
        [(_layer_there(transfer, line, *one), one[1]) for one in good],
    )
    if damaged:
        _set_aside(transfer, line, damaged, by=by, at=at)
    return gone, came


def _split(shares: Sequence[Share], pieces: int) -> tuple[list[Share], list[Share]]:
    """Take the first pieces off some shares; give those and the rest."""
    first: list[Share] = []
    rest: list[Share] = []
    for layer, quantity in shares:
        taken = min(pieces, quantity)
        pieces -= taken
        if taken:
            first.append((layer, taken))
        if quantity > taken:
            rest.append((layer, quantity - taken))
    return first, rest


def _layer_there(
    transfer: Transfer, line: TransferLine, layer: CostLayer, pieces: int
) -> CostLayer:
    """Make the layer of the same cents, bill and age in the other store."""
    return CostLayer.objects.create(
        store=transfer.to_store,
        part=line.part,
        earmark=layer.earmark,
        bill_line=layer.bill_line,
        source=f"transfer_line:{line.pk}",
        unit_cost_cents=layer.unit_cost_cents,
        quantity=pieces,
        received_on=layer.received_on,
    )


def _set_aside(
    transfer: Transfer,
    line: TransferLine,
    damaged: Sequence[Share],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Bring damaged pieces straight into quarantine, as a lot of their own."""
    pieces = sum(quantity for _layer, quantity in damaged)
    why = _("damaged on transfer %(number)s from %(store)s") % {
        "number": transfer.number,
        "store": transfer.store.name,
    }
    lot = QuarantineLot.objects.create(
        store=transfer.to_store,
        part=line.part,
        earmark=transfer.earmark,
        key=f"transfer_line:{line.pk}",
        kind=LotKind.DAMAGED,
        quantity=pieces,
        left=pieces,
        why=why,
        opened_by=by,
        opened_at=at,
    )
    post(
        key=_key(transfer, f"damaged/{line.pk}"),
        kind=MovementKind.ARRIVE,
        store=transfer.to_store,
        lines=_lines(
            transfer,
            line,
            Account.SUPPLIER,
            Account.QUARANTINE,
            [(_layer_there(transfer, line, *one), one[1]) for one in damaged],
        ),
        by=by,
        at=at,
        effective_on=timezone.localdate(at),
        subject=lot.subject,
        why=why,
    )


def _post_arrival(
    transfer: Transfer,
    gone: list[Line],
    came: list[Line],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Take the pieces out of the first store's books and into the other's."""
    steps = (
        (transfer.store, "gone", gone, _("arrived in %(store)s"), transfer.to_store),
        (transfer.to_store, "came", came, _("from %(store)s"), transfer.store),
    )
    for store, step, lines, why, other in steps:
        if lines:
            post(
                key=_key(transfer, step),
                kind=MovementKind.ARRIVE,
                store=store,
                lines=lines,
                by=by,
                at=at,
                effective_on=timezone.localdate(at),
                subject=f"transfer:{transfer.pk}",
                why=why % {"store": other.name},
            )


def _keep_recalled_aside(
    transfer: Transfer,
    lines: Sequence[TransferLine],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Put aside at once what was recalled while it was on the way."""
    for line in lines:
        if line.good and line.part.recalled:
            put_aside(
                key=f"transfer_line:{line.pk}/recalled",
                store=transfer.to_store,
                part=line.part,
                earmark=transfer.earmark,
                quantity=line.good,
                kind=LotKind.RECALLED,
                by=by,
                at=at,
                why=_("recalled while it was on the way"),
            )


def _give_out(
    transfer: Transfer,
    lines: Sequence[TransferLine],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Keep the promises of the other store, and leave the job that offers the rest."""
    parts = {line.part for line in lines if line.good and not line.part.recalled}
    _keep(transfer.to_store, parts, by=by, at=at)
    enqueue(
        kind="inventory.freed",
        arguments={
            "store_id": transfer.to_store_id,
            "part_ids": sorted(part.pk for part in parts),
        },
        by=by,
        store=transfer.to_store,
        now=at,
        unique_key=f"transfer {transfer.pk}",
    )


def _keep(
    store: Store, parts: set[Part], *, by: StaffMember | None, at: dt.datetime
) -> None:
    today = timezone.localdate(at)
    for part in sorted(parts, key=lambda one: one.pk):
        keep_promises(store=store, part=part, by=by, at=at, today=today)


def _lines(
    transfer: Transfer,
    line: TransferLine,
    source: Account,
    target: Account,
    shares: Sequence[Share],
) -> list[Line]:
    return [
        _line(transfer, line.part, source, target, pieces, layer=layer)
        for layer, pieces in shares
    ]


def _line(
    transfer: Transfer,
    part: Part,
    source: Account,
    target: Account,
    pieces: int,
    *,
    layer: CostLayer | None = None,
) -> Line:
    if pieces < 1:
        raise NotPieces(part, pieces)
    return Line(
        part=part,
        earmark=transfer.earmark,
        source=source,
        target=target,
        quantity=pieces,
        layer=layer,
    )


def _key(transfer: Transfer, step: str) -> str:
    return f"transfer:{transfer.pk}/{step}"


def _note(
    transfer: Transfer,
    act: str,
    store: Store,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    why: str = "",
    **figures: int,
) -> None:
    record(
        act=f"transfer.{act}",
        subject=transfer,
        by=by,
        at=at,
        store=store,
        after=dict(figures),
        why=why,
    )
