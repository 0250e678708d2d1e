"""Counts of the shelves: prepared, counted blind, looked at, booked.

What lies on a shelf is free and held pieces together; whoever counts cannot tell them
apart. Quarantine lies apart and is counted lot by lot, where that is asked for; pieces
in dispute or boxed for a return are counted by their own papers. What the books say is
noted in the moment of the count, so that what moves until it is approved changes no
difference. A piece that is missing is taken from the free ones, or from its lot; where
a promise would lose its piece, whoever approves says whose. What is found beyond a lot
joins it: nothing leaves quarantine by a count.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.domain.series import next_number
from dealership.rules.refusals import Refusal
from inventory.domain.breaking import break_promises, promise_again
from inventory.domain.ledger import Line, NotPieces, ensure_pockets, post
from inventory.domain.locks import lock_pockets
from inventory.domain.once import once
from inventory.domain.promises import keep_promises
from inventory.domain.quarantine import take_from_lot
from inventory.models import (
    Balance,
    CostLayer,
    Movement,
    Part,
    QuarantineLot,
    Reservation,
    StockCount,
    StockCountLine,
)
from inventory.models.shelf import COUNT_WORDS
from inventory.queries.subjects import words_of_subjects
from inventory.rules.accounts import (
    Account,
    CountState,
    LotKind,
    MovementKind,
    ReservationState,
)


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from dealership.models import StaffMember, Store

MOST_LINES = 500
"""Lines of one count: what two people count in a day; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Booked:
    """What became of a count.

    ``told``: promises that have lost their pieces and found no others; somebody has to
    tell these people.
    """

    count: StockCount
    movements: tuple[Movement, ...]
    told: tuple[Reservation, ...]


class NothingToCount(Refusal):
    """A count without a line."""

    def __init__(self) -> None:
        super().__init__(
            _("Nothing lies there by the books. Choose another bin or other parts.")
        )


class TooMuchToCount(Refusal):
    """More lines than one count should have."""

    def __init__(self, lines: int) -> None:
        super().__init__(
            _("These are %(lines)d lines. Count in steps of %(most)d at most.")
            % {"lines": lines, "most": MOST_LINES}
        )
        self.lines = lines


class CountCannotMove(Refusal):
    """The count is in a state in which this cannot be done."""

    def __init__(self, count: StockCount) -> None:
        super().__init__(
            _("Count %(number)s is “%(state)s”, so this cannot be done any more.")
            % {
                "number": count.number,
                "state": COUNT_WORDS[CountState(count.state)],
            }
        )
        self.count = count


class LineNotFound(Refusal):
    """A line of a count has no figure."""

    def __init__(self, line: StockCountLine) -> None:
        super().__init__(
            _("%(part)s is not counted yet. Count every line, with 0 for none.")
            % {"part": line.part.number}
        )
        self.line = line


class DifferenceUnexplained(Refusal):
    """A difference without a reason."""

    def __init__(self, lines: Sequence[StockCountLine]) -> None:
        super().__init__(
            _("Give a reason for each difference: %(parts)s.")
            % {"parts": ", ".join(line.part.number for line in lines)}
        )
        self.lines = tuple(lines)


class CountedByThemselves(Refusal):
    """Who counted approves their own difference although somebody else could."""

    def __init__(self, count: StockCount) -> None:
        super().__init__(
            _(
                "You counted this yourself and it differs from the books. Ask somebody "
                "else who may approve counts."
            )
        )
        self.count = count


class CountTakesPromised(Refusal):
    """Missing pieces are promised, and nobody has said whose promise is to go."""

    def __init__(
        self, line: StockCountLine, short: int, promises: Sequence[Reservation]
    ) -> None:
        words = words_of_subjects([row.subject for row in promises])
        named = "; ".join(
            _("%(pieces)d for %(whom)s on %(day)s")
            % {
                "pieces": row.quantity,
                "whom": words[row.subject].words,
                "day": row.needed_on.isoformat(),
            }
            for row in promises
        )
        super().__init__(
            _(
                "%(part)s: %(short)d of the missing pieces are promised (%(named)s). "
                "Say whose promise is taken back."
            )
            % {"part": line.part.number, "short": short, "named": named}
        )
        self.line = line
        self.short = short
        self.promises = tuple(promises)


