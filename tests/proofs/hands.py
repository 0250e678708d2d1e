"""Somebody who does lawful acts in the books, chosen by chance.

Each act is planned from what the books show at that moment and then carried out by one
call to the domain, with a key where the verb takes one. The same chance on the same
books gives the same act, so that an act can be asked for again by another process.
"""

import datetime as dt
import random
from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import Model

from dealership.models import Store
from inventory.domain.counting import book_count, enter_count, prepare_count
from inventory.domain.disputes import settle_dispute
from inventory.domain.givingback import cancel_return, prepare_return, ship_return
from inventory.domain.quarantine import put_aside, put_back, scrap
from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
)
from inventory.domain.reserving import release, reserve, settle
from inventory.domain.selling import sell_pieces
from inventory.domain.transferring import (
    Arrived,
    call_back,
    receive_transfer,
    send_pieces,
)
from inventory.models import (
    Balance,
    Dispute,
    GoodsReturn,
    Part,
    Reservation,
    Shipment,
    StockCount,
    Transfer,
)
from inventory.rules.accounts import (
    CountState,
    DisputeState,
    ReservationState,
    ReturnState,
    TransferState,
)


NOW = dt.datetime(2026, 11, 25, 15, 0, tzinfo=dt.UTC)
TODAY = NOW.date()
BY = {"by": None, "at": NOW}


@dataclass(frozen=True)
class Act:
    """One act that can be asked for again: its verb and the call."""

    verb: str
    call: Callable[[], object]


