"""What happens on the shelves: counts, transfers, quarantine, sales, write-offs."""

import datetime as dt

from dealership.models import Store
from dealership.rules.roles import Role
from inventory.domain.counting import (
    book_count,
    drop_count,
    enter_count,
    prepare_count,
    promises_on,
)
from inventory.domain.quarantine import put_aside, put_back, scrap, take_in_removed
from inventory.domain.selling import sell_pieces
from inventory.domain.transferring import (
    Arrived,
    call_back,
    receive_transfer,
    send_pieces,
)
from inventory.domain.writingoff import write_off_pieces
from inventory.models import Balance, Movement, QuarantineLot, StockCount, Transfer
from inventory.rules.accounts import LotKind, MovementKind
from tests.simulation.acting import Doer
from tests.simulation.stage import Stage


class Shelves:
    """People at the shelves of each store."""

    def __init__(self, stage: Stage, doer: Doer) -> None:
        self.stage = stage
        self.doer = doer

    def by(self, store: Store, role: Role = Role.PARTS_MANAGER):
        """Give who does it."""
        return self.stage.staff[store.pk][role]

    def _pockets(self, store: Store, **facts: object) -> list[Balance]:
        rows = Balance.objects.filter(store=store, **facts).order_by("pk")
        return list(rows.select_related("part", "earmark"))

    def count(self, store: Store) -> None:
        """Count two pockets; now and then something is missing, or too much."""
        doer = self.doer
        pockets = self._pockets(store, on_hand__gt=0)
        if not pockets:
            return
        chosen = doer.chance.sample(pockets, min(2, len(pockets)))
        count = doer.do(
            prepare_count,
            key=doer.key("count"),
            store=store,
            pockets=chosen,
            about="two pockets",
            by=self.by(store, Role.TECHNICIAN),
        )
        if count is None:
            return
        there = {(one.part_id, one.earmark_id): one.on_hand for one in chosen}
        found = {}
        for line in count.lines.order_by("pk"):
            off = doer.chance.choice([0, 0, 0, -1, -1, -2, 1])
            found[line.pk] = max(there[line.part_id, line.earmark_id] + off, 0)
        count = doer.do(
            enter_count, count=count, found=found, by=self.by(store, Role.TECHNICIAN)
        )
        if count is None:
            return
        if doer.maybe(0.1):
            doer.do(drop_count, count=count, by=self.by(store))
            return
        doer.later(1, lambda: self._book(count))

    def _book(self, count: StockCount) -> None:
        """Approve a count; where promised pieces are missing, take promises back."""
        doer = self.doer
        lines = list(count.lines.order_by("pk"))
        different = [line for line in lines if line.difference]
        taken_back = [
            row.pk
            for line in different
            if line.difference < 0
            for row in promises_on(count=count, line=line)
        ]
        done = doer.do(
            book_count,
            count=count,
            reasons={line.pk: "not where it should be" for line in different},
            taken_back=taken_back if doer.maybe(0.7) else [],
            others_may=True,
            by=self.by(count.store),
        )
        if done is None:
            doer.do(drop_count, count=count, by=self.by(count.store))
            return
        for line in different:
            doer.faults["count with a difference"] += 1
            doer.did[count.store_id, "variance"] -= line.difference
        for movement in done.movements:
            self._give_up_later(movement)

    def _give_up_later(self, movement: Movement) -> None:
        if self.doer.maybe(0.6):
            self.doer.later(
                self.doer.chance.randint(5, 30), lambda: self._give_up(movement)
            )

    def _give_up(self, movement: Movement) -> None:
        doer = self.doer
        written = doer.do(
            write_off_pieces,
            movement=movement,
            why="nobody found it",
            dated=doer.today,
            by=self.by(movement.store),
        )
        cents = sum(one.cents for one in written or ())
        doer.did[movement.store_id, "written off cents"] += cents

    def send(self, store: Store) -> None:
        """Send a few pieces to another store; some never go, some come late or hurt."""
        doer = self.doer
        pockets = self._pockets(store, free__gte=2, earmark__isnull=False)
        if not pockets:
            return
        pocket = doer.chance.choice(pockets)
        other = doer.chance.choice([one for one in self.stage.stores if one != store])
        transfer = doer.do(
            send_pieces,
            key=doer.key("transfer"),
            store=store,
            to_store=other,
            earmark=pocket.earmark,
            lines={pocket.part: doer.chance.randint(1, min(pocket.free, 4))},
            expected_on=doer.today + dt.timedelta(days=2),
            by=self.by(store),
        )
        if transfer is None:
            return
        if doer.maybe(0.1):
            doer.faults["transfer called back"] += 1
            doer.later(
                1,
                lambda: doer.do(
                    call_back,
                    transfer=transfer,
                    why="not needed",
                    by=self.by(store),
                ),
            )
            return
        late = doer.maybe(0.2)
        if late:
            doer.faults["late transfer"] += 1
        doer.later(12 if late else 2, lambda: self._arrive(transfer))

    def _arrive(self, transfer: Transfer) -> None:
        doer, counts = self.doer, {}
        lost = hurt = good = 0
        for line in transfer.lines.order_by("pk"):
            lost = doer.chance.randint(1, line.quantity) if doer.maybe(0.2) else 0
            left = line.quantity - lost
            hurt = doer.chance.randint(0, left) if doer.maybe(0.15) else 0
            good = left - hurt
            counts[line.pk] = Arrived(good=good, damaged=hurt)
        done = doer.do(
            receive_transfer,
            transfer=transfer,
            counts=counts,
            by=self.by(transfer.to_store),
        )
        if done is None:
            return
        doer.did[transfer.store_id, "moved out"] += good + hurt
        doer.did[transfer.to_store_id, "moved in"] += good + hurt
        doer.did[transfer.store_id, "variance"] += lost
        if lost:
            doer.faults["transfer lost in part or whole"] += 1
            movement = Movement.objects.filter(
                kind=MovementKind.ARRIVE,
                store=transfer.store_id,
                entries__account="variance",
                subject=f"transfer:{transfer.pk}",
            ).first()
            if movement:
                self._give_up_later(movement)

    def aside(self, store: Store) -> None:
        """Put a piece aside; days later it is freed or scrapped."""
        doer = self.doer
        pockets = self._pockets(store, free__gte=1)
        if not pockets:
            return
        pocket = doer.chance.choice(pockets)
        lot = doer.do(
            put_aside,
            key=doer.key("aside"),
            store=store,
            part=pocket.part,
            earmark=pocket.earmark,
            quantity=1,
            why="dropped",
            by=self.by(store),
        )
        if lot is not None:
            doer.later(doer.chance.randint(1, 9), lambda: self._look_at(lot))

    def removed(self, store: Store) -> None:
        """Take a part that came out of a vehicle into quarantine; it is scrapped."""
        doer = self.doer
        part = doer.chance.choice(sorted(self.stage.parts.values(), key=lambda p: p.pk))
        lot = doer.do(
            take_in_removed,
            key=doer.key("removed"),
            store=store,
            part=part,
            quantity=1,
            why="out of a vehicle",
            by=self.by(store, Role.TECHNICIAN),
        )
        if lot is not None:
            doer.did[store.pk, "removed"] += 1
            doer.later(5, lambda: self._look_at(lot))

    def _look_at(self, lot: QuarantineLot) -> None:
        doer = self.doer
        scrapped = lot.kind == LotKind.REMOVED or doer.maybe(0.5)
        done = doer.do(
            scrap if scrapped else put_back,
            key=doer.key("lot"),
            store=lot.store,
            part=lot.part,
            earmark=lot.earmark,
            quantity=1,
            lot=lot,
            why="looked at",
            by=self.by(lot.store, Role.SERVICE_MANAGER),
        )
        if done and scrapped:
            doer.did[lot.store_id, "scrapped"] += 1
            self._give_up_later(done)

    def sell(self, store: Store) -> None:
        """Sell a piece over the counter; of set-apart stock only with the right."""
        doer = self.doer
        pockets = self._pockets(store, free__gte=1)
        if not pockets:
            return
        pocket = doer.chance.choice(pockets)
        may = doer.maybe(0.7)
        done = doer.do(
            sell_pieces,
            key=doer.key("sale"),
            store=store,
            part=pocket.part,
            earmark=pocket.earmark,
            quantity=1,
            ticket=doer.key("T"),
            why_set_apart="stranded on the road",
            by=self.by(store, Role.SERVICE_MANAGER if may else Role.PARTS_MANAGER),
        )
        if done:
            doer.did[store.pk, "sold"] += 1