def prepare_count(
    *,
    key: str,
    store: Store,
    pockets: Sequence[Balance],
    about: str,
    by: StaffMember | None,
    at: dt.datetime,
    lots: Sequence[QuarantineLot] = (),
) -> StockCount:
    """Draw up a count of some pockets of a store, in the order of their bins.

    ``lots`` in quarantine come after the shelves. The same ``key`` again gives the
    first count. Raises NothingToCount, TooMuchToCount.
    """
    number = len(pockets) + len(lots)
    if not number:
        raise NothingToCount
    if number > MOST_LINES:
        raise TooMuchToCount(number)

    def act() -> StockCount:
        count = StockCount.objects.create(
            store=store,
            number=next_number(store=store, kind="count"),
            key=key,
            about=about[:80],
            prepared_by=by,
            prepared_at=at,
        )
        StockCountLine.objects.bulk_create(
            [
                StockCountLine(
                    count=count,
                    part_id=one.part_id,
                    earmark_id=one.earmark_id,
                    bin_id=one.bin_id,
                )
                for one in sorted(pockets, key=_place)
            ]
            + [
                StockCountLine(
                    count=count, part_id=one.part_id, earmark_id=one.earmark_id, lot=one
                )
                for one in lots
            ]
        )
        record(
            act="count.prepared",
            subject=count,
            by=by,
            at=at,
            store=store,
            after={"lines": number},
        )
        return count

    return once(found=lambda: StockCount.objects.filter(key=key).first(), act=act)


def _place(pocket: Balance) -> tuple[bool, str, str, int]:
    """Order pockets as one walks along the shelves; those without a bin come last."""
    code = pocket.bin.code if pocket.bin else ""
    return (not code, code, pocket.part.number, pocket.pk)


def enter_count(
    *,
    count: StockCount,
    found: Mapping[int, int],
    by: StaffMember | None,
    at: dt.datetime,
) -> StockCount:
    """Note what was found, by line id, and what the books say in the same moment.

    Nothing is booked yet. The same figures again change nothing. Raises LineNotFound,
    NotPieces, CountCannotMove.
    """
    with transaction.atomic():
        lines = list(count.lines.select_related("part", "earmark").order_by("pk"))
        for line in lines:
            if line.pk not in found:
                raise LineNotFound(line)
            if found[line.pk] < 0:
                raise NotPieces(line.part, found[line.pk])
        open_one = StockCount.objects.filter(pk=count.pk, state=CountState.PREPARED)
        if not open_one.update(state=CountState.ENTERED, counted_by=by, counted_at=at):
            return _entered(count, lines, found)
        shelf = _shelf(count, lines)
        lots = QuarantineLot.objects.in_bulk(
            [line.lot_id for line in lines if line.lot_id]
        )
        for line in lines:
            line.found = found[line.pk]
            line.in_books = (
                lots[line.lot_id].left
                if line.lot_id
                else shelf.get((line.part_id, line.earmark_id), 0)
            )
            line.save(update_fields=["found", "in_books"])
        record(
            act="count.entered",
            subject=count,
            by=by,
            at=at,
            store=count.store,
            after={
                "found": sum(line.found or 0 for line in lines),
                "in_books": sum(line.in_books or 0 for line in lines),
            },
        )
        return StockCount.objects.get(pk=count.pk)


def _entered(
    count: StockCount, lines: Sequence[StockCountLine], found: Mapping[int, int]
) -> StockCount:
    """Give a count that was entered with the same figures; raises CountCannotMove."""
    count = StockCount.objects.get(pk=count.pk)
    same = all(line.found == found[line.pk] for line in lines)
    if count.state != CountState.ENTERED or not same:
        raise CountCannotMove(count)
    return count


def _shelf(
    count: StockCount, lines: Sequence[StockCountLine]
) -> dict[tuple[int, int | None], int]:
    """Hold the pockets of a count and give what the books have on the shelf."""
    pockets = list(dict.fromkeys((line.part_id, line.earmark_id) for line in lines))
    ensure_pockets(store=count.store, pockets=pockets)
    held = lock_pockets(store=count.store, part_ids={line.part_id for line in lines})
    return {(one.part_id, one.earmark_id): one.free + one.held for one in held}


def count_again(
    *, count: StockCount, by: StaffMember | None, at: dt.datetime
) -> StockCount:
    """Throw the figures of a count away and have it counted anew.

    A repeat changes nothing. Raises CountCannotMove when it is booked or dropped.
    """
    with transaction.atomic():
        entered = StockCount.objects.filter(pk=count.pk, state=CountState.ENTERED)
        if not entered.update(
            state=CountState.PREPARED, counted_by=None, counted_at=None
        ):
            return _reached(count, CountState.PREPARED)
        before = {
            str(line.pk): [line.in_books, line.found] for line in count.lines.all()
        }
        count.lines.update(found=None, in_books=None, why="")
        record(
            act="count.thrown_away",
            subject=count,
            by=by,
            at=at,
            store=count.store,
            before=before,
        )
        return StockCount.objects.get(pk=count.pk)