class Hand:
    """One pair of hands in two stores that share a part, with acts to choose from."""

    def __init__(self, name: str, seed: int, verbs: tuple[str, ...]) -> None:
        self.name = name
        self.chance = random.Random(seed)
        self.verbs = verbs
        self.number = 0
        self.stores = list(Store.objects.order_by("pk")[:2])
        self.part = Part.objects.order_by("pk")[0]

    def plan(self, tries: int = 40) -> Act | None:
        """Choose an act that the books allow, as far as one look can tell."""
        for _try in range(tries):
            verb = self.chance.choice(self.verbs)
            self.number += 1
            key = f"{self.name}/{self.number}"
            call = getattr(self, verb)(key, self.chance.choice(self.stores))
            if call is not None:
                return Act(verb, call)
        return None

    def _some(self, most: int = 4) -> int:
        return self.chance.randint(1, most)

    def _one_of(self, rows):
        found = list(rows.order_by("pk")[:50])
        return self.chance.choice(found) if found else None

    def deliver(self, key, store):
        pieces = self._some(9)
        return lambda: announce_shipment(
            store=store,
            supplier=self.part.supplier,
            number=key,
            lines=[SentLine(part=self.part, quantity=pieces)],
            announced_on=TODAY,
            expected_on=TODAY,
            **BY,
        )

    def receive(self, key, store):
        row = self._one_of(
            Shipment.objects.filter(store=store, received_at__isnull=True)
        )
        if row is None:
            return None
        counts = {}
        for line in row.lines.order_by("pk"):
            damaged = self.chance.randint(0, min(2, line.sent))
            counts[line.pk] = Counted(good=line.sent - damaged, damaged=damaged)
        return lambda: receive_shipment(key=key, shipment=row, counts=counts, **BY)

    def reserve(self, key, store):
        pieces = self._some()
        return lambda: reserve(
            key=key,
            store=store,
            part=self.part,
            quantity=pieces,
            earmarks=[None],
            subject=f"hand:{key}",
            needed_on=TODAY,
            today=TODAY,
            **BY,
        )

    def _own_hold(self, store):
        return self._one_of(
            Reservation.objects.filter(
                store=store,
                state=ReservationState.HELD,
                subject__startswith=f"hand:{self.name.split('/')[0]}",
            )
        )

    def settle(self, key, store):
        row = self._own_hold(store)
        if row is None:
            return None
        used = self.chance.randint(0, row.quantity)
        return lambda: settle(
            subject=row.subject,
            store=store,
            used={self.part: used},
            earmarks=[None],
            key=key,
            effective_on=TODAY,
            **BY,
        )

    def release(self, _key, store):
        row = self._own_hold(store)
        if row is None:
            return None
        return lambda: release(subject=row.subject, why="changed plans", **BY)

    def _pocket(self, key, store):
        return {
            "key": key,
            "store": store,
            "part": self.part,
            "earmark": None,
            "quantity": self._some(3),
            **BY,
        }

    def aside(self, key, store):
        facts = self._pocket(key, store)
        return lambda: put_aside(why="looks bent", **facts)

    def back(self, key, store):
        facts = self._pocket(key, store)
        return lambda: put_back(why="is in order", **facts)

    def scrap(self, key, store):
        facts = self._pocket(key, store)
        return lambda: scrap(why="is bent", **facts)

    def sell(self, key, store):
        facts = self._pocket(key, store)
        return lambda: sell_pieces(ticket="T-1", **facts)

    def send(self, key, store):
        (other,) = [one for one in self.stores if one != store]
        pieces = self._some()
        return lambda: send_pieces(
            key=key,
            store=store,
            to_store=other,
            earmark=None,
            lines={self.part: pieces},
            expected_on=TODAY,
            **BY,
        )

    def arrive(self, _key, store):
        row = self._one_of(
            Transfer.objects.filter(to_store=store, state=TransferState.SENT)
        )
        if row is None:
            return None
        counts = {}
        for line in row.lines.order_by("pk"):
            damaged = self.chance.choice([0, 0, 1])
            lost = self.chance.choice([0, 0, 0, 1]) if line.quantity > damaged else 0
            good = line.quantity - damaged - lost
            counts[line.pk] = Arrived(good=good, damaged=damaged)
        return lambda: receive_transfer(transfer=row, counts=counts, **BY)

    def call_back(self, _key, store):
        row = self._one_of(
            Transfer.objects.filter(store=store, state=TransferState.SENT)
        )
        if row is None:
            return None
        return lambda: call_back(transfer=row, why="wrong box", **BY)

    def box(self, key, store):
        pieces = self._some(3)
        return lambda: prepare_return(
            key=key,
            store=store,
            supplier=self.part.supplier,
            earmark=None,
            lines={self.part: pieces},
            last_date=None,
            restocking_basis_points=0,
            **BY,
        )

    def _box(self, store):
        return self._one_of(
            GoodsReturn.objects.filter(store=store, state=ReturnState.PREPARED)
        )

    def ship(self, _key, store):
        row = self._box(store)
        if row is None:
            return None
        return lambda: ship_return(goods_return=row, shipped_on=TODAY, **BY)

    def unbox(self, _key, store):
        row = self._box(store)
        if row is None:
            return None
        return lambda: cancel_return(goods_return=row, why="needed here", **BY)

    def end_dispute(self, key, store):
        row = self._one_of(Dispute.objects.filter(store=store, state=DisputeState.OPEN))
        if row is None:
            return None
        how = self.chance.choice(
            [DisputeState.CREDITED, DisputeState.REPLACED, DisputeState.WRITTEN_OFF]
        )
        return lambda: settle_dispute(
            dispute=row, how=how, dated=TODAY, number=key, why="as agreed", **BY
        )

    def list_count(self, key, store):
        pockets = list(Balance.objects.filter(store=store, part=self.part))
        if not pockets:
            return None
        return lambda: prepare_count(
            key=key, store=store, pockets=pockets, about="all", **BY
        )

    def _count(self, store, state):
        return self._one_of(StockCount.objects.filter(store=store, state=state))

    def enter(self, _key, store):
        row = self._count(store, CountState.PREPARED)
        if row is None:
            return None
        found = {}
        for line in row.lines.order_by("pk"):
            pocket = Balance.objects.get(
                store=store, part=line.part, earmark=line.earmark
            )
            seen = pocket.free + pocket.held + self.chance.choice([-1, 0, 0, 1])
            found[line.pk] = max(seen, 0)
        return lambda: enter_count(count=row, found=found, **BY)

    def book(self, _key, store):
        row = self._count(store, CountState.ENTERED)
        if row is None:
            return None
        reasons = {line.pk: "miscounted" for line in row.lines.all()}
        return lambda: book_count(
            count=row, reasons=reasons, taken_back=[], others_may=False, **BY
        )

    def count(self, key, store):
        """All three steps of a count, one after the other."""
        pockets = list(Balance.objects.filter(store=store, part=self.part))

        def all_steps():
            row = prepare_count(
                key=key, store=store, pockets=pockets, about="all", **BY
            )
            line = row.lines.get()
            pocket = Balance.objects.get(pk=pockets[0].pk)
            # what is missing turns up again, so that there is something to share out
            missing = sum(
                one.variance for one in Balance.objects.filter(part=self.part)
            )
            change = min(max(missing, 0), 1) or self.chance.choice([-1, 0])
            found = {line.pk: max(pocket.free + pocket.held + change, 0)}
            row = enter_count(count=row, found=found, **BY)
            return book_count(
                count=row,
                reasons={line.pk: "miscounted"},
                taken_back=[],
                others_may=False,
                **BY,
            )

        return all_steps


EVERYTHING = (
    *("deliver", "receive", "receive", "reserve", "reserve", "settle", "release"),
    *("aside", "back", "scrap", "sell", "send", "arrive", "arrive", "call_back"),
    *("box", "ship", "unbox", "end_dispute", "list_count", "enter", "book"),
)
CROWDED = (
    *("reserve", "reserve", "reserve", "settle", "release", "count"),
    *("send", "arrive", "arrive", "call_back", "aside", "back"),
)


def names_of(result: object) -> object:
    """Name what a verb gave, so that two processes can compare it."""
    if isinstance(result, Model):
        return f"{result._meta.label}:{result.pk}"
    if isinstance(result, tuple | list):
        return [names_of(one) for one in result]
    for inner in ("movements", "movement"):
        if hasattr(result, inner):
            return names_of(getattr(result, inner))
    return str(result)
