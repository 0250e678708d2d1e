"""What is on hand, coming and promised, and what can still be promised."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import CharField, F, Sum, Value
from django.db.models.functions import Cast
from django.utils.translation import gettext as _

from dealership.rules.pictures import RunwayPicture
from dealership.rules.workdays import next_business_day
from inventory.forecasting.promise import (
    PromiseLine,
    Receipt,
    Reserved,
    draw_promise_line,
)
from inventory.models import (
    Balance,
    OrderLine,
    Part,
    Reservation,
    ShipmentLine,
    TransferLine,
)
from inventory.rules.accounts import OrderState, ReservationState, TransferState


if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence
    from datetime import date

    from dealership.models import Store
    from dealership.rules.pictures import RunwayFlag
    from inventory.models import Earmark, Shipment

COMING_STATES = (
    OrderState.SENT,
    OrderState.CONFIRMED,
    OrderState.PART_RECEIVED,
    OrderState.BACK_ORDERED,
)
"""States of an order whose open pieces are still expected."""

PICTURE_DAYS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Coming:
    """Pieces on their way to one pocket; ``day`` is None where nobody has said when.

    ``source`` says by which paper, ``page`` and ``page_id`` where that is shown.
    """

    part_id: int
    earmark_id: int | None
    day: date | None
    pieces: int
    source: str
    page: str = ""
    page_id: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Promised:
    """One live reservation."""

    part_id: int
    earmark_id: int | None
    day: date
    pieces: int
    subject: str
    held: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOf:
    """All that stands, comes and is promised of some parts in one store."""

    balances: tuple[Balance, ...]
    coming: tuple[Coming, ...]
    promised: tuple[Promised, ...]

    def of_part(self, part_id: int) -> StockOf:
        """Keep the rows of one part."""
        return StockOf(
            balances=tuple(one for one in self.balances if one.part_id == part_id),
            coming=tuple(one for one in self.coming if one.part_id == part_id),
            promised=tuple(one for one in self.promised if one.part_id == part_id),
        )

    def of_parts(self, part_ids: Collection[int]) -> StockOf:
        """Keep the rows of some parts, as if they were one."""
        return StockOf(
            balances=tuple(one for one in self.balances if one.part_id in part_ids),
            coming=tuple(one for one in self.coming if one.part_id in part_ids),
            promised=tuple(one for one in self.promised if one.part_id in part_ids),
        )

    def earmark_ids(self) -> set[int | None]:
        """Give every pocket that stands, is expected or is promised from."""
        return {
            *(one.earmark_id for one in self.balances),
            *(one.earmark_id for one in self.coming),
            *(one.earmark_id for one in self.promised),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class PromisePicture:
    """What can be promised of one part from some of its pockets.

    ``free_now`` are pieces that may be given away today without breaking a promise.
    """

    part: Part
    today: date
    line: PromiseLine
    receipts: tuple[Receipt, ...]
    reservations: tuple[Reserved, ...]

    @property
    def free_now(self) -> int:
        """Give the pieces that can be promised today, zero or more."""
        return self.line.free_today

    @property
    def balance(self) -> tuple[int, ...]:
        """Give the running balance, one figure a day from today."""
        return tuple(day.balance for day in self.line.days)

    @property
    def promise(self) -> tuple[int, ...]:
        """Give the promise line, one figure a day from today."""
        return tuple(day.promise for day in self.line.days)

    def earliest(self, quantity: int) -> date | None:
        """Give the first day on which so many pieces can be promised, or None."""
        return self.line.earliest_day(quantity)

    def promise_on(self, day: date) -> int:
        """Give the pieces that can be promised for a day, zero or more."""
        return self.line.promise_on(day)

    def runway(
        self, *, flags: Sequence[RunwayFlag] = (), days: int = PICTURE_DAYS
    ) -> RunwayPicture:
        """Give the picture of the coming days; ``days`` long at most."""
        shown = self.line.days[:days]
        place = {day.day: index for index, day in enumerate(shown)}
        bookings, deliveries = [0] * len(shown), [0] * len(shown)
        for promise in self.reservations:
            index = place.get(max(promise.day, self.today))
            if index is not None:
                bookings[index] += promise.pieces
        for receipt in self.receipts:
            index = place.get(next_business_day(receipt.day))
            if index is not None and receipt.day >= self.today:
                deliveries[index] += receipt.pieces
        return RunwayPicture(
            first_day=self.today,
            today=self.today,
            balance=tuple(day.balance for day in shown),
            bookings=tuple(bookings),
            deliveries=tuple(deliveries),
            promise_line=tuple(day.promise for day in shown),
            risk_from=self.line.stock_out.day if self.line.stock_out else None,
            flags=tuple(flags),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRow:
    """One part on the board of a store, in pieces."""

    part: Part
    free: int
    held: int
    quarantine: int
    coming: int
    next_day: date | None
    promised: int
    free_to_promise: int
    runs_out_on: date | None
    short: int

    @property
    def on_hand(self) -> int:
        """Give what lies in the store, whatever its state."""
        return self.free + self.held + self.quarantine


def pockets(*, store: Store, part: Part) -> list[Balance]:
    """Give the pockets of a part in a store, the one without earmark first."""
    return list(
        Balance.objects.filter(store=store, part=part)
        .select_related("earmark", "bin")
        .order_by(F("earmark__code").asc(nulls_first=True))
    )


def bins_of_lines(*, shipment: Shipment) -> dict[int, str]:
    """Give line id -> the bin in which that pocket already lies."""
    kept = dict(
        Balance.objects.filter(
            store=shipment.store, earmark=shipment.earmark, bin__isnull=False
        ).values_list("part_id", "bin__code")
    )
    lines = shipment.lines.values_list("pk", "part_id")
    return {pk: kept[part_id] for pk, part_id in lines if part_id in kept}


def stock_of(*, store: Store, part_ids: Iterable[int] | None = None) -> StockOf:
    """Read what stands, comes and is promised of some parts, or of all, in a store."""
    chosen: dict[str, object] = (
        {} if part_ids is None else {"part_id__in": list(part_ids)}
    )
    balances = Balance.objects.filter(store=store).filter(**chosen).order_by("pk")
    promised = (
        Reservation.objects.filter(store=store, **chosen)
        .live()
        .order_by("needed_on", "pk")
    )
    return StockOf(
        balances=tuple(balances),
        coming=(*_on_the_way(store, chosen), *_from_orders(store, chosen)),
        promised=tuple(
            Promised(
                part_id=one.part_id,
                earmark_id=one.earmark_id,
                day=one.needed_on,
                pieces=one.quantity,
                subject=one.subject,
                held=one.state == ReservationState.HELD,
            )
            for one in promised
        ),
    )


def _on_the_way(store: Store, chosen: dict[str, object]) -> list[Coming]:
    """Read what is announced and not yet counted, and what other stores have sent.

    One question for both: this is asked at the counter.
    """
    announced = ShipmentLine.objects.filter(
        shipment__store=store, shipment__received_at__isnull=True, **chosen
    ).values_list(
        "part_id",
        "shipment__earmark_id",
        "shipment__expected_on",
        "sent",
        "shipment_id",
        "shipment__number",
        Value(""),
    )
    sent = TransferLine.objects.filter(
        transfer__to_store=store, transfer__state=TransferState.SENT, **chosen
    ).values_list(
        "part_id",
        "transfer__earmark_id",
        "transfer__expected_on",
        "quantity",
        "transfer_id",
        Cast("transfer__number", CharField(max_length=40)),
        "transfer__store__code",
    )
    rows = announced.order_by().union(sent.order_by(), all=True)
    return [
        Coming(
            part_id=part,
            earmark_id=earmark,
            day=day,
            pieces=pieces,
            source=_("transfer %(number)s from %(store)s")
            % {"number": number, "store": code}
            if code
            else _("delivery %(number)s") % {"number": number},
            page="inventory:transfer" if code else "inventory:shipment",
            page_id=pk,
        )
        for part, earmark, day, pieces, pk, number, code in rows
    ]


def _from_orders(store: Store, chosen: dict[str, object]) -> list[Coming]:
    """Read the ordered pieces that have neither come nor been announced."""
    announced = dict(
        ShipmentLine.objects.filter(
            shipment__store=store,
            shipment__received_at__isnull=True,
            order_line__isnull=False,
            **chosen,
        )
        .order_by()
        .values_list("order_line")
        .annotate(Sum("sent"))
    )
    lines = OrderLine.objects.filter(
        order__store=store, order__state__in=COMING_STATES, **chosen
    ).select_related("order")
    return [
        Coming(
            part_id=line.part_id,
            earmark_id=line.order.earmark_id,
            day=line.expected_on,
            pieces=missing,
            source=_("order %(number)s") % {"number": line.order.number},
            page="inventory:order",
            page_id=line.order_id,
        )
        for line in lines
        if (missing := line.quantity - line.received - announced.get(line.pk, 0)) > 0
    ]


def promise_line(
    *,
    store: Store,
    part: Part,
    earmarks: Sequence[Earmark | None],
    today: date,
    days: int = 120,
) -> PromisePicture:
    """Work out what can be promised of a part from these pockets, day by day.

    Promises of other earmarks that their own pocket does not cover count against
    these pockets too, for they may draw on the stock without earmark.
    """
    wanted = {one.pk if one else None for one in earmarks}
    stock = stock_of(store=store, part_ids=[part.pk])
    return draw_promise(stock, part=part, earmark_ids=wanted, today=today, days=days)


def draw_promise(
    stock: StockOf,
    *,
    part: Part,
    earmark_ids: set[int | None],
    today: date,
    days: int = 120,
) -> PromisePicture:
    """Draw the promise line of one part from rows already read."""
    receipts = tuple(
        Receipt(day=one.day, pieces=one.pieces)
        for one in stock.coming
        if one.day is not None and one.earmark_id in earmark_ids
    )
    reservations = (
        *_reserved(stock, earmark_ids),
        *_claims_of_others(stock, earmark_ids, today),
    )
    line = draw_promise_line(
        today=today,
        on_hand=_usable(stock, earmark_ids),
        receipts=receipts,
        reserved=reservations,
        next_working_day=next_business_day,
        days=days,
    )
    return PromisePicture(
        part=part,
        today=today,
        line=line,
        receipts=receipts,
        reservations=reservations,
    )


def _usable(stock: StockOf, earmark_ids: set[int | None]) -> int:
    """Count the free and held pieces of some pockets."""
    return sum(
        one.free + one.held for one in stock.balances if one.earmark_id in earmark_ids
    )


def _reserved(stock: StockOf, earmark_ids: set[int | None]) -> tuple[Reserved, ...]:
    return tuple(
        Reserved(day=one.day, pieces=one.pieces, label=one.subject, held=one.held)
        for one in stock.promised
        if one.earmark_id in earmark_ids
    )


def _claims_of_others(
    stock: StockOf, earmark_ids: set[int | None], today: date
) -> tuple[Reserved, ...]:
    """Find what other earmarks have promised beyond their own pockets.

    Their worst shortage is set against the stock without earmark from the first day
    that it shows: rather too careful than a piece promised twice.
    """
    if None not in earmark_ids:
        return ()
    others = {one.earmark_id for one in stock.promised if not one.held} - earmark_ids
    claims = []
    for other in sorted(one for one in others if one is not None):
        own = draw_promise_line(
            today=today,
            # what is held there is spoken for: neither it nor its holds count
            on_hand=sum(one.free for one in stock.balances if one.earmark_id == other),
            receipts=[
                Receipt(day=one.day, pieces=one.pieces)
                for one in stock.coming
                if one.day is not None and one.earmark_id == other
            ],
            reserved=[one for one in _reserved(stock, {other}) if not one.held],
            next_working_day=next_business_day,
            days=1,
        )
        worst = -min(day.balance for day in own.days)
        if worst > 0 and own.stock_out:
            claims.append(Reserved(day=own.stock_out.day, pieces=worst))
    return tuple(claims)


def stock_board(*, store: Store, today: date) -> list[BoardRow]:
    """Give every part that the store has, expects or has promised.

    What runs out first comes first, then what has least to promise.
    """
    stock = stock_of(store=store)
    ids = {one.part_id for one in stock.balances}
    ids |= {one.part_id for one in stock.coming}
    ids |= {one.part_id for one in stock.promised}
    parts = Part.objects.select_related("superseded_by").in_bulk(ids)
    rows = [
        _board_row(stock, parts[part_id], today)
        for part_id, stock in _by_part(stock).items()
    ]
    far = today + timedelta(days=36_500)
    return sorted(
        rows,
        key=lambda row: (row.runs_out_on or far, row.free_to_promise, row.part.number),
    )


def _by_part(stock: StockOf) -> dict[int, StockOf]:
    """Split rows by part in one pass."""
    balances: dict[int, list[Balance]] = defaultdict(list)
    coming: dict[int, list[Coming]] = defaultdict(list)
    promised: dict[int, list[Promised]] = defaultdict(list)
    for balance in stock.balances:
        balances[balance.part_id].append(balance)
    for one in stock.coming:
        coming[one.part_id].append(one)
    for promise in stock.promised:
        promised[promise.part_id].append(promise)
    return {
        part_id: StockOf(
            balances=tuple(balances[part_id]),
            coming=tuple(coming[part_id]),
            promised=tuple(promised[part_id]),
        )
        for part_id in balances.keys() | coming.keys() | promised.keys()
    }


def _board_row(stock: StockOf, part: Part, today: date) -> BoardRow:
    picture = draw_promise(
        stock, part=part, earmark_ids=stock.earmark_ids(), today=today, days=1
    )
    days = [one.day for one in stock.coming if one.day and one.day >= today]
    out = picture.line.stock_out
    return BoardRow(
        part=part,
        free=sum(one.free for one in stock.balances),
        held=sum(one.held for one in stock.balances),
        quarantine=sum(one.quarantine for one in stock.balances),
        coming=sum(one.pieces for one in stock.coming),
        next_day=min(days, default=None),
        promised=sum(one.pieces for one in stock.promised if not one.held),
        free_to_promise=picture.free_now,
        runs_out_on=out.day if out else None,
        short=out.short if out else 0,
    )
