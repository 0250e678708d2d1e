"""What comes in and what goes back: batches, orders, disputes, returns."""

import datetime as dt
from collections import Counter

from campaigns.domain.first_batch import (
    BillPaper,
    SlipPaper,
    announce,
    enter_batch_bill,
    receive,
)
from campaigns.models import Allocation, Campaign
from dealership.models import Store
from dealership.rules.roles import Role
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.disputes import settle_dispute
from inventory.domain.givingback import (
    cancel_return,
    credit_return,
    expected_credit_cents,
    prepare_return,
    ship_return,
)
from inventory.domain.ordering import (
    OrderedLine,
    cancel_order,
    confirm_order,
    place_order,
)
from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
    redate_shipment,
)
from inventory.domain.replacing import expect_replacement
from inventory.models import (
    Balance,
    Dispute,
    Earmark,
    GoodsReturn,
    Part,
    PurchaseOrder,
    Shipment,
    ShipmentLine,
)
from inventory.rules.accounts import DisputeState
from tests.simulation.acting import Doer
from tests.simulation.stage import Design, Stage


LATE, SHORT, DAMAGED, LATE_BILL = 0.15, 0.15, 0.15, 0.3


class Supply:
    """The parts department of each store, and the supplier's mistakes."""

    def __init__(self, stage: Stage, doer: Doer) -> None:
        self.stage = stage
        self.doer = doer
        self.ordered: dict[tuple[int, int, int | None], dt.date] = {}

    def by(self, store: Store, role: Role = Role.PARTS_MANAGER):
        """Give who does it."""
        return self.stage.staff[store.pk][role]

    def send_batches(self, design: Design, campaign: Campaign) -> None:
        """Announce the first batch of each part to each store; some bills come late."""
        doer = self.doer
        rows = Counter(campaign.vehicles.values_list("store", flat=True))
        for store in self.stage.stores:
            for number, pieces, _payer in design.parts:
                part = self.stage.parts[number]
                quantity = max(int(rows[store.pk] * pieces * design.batch), 2)
                paper = BillPaper(
                    number=f"B-{design.code}-{store.code}-{number[-3:]}",
                    dated=doer.today,
                    quantity=quantity,
                    unit_cost_cents=part.unit_cost_cents,
                )
                late = doer.maybe(LATE_BILL)
                arrives = doer.chance.randint(4, 10)
                batch = doer.do(
                    announce,
                    campaign=campaign,
                    store=store,
                    part=part,
                    quantity=quantity,
                    unit_cost_cents=part.unit_cost_cents,
                    announced_on=doer.today,
                    bill=None if late else paper,
                    slip=SlipPaper(
                        number=f"S-{design.code}-{store.code}-{number[-3:]}",
                        quantity=quantity,
                        expected_on=doer.today + dt.timedelta(days=arrives),
                    ),
                    by=self.by(store),
                )
                if late:
                    doer.faults["late bill"] += 1
                    doer.later(
                        doer.chance.randint(2, 25),
                        lambda batch=batch, paper=paper: doer.do(
                            enter_batch_bill,
                            allocation=batch,
                            paper=paper,
                            by=self.by(batch.store),
                        ),
                    )
                self._when_it_comes(
                    batch.shipment,
                    arrives,
                    lambda batch=batch: self._count_batch(batch),
                )

    def _when_it_comes(self, shipment: Shipment, days: int, count) -> None:
        """Let a delivery arrive on its day, or be late and dated anew."""
        doer = self.doer
        if not doer.maybe(LATE):
            doer.later(days, count)
            return
        doer.faults["late delivery"] += 1
        more = doer.chance.randint(2, 15)

        def date_anew() -> None:
            doer.do(
                redate_shipment,
                shipment=shipment,
                expected_on=doer.today + dt.timedelta(days=more),
                by=self.by(shipment.store),
            )
            doer.later(more, count)

        doer.later(days + 1, date_anew)

    def _split(self, sent: int) -> tuple[int, int]:
        """Give how many came in order and how many damaged; the rest is short."""
        doer, short, damaged = self.doer, 0, 0
        if doer.maybe(SHORT):
            short = doer.chance.randint(1, max(sent // 4, 1))
            doer.faults["short shipment"] += 1
        if doer.maybe(DAMAGED) and sent > short:
            damaged = doer.chance.randint(1, max((sent - short) // 4, 1))
            doer.faults["damaged pieces"] += 1
        return sent - short - damaged, damaged

    def _count_batch(self, batch: Allocation) -> None:
        doer = self.doer
        line = ShipmentLine.objects.get(shipment=batch.shipment)
        good, damaged = self._split(line.sent)
        done = doer.do(
            receive,
            key=doer.key("batch"),
            allocation=Allocation.objects.get(pk=batch.pk),
            good=good,
            damaged=damaged,
            bin_code=f"A-{batch.part_id:02}",
            by=self.by(batch.store),
        )
        self._counted(done, good, damaged)

    def _count(self, shipment: Shipment) -> None:
        doer, counts, whole = self.doer, {}, Counter()
        for line in shipment.lines.order_by("pk"):
            good, damaged = self._split(line.sent)
            counts[line.pk] = Counted(good=good, damaged=damaged, bin_code="B-01")
            whole["good"] += good
            whole["damaged"] += damaged
        done = doer.do(
            receive_shipment,
            key=doer.key("delivery"),
            shipment=Shipment.objects.get(pk=shipment.pk),
            counts=counts,
            by=self.by(shipment.store),
        )
        self._counted(done, whole["good"], whole["damaged"])

    def _counted(self, done: Shipment | None, good: int, damaged: int) -> None:
        """Note what came, and put the end of each dispute on the calendar."""
        if done is None:
            return
        self.doer.did[done.store_id, "received"] += good + damaged
        for dispute in Dispute.objects.filter(shipment_line__shipment=done):
            self.doer.later(
                self.doer.chance.randint(3, 40),
                lambda dispute=dispute: self._end_dispute(dispute),
            )

    def _end_dispute(self, dispute: Dispute) -> None:
        doer, by = self.doer, self.by(dispute.store)
        way = doer.chance.choice(["credit", "credit", "replace", "await", "give up"])
        if way == "await":
            shipment = doer.do(
                expect_replacement,
                dispute=dispute,
                number=doer.key("R"),
                expected_on=doer.today + dt.timedelta(days=7),
                by=by,
            )
            if shipment:
                self._when_it_comes(shipment, 7, lambda: self._count(shipment))
            return
        how = {
            "credit": DisputeState.CREDITED,
            "replace": DisputeState.REPLACED,
            "give up": DisputeState.WRITTEN_OFF,
        }[way]
        cost = dispute.quantity * dispute.unit_cost_cents
        amount = cost * 9 // 10 if doer.maybe(0.2) else cost
        credited = how is DisputeState.CREDITED
        done = doer.do(
            settle_dispute,
            dispute=dispute,
            how=how,
            dated=doer.today,
            number=doer.key("CN") if credited else "",
            amount_cents=amount if credited else None,
            why="as agreed with the shipper",
            by=by,
        )
        if done and credited:
            doer.did[done.store_id, "credited cents"] += cost
        elif done and how is DisputeState.WRITTEN_OFF:
            doer.did[done.store_id, "written off cents"] += cost
        elif done:
            doer.did[done.store_id, "replaced"] += done.quantity

    def order(self, store: Store, part: Part, earmark: Earmark | None) -> None:
        """Order some more, once a lead time; some orders are cancelled or confirmed."""
        doer = self.doer
        spot = (store.pk, part.pk, earmark.pk if earmark else None)
        asked = self.ordered.get(spot)
        if asked and (doer.today - asked).days < part.lead_days:
            return
        self.ordered[spot] = doer.today
        pieces = doer.chance.choice([4, 6, 10])
        order = doer.do(
            place_order,
            key=doer.key("order"),
            store=store,
            supplier=self.stage.supplier,
            earmark=earmark,
            lines=[OrderedLine(part=part, quantity=pieces)],
            by=self.by(store),
        )
        if order is None:
            return
        if doer.maybe(0.05):
            doer.later(
                1,
                lambda: doer.do(
                    cancel_order, order=order, why="too late", by=self.by(store)
                ),
            )
            return
        if doer.maybe(0.3):
            days = {
                line.pk: doer.today + dt.timedelta(days=part.lead_days)
                for line in order.lines.all()
            }
            doer.do(confirm_order, order=order, dates=days, by=self.by(store))
        doer.later(
            max(part.lead_days - 3, 1),
            lambda: self._ship(order, share=0.6 if doer.maybe(0.2) else 1.0),
        )

    def _ship(self, order: PurchaseOrder, share: float) -> None:
        """Let the supplier send an order, or a part of it; some bills come later."""
        doer, store = self.doer, order.store
        line = order.lines.get()
        before = sum(line.shipment_lines.values_list("sent", flat=True))
        sent = max(int(line.quantity * share), 1) if share < 1 else line.quantity
        sent = min(sent, line.quantity - before)
        bill_line = None
        late = doer.maybe(LATE_BILL)
        if late:
            doer.faults["late bill"] += 1
        else:
            bill = doer.do(
                enter_bill,
                store=store,
                supplier=order.supplier,
                number=doer.key("B"),
                dated=doer.today,
                lines=[
                    BilledLine(
                        part=line.part,
                        quantity=sent,
                        unit_cost_cents=line.unit_cost_cents,
                    )
                ],
                earmark=order.earmark,
                by=self.by(store),
            )
            bill_line = bill.lines.get()
        shipment = doer.do(
            announce_shipment,
            store=store,
            supplier=order.supplier,
            number=doer.key("S"),
            lines=[
                SentLine(
                    part=line.part, quantity=sent, bill_line=bill_line, order_line=line
                )
            ],
            announced_on=doer.today,
            expected_on=doer.today + dt.timedelta(days=3),
            bill=bill_line.bill if bill_line else None,
            order=order,
            earmark=order.earmark,
            by=self.by(store),
        )
        self._when_it_comes(shipment, 3, lambda: self._count(shipment))
        if sent + before < line.quantity:
            doer.faults["order sent in parts"] += 1
            doer.later(12, lambda: self._ship(order, 1.0))

    def give_back(self, store: Store) -> None:
        """Send some pieces of a pocket back; some returns are called off."""
        doer = self.doer
        pockets = Balance.objects.filter(store=store, free__gte=2)
        pocket = self._some(pockets)
        if pocket is None:
            return
        earmark = pocket.earmark
        box = doer.do(
            prepare_return,
            key=doer.key("return"),
            store=store,
            supplier=self.stage.supplier,
            earmark=earmark,
            lines={pocket.part: doer.chance.randint(1, min(pocket.free, 4))},
            last_date=None,
            restocking_basis_points=1_500,
            by=self.by(store),
        )
        if box is None:
            return
        if doer.maybe(0.15):
            doer.later(
                1,
                lambda: doer.do(
                    cancel_return, goods_return=box, why="kept", by=self.by(store)
                ),
            )
            return
        doer.later(1, lambda: self._ship_back(box))

    def _ship_back(self, box: GoodsReturn) -> None:
        doer = self.doer
        done = doer.do(
            ship_return,
            goods_return=box,
            shipped_on=doer.today,
            by=self.by(box.store),
        )
        if done is None:
            return
        pieces = sum(box.lines.values_list("quantity", flat=True))
        doer.did[box.store_id, "returned"] += pieces
        doer.later(doer.chance.randint(12, 45), lambda: self._credit(box))

    def _credit(self, box: GoodsReturn) -> None:
        doer = self.doer
        expected = expected_credit_cents(box)
        freight = min(doer.chance.choice([0, 0, 1_250]), max(expected, 0))
        done = doer.do(
            credit_return,
            goods_return=box,
            number=doer.key("CN"),
            dated=doer.today,
            freight_cents=freight,
            by=self.by(box.store),
        )
        if done:
            cents = sum(
                line.quantity * line.unit_cost_cents for line in box.lines.all()
            )
            doer.did[box.store_id, "credited cents"] += cents

    def _some(self, rows):
        """Take one row by chance, the same one on each database."""
        found = list(rows.order_by("pk").select_related("part", "earmark"))
        return self.doer.chance.choice(found) if found else None