def drop_count(
    *, count: StockCount, by: StaffMember | None, at: dt.datetime
) -> StockCount:
    """Give a count up; the books stay as they are.

    A repeat changes nothing. Raises CountCannotMove when it is booked.
    """
    with transaction.atomic():
        going = StockCount.objects.filter(
            pk=count.pk, state__in=[CountState.PREPARED, CountState.ENTERED]
        )
        if not going.update(state=CountState.DROPPED):
            return _reached(count, CountState.DROPPED)
        record(act="count.dropped", subject=count, by=by, at=at, store=count.store)
        return StockCount.objects.get(pk=count.pk)


def _reached(count: StockCount, state: CountState) -> StockCount:
    count = StockCount.objects.get(pk=count.pk)
    if count.state != state:
        raise CountCannotMove(count)
    return count


def book_count(
    *,
    count: StockCount,
    reasons: Mapping[int, str],
    taken_back: Sequence[int],
    others_may: bool,
    by: StaffMember | None,
    at: dt.datetime,
) -> Booked:
    """Approve a count and put its differences into the books.

    ``reasons`` by line id, one for each difference; ``taken_back`` are the promises
    (their row ids) that lose their pieces; they are promised anew where something else
    is there in time. ``others_may``: somebody else of the store may approve counts, so
    that nobody passes their own difference. A repeat gives the first result. Raises
    DifferenceUnexplained, CountedByThemselves, CountTakesPromised, CountCannotMove.
    """
    with transaction.atomic():
        going = StockCount.objects.filter(pk=count.pk, state=CountState.ENTERED)
        if not going.update(state=CountState.BOOKED, approved_by=by, approved_at=at):
            count = _reached(count, CountState.BOOKED)
            return Booked(count=count, movements=_movements(count), told=())
        count = StockCount.objects.select_related("store").get(pk=count.pk)
        lines = list(
            count.lines.select_related("part", "earmark", "lot").order_by(
                "part_id", "pk"
            )
        )
        different = [line for line in lines if line.difference]
        _explain(count, different, reasons, others_may=others_may, by=by)
        _shelf(count, lines)
        why = _("count %(number)s") % {"number": count.number}
        broken = break_promises(
            store=count.store,
            ids=_of_count(different, taken_back),
            by=by,
            at=at,
            why=why,
        )
        for line in _on_the_shelf(different):
            if line.difference < 0:
                _refuse_promised(count, line)
        movements = [_book_line(count, line, by=by, at=at) for line in different]
        told = _give_out(count, different, broken, by=by, at=at)
        record(
            act="count.booked",
            subject=count,
            by=by,
            at=at,
            store=count.store,
            after={
                "missing": -sum(min(line.difference, 0) for line in lines),
                "surplus": sum(max(line.difference, 0) for line in lines),
                "promises_taken_back": [row.pk for row in broken],
            },
        )
        return Booked(count=count, movements=tuple(movements), told=tuple(told))


def _explain(
    count: StockCount,
    different: Sequence[StockCountLine],
    reasons: Mapping[int, str],
    *,
    others_may: bool,
    by: StaffMember | None,
) -> None:
    """Keep a reason for each difference; a second pair of eyes where there is one."""
    silent = [line for line in different if not reasons.get(line.pk, "").strip()]
    if silent:
        raise DifferenceUnexplained(silent)
    if different and others_may and by and count.counted_by_id == by.pk:
        raise CountedByThemselves(count)
    for line in different:
        line.why = reasons[line.pk].strip()[:200]
        line.save(update_fields=["why"])


def _of_count(different: Sequence[StockCountLine], ids: Sequence[int]) -> list[int]:
    """Keep the promises whose pocket is short in this count."""
    short = {
        (line.part_id, line.earmark_id)
        for line in _on_the_shelf(different)
        if line.difference < 0
    }
    rows = Reservation.objects.filter(pk__in=ids)
    return [row.pk for row in rows if (row.part_id, row.earmark_id) in short]


def _on_the_shelf(lines: Sequence[StockCountLine]) -> list[StockCountLine]:
    """Leave out what lies in quarantine: nothing there is promised to anybody."""
    return [line for line in lines if line.lot_id is None]


