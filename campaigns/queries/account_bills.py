"""Bills beside deliveries: billed, not yet arrived, here before its bill."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q, Sum
from django.utils.translation import gettext as _

from campaigns.queries.account_rows import Ledger, Row, Scope
from inventory.models import BillLine, CostLayer, ShipmentLine
from inventory.rules.accounts import Account as Place
from inventory.rules.accounts import MovementKind


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from inventory.models import Bill


def gather_bills(scope: Scope) -> None:
    """Put bills on the left; on the right what of them has not been counted in yet."""
    lines = list(
        BillLine.objects.filter(scope.layers("bill__"))
        .select_related("bill", "part")
        .order_by("bill__dated", "pk")
    )
    counted = dict(
        ShipmentLine.objects.filter(
            bill_line__bill__store__in=scope.stores,
            bill_line__bill__earmark__in=scope.earmarks,
            good__isnull=False,
        )
        .order_by()
        .values_list("bill_line")
        .annotate(Sum("sent"))
    )
    for line_id, pieces in _moved_to_the_price(scope):
        counted[line_id] = counted.get(line_id, 0) + pieces
    early = _arrived_before_bill(scope)
    for line in lines:
        bill = line.bill
        ledger = scope.home(bill.earmark_id)
        ledger.add("billed", _bill_row(line, line.quantity))
        missing = line.quantity - counted.get(line.pk, 0)
        if missing < 0:
            ledger.add("received_before_bill", _bill_row(line, -missing))
            continue
        waiting = early[bill.earmark_id or 0, bill.store_id, line.part_id]
        missing = _match_early(line, missing, waiting, ledger)
        ledger.add("not_yet_arrived", _bill_row(line, missing))
    for (earmark, store, part), layers in early.items():
        for layer in layers:
            if layer.pieces:
                row = _early_row(layer, layer.pieces, store, part)
                scope.home(earmark).add("received_before_bill", row)


def _moved_to_the_price(scope: Scope) -> Iterable[tuple[int, int]]:
    """Give what came before its bill and stands at the price billed now, by bill line."""
    return (
        CostLayer.objects.filter(
            scope.layers(), source__startswith="bill_line:", bill_line__isnull=False
        )
        .order_by()
        .values_list("bill_line")
        .annotate(Sum("quantity"))
    )


def _bill_row(line: BillLine, pieces: int) -> Row:
    return Row(
        what=_("bill %(bill)s, %(part)s")
        % {"bill": line.bill.number, "part": line.part.number},
        since=line.bill.dated,
        pieces=pieces,
        cents=pieces * line.unit_cost_cents,
        store=line.bill.store_id,
        part=line.part_id,
    )


@dataclass(slots=True)
class _Early:
    """Pieces of a layer that came in without a bill, not matched to one yet."""

    part: str
    since: dt.date
    pieces: int
    unit_cents: int


def _arrived_before_bill(
    scope: Scope,
) -> defaultdict[tuple[int, int, int], list[_Early]]:
    """Give what came from the supplier in layers without a bill line."""
    found: defaultdict[tuple[int, int, int], list[_Early]] = defaultdict(list)
    from_supplier = Q(entries__account=Place.SUPPLIER) & ~Q(
        entries__movement__kind=MovementKind.ARRIVE
    )
    came = (
        CostLayer.objects.filter(
            scope.layers(),
            Q(source__startswith="shipment_line:") | Q(source__startswith="dispute:"),
            bill_line__isnull=True,
        )
        .select_related("part")
        .annotate(came=Sum("entries__quantity", filter=from_supplier, default=0))
        .exclude(came=0)
        .order_by("received_on", "pk")
    )
    for layer in came:
        found[layer.earmark_id or 0, layer.store_id, layer.part_id].append(
            _Early(
                part=layer.part.number,
                since=layer.received_on,
                pieces=-vars(layer)["came"],
                unit_cents=layer.unit_cost_cents,
            )
        )
    return found


def _early_row(layer: _Early, pieces: int, store: int, part: int) -> Row:
    return Row(
        what=_("%(part)s received, bill not here") % {"part": layer.part},
        since=layer.since,
        pieces=pieces,
        cents=pieces * layer.unit_cents,
        store=store,
        part=part,
        page="inventory:part",
        pk=part,
    )


def _match_early(
    line: BillLine, missing: int, early: list[_Early], ledger: Ledger
) -> int:
    """Match a bill that came after its pieces; gives what is still missing.

    A price that differs from the one booked stays in dispute with the supplier.
    """
    bill = line.bill
    for layer in early:
        pieces = min(missing, layer.pieces)
        if not pieces:
            continue
        layer.pieces -= pieces
        missing -= pieces
        _note_passed(bill, line.part_id, layer, pieces, ledger)
        off = pieces * (line.unit_cost_cents - layer.unit_cents)
        if off:
            ledger.add(
                "in_dispute",
                Row(
                    what=_("bill %(bill)s: another price than booked")
                    % {"bill": bill.number},
                    since=bill.dated,
                    pieces=0,
                    cents=off,
                    store=bill.store_id,
                    part=line.part_id,
                ),
            )
    return missing


def _note_passed(
    bill: Bill, part: int, layer: _Early, pieces: int, ledger: Ledger
) -> None:
    """Keep that pieces were owed for from their day until their bill's."""
    if bill.dated <= layer.since:
        return
    came = _early_row(layer, pieces, bill.store_id, part)
    ledger.passed.append(came)
    ledger.passed.append(
        Row(
            what=_("bill %(bill)s is here for them") % {"bill": bill.number},
            since=bill.dated,
            pieces=-pieces,
            cents=-came.cents,
            store=bill.store_id,
            part=part,
        )
    )
