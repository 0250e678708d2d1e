"""The only writer of the books of pieces.

Double entry: a movement is made of lines, each takes pieces from one account of a
pocket to another, so every movement sums to zero. The balances change in the same
transaction by conditional updates in the order of their rows, so that nothing inside
the store falls below zero, however many ask at the same instant. Pieces that leave
the shelf name their cost layer: the earmark's own first, then the oldest.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NoReturn

from django.db import connection
from django.db.models import F, Sum
from django.utils.translation import gettext as _

from dealership.rules.refusals import Refusal
from inventory.domain.locks import lock_layers
from inventory.domain.once import once
from inventory.models import Balance, CostLayer, Entry, Movement
from inventory.models.ledger import ACCOUNT_WORDS
from inventory.rules.accounts import INSIDE, ON_HAND, POSTINGS, Account, MovementKind
from inventory.rules.costing import SHELF, LayerLeft, share_out


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from dealership.models import StaffMember, Store
    from inventory.models import BinLocation, Earmark, Part

    Pocket = tuple[int, int | None]


@dataclass(frozen=True, kw_only=True)
class Line:
    """Pieces of one pocket that go from one account to another.

    ``layer`` is given where pieces come in (the layer made for them) and where the
    caller knows which pieces it means; otherwise the ledger chooses.
    """

    part: Part
    earmark: Earmark | None
    source: Account
    target: Account
    quantity: int
    layer: CostLayer | None = None


class NotEnough(Refusal):
    """Fewer pieces stand on an account than are to leave it."""

    def __init__(self, part: Part, account: Account, wanted: int, there: int) -> None:
        super().__init__(
            _(
                "%(part)s: %(wanted)d pieces are wanted, %(there)d are %(account)s. "
                "Take fewer, or wait for the next delivery."
            )
            % {
                "part": part.number,
                "wanted": wanted,
                "there": there,
                "account": ACCOUNT_WORDS[account],
            }
        )
        self.part = part
        self.account = account
        self.wanted = wanted
        self.there = there


class NotPieces(Refusal):
    """A number of pieces that is not one or more."""

    def __init__(self, part: Part, quantity: int) -> None:
        super().__init__(
            _("%(part)s: %(quantity)d is no number of pieces. Give one or more.")
            % {"part": part.number, "quantity": quantity}
        )
        self.part = part
        self.quantity = quantity


class KeyUsedOtherwise(Refusal):
    """The key of this act already stands on another kind of act."""

    def __init__(self, key: str) -> None:
        super().__init__(
            _("This form was already used for something else. Open it again.")
        )
        self.key = key


def post(
    *,
    key: str,
    kind: MovementKind,
    store: Store,
    lines: Sequence[Line],
    by: StaffMember | None,
    at: dt.datetime,
    effective_on: dt.date,
    subject: str = "",
    why: str = "",
    reverses: Movement | None = None,
) -> Movement:
    """Write one movement with its entries and move the balances, all or nothing.

    The same ``key`` again answers with the first movement. The verb that calls this
    writes the audit line. Raises NotEnough, NotPieces, KeyUsedOtherwise; ValueError
    for a line that its kind does not allow.
    """
    _check(kind, lines)

    def found() -> Movement | None:
        first = Movement.objects.filter(key=key).first()
        if first and (first.kind, first.store_id) != (kind, store.pk):
            raise KeyUsedOtherwise(key)
        return first

    def act() -> Movement:
        movement = Movement.objects.create(
            key=key,
            kind=kind,
            store=store,
            subject=subject,
            why=why[:200],
            reverses=reverses,
            by=by,
            recorded_at=at,
            effective_on=effective_on,
        )
        _move_balances(store, lines)
        layered = _with_layers(store, lines, back=reverses is not None)
        Entry.objects.bulk_create(_entries(movement, store, layered))
        return movement

    return once(found=found, act=act, look_first=False)


def reverse(
    *,
    movement: Movement,
    key: str,
    by: StaffMember | None,
    at: dt.datetime,
    effective_on: dt.date,
    why: str,
) -> Movement:
    """Correct a movement by its mirror image; the first one stays as it was written.

    A movement is reversed at most once. Raises NotEnough where its pieces have gone
    on since.
    """
    entries = movement.entries.select_related("part", "earmark", "layer")
    pairs = list(entries.order_by("id"))
    lines = [
        Line(
            part=out.part,
            earmark=out.earmark,
            source=Account(into.account),
            target=Account(out.account),
            quantity=into.quantity,
            layer=out.layer,
        )
        for out, into in zip(pairs[::2], pairs[1::2], strict=True)
    ]
    return post(
        key=key,
        kind=MovementKind.CORRECT,
        store=movement.store,
        lines=lines,
        by=by,
        at=at,
        effective_on=effective_on,
        subject=movement.subject,
        why=why,
        reverses=movement,
    )


def ensure_pockets(*, store: Store, pockets: Iterable[Pocket]) -> dict[Pocket, int]:
    """Give the row of each pocket (part id, earmark id), made where there is none."""
    wanted = set(pockets)
    have = _pocket_rows(store, wanted)
    missing = sorted(wanted - have.keys(), key=lambda one: (one[0], one[1] or 0))
    if missing:
        Balance.objects.bulk_create(
            [
                Balance(store=store, part_id=part_id, earmark_id=earmark_id)
                for part_id, earmark_id in missing
            ],
            ignore_conflicts=True,
        )
        have = _pocket_rows(store, wanted)
    return have


def note_promised(
    *, store: Store, part_id: int, earmark_id: int | None, pieces: int
) -> None:
    """Add to what a pocket's coming deliveries are promised for; below zero: take off.

    Whoever makes, keeps or lets go a promise calls it in the same transaction, with
    the pockets held.
    """
    Balance.objects.filter(store=store, part=part_id, earmark=earmark_id).update(
        promised=F("promised") + pieces
    )


def keep_in_bin(
    *, store: Store, part: Part, earmark: Earmark | None, place: BinLocation
) -> None:
    """Note where the pieces of a pocket lie."""
    pocket = (part.pk, earmark.pk if earmark else None)
    rows = ensure_pockets(store=store, pockets=[pocket])
    Balance.objects.filter(pk=rows[pocket]).update(bin=place)


def _pocket_rows(store: Store, pockets: set[Pocket]) -> dict[Pocket, int]:
    rows = Balance.objects.filter(
        store=store, part_id__in={part_id for part_id, _earmark in pockets}
    ).values_list("part_id", "earmark_id", "pk")
    return {
        (part_id, earmark_id): pk
        for part_id, earmark_id, pk in rows
        if (part_id, earmark_id) in pockets
    }


def _check(kind: MovementKind, lines: Sequence[Line]) -> None:
    """Hold a movement to the postings of its kind, and each line to whole pieces."""
    if not lines:
        raise ValueError("a movement moves something")
    for line in lines:
        if line.quantity < 1:
            raise NotPieces(line.part, line.quantity)
        if (line.source, line.target) not in POSTINGS[kind]:
            raise ValueError(f"{kind}: {line.source} to {line.target} is no posting")


def _pocket(line: Line) -> Pocket:
    return line.part.pk, line.earmark.pk if line.earmark else None


def _move_balances(store: Store, lines: Sequence[Line]) -> None:
    """Change each pocket by one conditional update, in the order of the rows."""
    changes: dict[Pocket, dict[Account, int]] = defaultdict(lambda: defaultdict(int))
    for line in lines:
        changes[_pocket(line)][line.source] -= line.quantity
        changes[_pocket(line)][line.target] += line.quantity
    if len(changes) == 1:
        # one row needs no order: no look for its number
        ((pocket, change),) = changes.items()
        if _change(change, _of_pocket(store, pocket)):
            return
    rows = ensure_pockets(store=store, pockets=changes)
    parts = {line.part.pk: line.part for line in lines}
    for pocket in sorted(changes, key=rows.__getitem__):
        if not _change(changes[pocket], {"id": rows[pocket]}):
            _refuse(rows[pocket], parts[pocket[0]], changes[pocket])


def _of_pocket(store: Store, pocket: Pocket) -> dict[str, int | None]:
    part_id, earmark_id = pocket
    return {"store_id": store.pk, "part_id": part_id, "earmark_id": earmark_id}


def _change(change: Mapping[Account, int], row: Mapping[str, int | None]) -> bool:
    """Move one pocket's accounts unless one inside the store would fall below zero.

    The statement is written by hand, for it stands in every act and the ORM takes
    longer to build it than the database to run it. All names in it are our own.
    """
    moved = [(f"{account} = {account} + %s", n) for account, n in change.items()]
    same = [
        (f"{name} = %s", value) if value is not None else (f"{name} IS NULL", None)
        for name, value in row.items()
    ]
    floors = [
        (f"{account} >= %s", -n)
        for account, n in change.items()
        if n < 0 and account in INSIDE
    ]
    terms = same + floors
    sql = "UPDATE inventory_balance SET {} WHERE {}".format(  # noqa: S608 (names of accounts and columns only; every value is a parameter)
        ", ".join(words for words, _value in moved),
        " AND ".join(words for words, _value in terms),
    )
    values = [value for _words, value in moved + terms if value is not None]
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return bool(cursor.rowcount)


def _refuse(pk: int, part: Part, change: Mapping[Account, int]) -> NoReturn:
    """Say which account of a pocket holds too little."""
    balance = Balance.objects.get(pk=pk)
    for account, amount in change.items():
        there = getattr(balance, account)
        if amount < 0 and account in INSIDE and there < -amount:
            raise NotEnough(part, account, -amount, there)
    raise NotEnough(part, Account.FREE, max(map(abs, change.values())), balance.free)


def _with_layers(
    store: Store, lines: Sequence[Line], *, back: bool
) -> list[tuple[Line, CostLayer | None, int]]:
    """Name the cost layer of each piece that comes in, leaves, or is put aside.

    ``back``: pieces that come in return to the layer that they were taken from.
    """
    parts = {line.part.pk for line in lines if _takes_layer(line)}
    layers = lock_layers(store=store, part_ids=parts) if parts else []
    left = _what_is_left(layers)
    placed: list[tuple[Line, CostLayer | None, int]] = []
    for line in lines:
        if line.layer or not _takes_layer(line):
            shares: list[tuple[CostLayer | None, int]] = [(line.layer, line.quantity)]
        else:
            shares = list(_share_out(line, layers, left))
        for layer, pieces in shares:
            if layer and layer.pk in left:
                left[layer.pk].move(line.source, line.target, pieces)
            placed.append((line, layer, pieces))
    _take(placed, back=back)
    return placed


def _share_out(
    line: Line, layers: Sequence[CostLayer], left: Mapping[int, LayerLeft]
) -> list[tuple[CostLayer, int]]:
    """Choose the layers of one line among those of its part."""
    of_part = {layer.pk: layer for layer in layers if layer.part_id == line.part.pk}
    shares = share_out(
        [left[pk] for pk in of_part],
        earmark=line.earmark.pk if line.earmark else None,
        account=line.source,
        quantity=line.quantity,
    )
    return [(of_part[pk], pieces) for pk, pieces in shares]


def _take(placed: Sequence[tuple[Line, CostLayer | None, int]], *, back: bool) -> None:
    """Keep in each layer how many of its pieces have left the shelves."""
    taken: dict[int, int] = defaultdict(int)
    for line, layer, pieces in placed:
        if layer is None:
            continue
        if line.source in ON_HAND and line.target not in ON_HAND:
            taken[layer.pk] += pieces
        elif back and line.source not in ON_HAND and line.target in ON_HAND:
            taken[layer.pk] -= pieces
    for pk in sorted(taken):
        CostLayer.objects.filter(pk=pk).update(taken=F("taken") + taken[pk])


def _takes_layer(line: Line) -> bool:
    """Tell whether pieces leave the shelf, or quarantine, by this line."""
    if line.source in SHELF:
        return line.target not in SHELF
    return line.source is Account.QUARANTINE


def _what_is_left(layers: Sequence[CostLayer]) -> dict[int, LayerLeft]:
    """Give what is left of each layer, and how much of it stands in quarantine."""
    aside = dict(
        Entry.objects.filter(layer__in=layers, account=Account.QUARANTINE)
        .order_by()
        .values_list("layer")
        .annotate(Sum("quantity"))
        if layers
        else ()
    )
    return {
        layer.pk: LayerLeft(
            layer=layer.pk,
            earmark=layer.earmark_id,
            received_on=layer.received_on,
            shelf=layer.quantity - layer.taken - aside.get(layer.pk, 0),
            quarantine=aside.get(layer.pk, 0),
        )
        for layer in layers
    }


def _entries(
    movement: Movement,
    store: Store,
    placed: Iterable[tuple[Line, CostLayer | None, int]],
) -> list[Entry]:
    """Write each line as two entries, one after the other: out and in."""
    return [
        Entry(
            movement=movement,
            store=store,
            part=line.part,
            earmark=line.earmark,
            account=account,
            quantity=quantity,
            layer=layer,
        )
        for line, layer, pieces in placed
        for account, quantity in ((line.source, -pieces), (line.target, pieces))
    ]