def in_the_way(
    *, count: StockCount, lines: Sequence[StockCountLine]
) -> list[Reservation]:
    """Give the holds of the lines of which more is missing than is free."""
    free = {
        (one.part_id, one.earmark_id): one.free
        for one in Balance.objects.filter(
            store=count.store, part__in={line.part_id for line in lines}
        )
    }
    return [
        row
        for line in _on_the_shelf(lines)
        if -line.difference > free.get((line.part_id, line.earmark_id), 0)
        for row in promises_on(count=count, line=line)
    ]


def promises_on(*, count: StockCount, line: StockCountLine) -> list[Reservation]:
    """Give the holds on the pocket of a line, the one needed last first."""
    rows = Reservation.objects.filter(
        store=count.store,
        part=line.part,
        earmark=line.earmark,
        state=ReservationState.HELD,
    )
    return list(rows.select_related("part").order_by("-needed_on", "-pk"))


def _refuse_promised(count: StockCount, line: StockCountLine) -> None:
    """Refuse to take pieces that are still held for somebody."""
    pocket = Balance.objects.get(
        store=count.store, part=line.part, earmark=line.earmark
    )
    short = -line.difference - pocket.free
    if short > 0:
        raise CountTakesPromised(line, short, promises_on(count=count, line=line))


def _book_line(
    count: StockCount, line: StockCountLine, *, by: StaffMember | None, at: dt.datetime
) -> Movement:
    """Post one difference: missing pieces leave their layers, others get a new one."""
    place = Account.QUARANTINE if line.lot else Account.FREE
    more = line.difference > 0
    shares: list[tuple[CostLayer | None, int]]
    if more:
        shares = [(_found_layer(count, line, at), line.difference)]
        if line.lot:
            _add_to_lot(line.lot, line.difference)
    elif line.lot:
        shares = list(take_from_lot(lot=line.lot, quantity=-line.difference))
    else:
        shares = [(None, -line.difference)]
    why = line.why
    if line.lot:  # it stands among the acts of the lot, so it names the count
        why = _("count %(number)s: %(why)s") % {"number": count.number, "why": why}
    return post(
        key=f"count_line:{line.pk}",
        kind=MovementKind.COUNT,
        store=count.store,
        lines=[
            Line(
                part=line.part,
                earmark=line.earmark,
                source=Account.VARIANCE if more else place,
                target=place if more else Account.VARIANCE,
                quantity=pieces,
                layer=layer,
            )
            for layer, pieces in shares
        ],
        by=by,
        at=at,
        effective_on=timezone.localdate(at),
        subject=line.lot.subject if line.lot else f"count:{count.pk}",
        why=why[:200],
    )


def _add_to_lot(lot: QuarantineLot, pieces: int) -> None:
    """Let pieces that were found beyond a lot join it; they are of its kind."""
    QuarantineLot.objects.filter(pk=lot.pk).update(
        quantity=F("quantity") + pieces, left=F("left") + pieces
    )


def _found_layer(count: StockCount, line: StockCountLine, at: dt.datetime) -> CostLayer:
    """Make the layer of pieces found: at the cents of the pocket's latest one.

    Parts that came out of vehicles have cost nothing.
    """
    of_part = CostLayer.objects.filter(store=count.store, part=line.part)
    last = of_part.filter(earmark=line.earmark).order_by("received_on", "pk").last()
    cents = last.unit_cost_cents if last else line.part.unit_cost_cents
    if line.lot and line.lot.kind == LotKind.REMOVED:
        cents = 0
    return CostLayer.objects.create(
        store=count.store,
        part=line.part,
        earmark=line.earmark,
        source=f"count_line:{line.pk}",
        unit_cost_cents=cents,
        quantity=line.difference,
        received_on=timezone.localdate(at),
    )


def _give_out(
    count: StockCount,
    different: Sequence[StockCountLine],
    broken: Sequence[Reservation],
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> list[Reservation]:
    """Keep promises from what was found, and promise anew what lost its pieces."""
    today = timezone.localdate(at)
    ids = sorted({line.part_id for line in _on_the_shelf(different)})
    for part in Part.objects.filter(pk__in=ids).order_by("pk"):
        keep_promises(store=count.store, part=part, by=by, at=at, today=today)
    left_out = promise_again(broken=broken, by=by, at=at)
    if ids:
        enqueue(
            kind="inventory.freed",
            arguments={"store_id": count.store_id, "part_ids": ids},
            by=by,
            store=count.store,
            now=at,
            unique_key=f"count {count.pk}",
        )
    return left_out


def _movements(count: StockCount) -> tuple[Movement, ...]:
    keys = [f"count_line:{pk}" for pk in count.lines.values_list("pk", flat=True)]
    return tuple(Movement.objects.filter(key__in=keys).order_by("pk"))
