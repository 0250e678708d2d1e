"""Both sides stay equal through every verb of the stores, in each store and together."""

import datetime as dt

import pytest

from campaigns.queries.account import campaign_account
from campaigns.queries.statement import statement_of
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Role
from inventory.domain.counting import (
    NothingToCount,
    book_count,
    enter_count,
    prepare_count,
)
from inventory.domain.order_bills import Priced, enter_order_bill
from inventory.domain.ordering import OrderedLine, place_order
from inventory.domain.quarantine import put_aside, put_back, scrap
from inventory.domain.receiving import Counted, receive_shipment
from inventory.domain.replacing import expect_replacement
from inventory.domain.selling import sell_pieces
from inventory.domain.sending import announce_for_order
from inventory.domain.transferring import (
    Arrived,
    call_back,
    receive_transfer,
    send_pieces,
)
from inventory.domain.writingoff import write_off_pieces
from inventory.models import (
    Balance,
    Dispute,
    Movement,
    PurchaseOrder,
    Shipment,
    Transfer,
)
from inventory.queries.billed import unbilled_pieces
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import DisputeState, MovementKind, TransferState
from tests.campaigns.domain.shop import KEYS
from tests.campaigns.queries.test_account import History, fresh_shop
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}


class Group(History):
    """A store that sends pieces to another, counts, scraps, sells and writes off."""

    def __init__(self, number):
        super().__init__(number)
        self.second = StoreFactory.create()
        self.seller = make_staff(Role.SERVICE_MANAGER, self.shop.store)

    @property
    def pocket(self):
        return {"part": self.shop.part, "earmark": self.shop.campaign.earmark}

    def some(self):
        return self.chance.randint(1, max(self.free(), 1))

    def send_off(self):
        send_pieces(
            key=next(KEYS),
            store=self.shop.store,
            to_store=self.second,
            earmark=self.shop.campaign.earmark,
            lines={self.shop.part: self.some()},
            expected_on=TODAY,
            **BY,
        )

    def arrive(self):
        for transfer in Transfer.objects.filter(state=TransferState.SENT)[:1]:
            counts = {}
            for line in transfer.lines.all():
                good = self.chance.randint(0, line.quantity)
                damaged = self.chance.randint(0, line.quantity - good)
                counts[line.pk] = Arrived(good=good, damaged=damaged)
            receive_transfer(transfer=transfer, counts=counts, **BY)

    def turn_back(self):
        for transfer in Transfer.objects.filter(state=TransferState.SENT)[:1]:
            call_back(transfer=transfer, why="not needed", **BY)

    def recount(self):
        pockets = list(Balance.objects.filter(store=self.shop.store, **self.pocket))
        count = prepare_count(
            key=next(KEYS), store=self.shop.store, pockets=pockets, about="bin", **BY
        )
        found = {
            line.pk: max(pockets[0].on_hand + self.chance.choice([-1, 0, 1]), 0)
            for line in count.lines.all()
        }
        count = enter_count(count=count, found=found, **BY)
        book_count(
            count=count,
            reasons=dict.fromkeys(found, "miscounted"),
            taken_back=[],
            others_may=False,
            **BY,
        )

    def aside(self):
        facts = {"store": self.shop.store, **self.pocket, "quantity": 1, **BY}
        put_aside(key=next(KEYS), why="dropped", **facts)
        act = self.chance.choice([scrap, put_back])
        act(key=next(KEYS), why="looked at", **facts)

    def write_off_lost(self):
        lost = Movement.objects.filter(
            store=self.shop.store,
            kind__in=[MovementKind.SCRAP, MovementKind.COUNT, MovementKind.ARRIVE],
        ).exclude(subject__startswith="dispute:")
        for movement in lost[:1]:
            write_off_pieces(movement=movement, why="gone", dated=TODAY, **BY)

    def sell_counter(self):
        sell_pieces(
            key=next(KEYS),
            store=self.shop.store,
            **self.pocket,
            quantity=1,
            ticket="T-1",
            why_set_apart="urgent",
            by=self.seller,
            at=NOW,
        )

    def await_replacement(self):
        for dispute in Dispute.objects.filter(state=DisputeState.OPEN)[:1]:
            expect_replacement(
                dispute=dispute, number=next(KEYS), expected_on=TODAY, **BY
            )

    def count_replacement(self):
        coming = Shipment.objects.filter(
            received_at__isnull=True, lines__replaces__isnull=False
        )
        for shipment in coming[:1]:
            line = shipment.lines.get()
            damaged = self.chance.choice([0, 1])
            counts = {line.pk: Counted(good=line.sent - damaged, damaged=damaged)}
            receive_shipment(key=next(KEYS), shipment=shipment, counts=counts, **BY)

    def order_more(self):
        order = place_order(
            key=next(KEYS),
            store=self.shop.store,
            supplier=self.shop.part.supplier,
            earmark=self.shop.campaign.earmark,
            lines=[OrderedLine(part=self.shop.part, quantity=4)],
            **BY,
        )
        line = order.lines.get()
        shipment = announce_for_order(
            order=order,
            number=next(KEYS),
            sent={line.pk: self.chance.choice([2, 4])},
            expected_on=TODAY,
            bill_number="",
            bill_dated=None,
            **BY,
        )
        if self.chance.random() < 0.7:
            sent = shipment.lines.get()
            counts = {sent.pk: Counted(good=sent.sent)}
            receive_shipment(key=next(KEYS), shipment=shipment, counts=counts, **BY)

    def bill_order(self):
        order = self.chance.choice(list(PurchaseOrder.objects.order_by("pk")) or [None])
        left = sum(unbilled_pieces(order).values()) if order else 0
        if not left:
            raise NothingToCount
        line = order.lines.get()
        cents = max(line.unit_cost_cents + self.chance.choice([-7, 0, 13]), 0)
        pieces = self.chance.randint(1, left)
        enter_order_bill(
            order=order,
            number=next(KEYS),
            dated=TODAY,
            lines={line.pk: Priced(quantity=pieces, unit_cost_cents=cents)},
            **BY,
        )

    ACTS = (
        *History.ACTS,
        *(send_off, send_off, arrive, arrive, turn_back, recount, aside),
        *(write_off_lost, sell_counter, await_replacement, count_replacement),
        *(order_more, bill_order, bill_order),
    )

    def live(self, acts):
        """Do lawful acts; what the books refuse is no act."""
        self.chance.choice([self.count, self.count_damaged])()
        while acts:
            act = self.chance.choice(self.ACTS)
            try:
                act(self)
            except Refusal:
                continue
            acts -= 1
            yield act.__name__


@pytest.mark.parametrize("number", range(8))
def test_each_store_and_both_together_stay_equal(number):
    group = Group(number)
    first, second = group.shop.store.pk, group.second.pk
    acts = []
    for act in group.live(14):
        acts.append(act)
        for stores in ([first], [second], [first, second]):
            found = campaign_account(group.shop.campaign, store_ids=stores)
            assert found.account.balances, (acts, stores, found.account)
            assert statement_of(found).closing_cents == found.exposure_cents
    both = campaign_account(group.shop.campaign, store_ids=[first, second])
    assert both.account.owed.moved_in == both.account.owed.moved_out
    assert faults_of_the_books() == []


def test_a_transfer_by_hand():
    """Ten at 10.00: four sent, of which three arrive, one of them damaged.

    On the way they are the first store's; then 30.00 stand in the second, and 10.00
    are lost in the first until they are written off.
    """
    shop = fresh_shop(cents=1_000)
    shop.shelf(10)
    other = StoreFactory.create()
    transfer = send_pieces(
        key="t",
        store=shop.store,
        to_store=other,
        earmark=shop.campaign.earmark,
        lines={shop.part: 4},
        expected_on=TODAY,
        **BY,
    )

    def account(*stores):
        return campaign_account(
            shop.campaign, store_ids=[store.pk for store in stores]
        ).account

    assert account(shop.store).held.in_transit == 4_000
    later = {"by": None, "at": NOW + dt.timedelta(days=2)}
    line = transfer.lines.get()
    receive_transfer(
        transfer=transfer, counts={line.pk: Arrived(good=2, damaged=1)}, **later
    )
    one, two = account(shop.store), account(other)
    assert (one.held.on_hand, one.held.lost, one.held.in_transit) == (6_000, 1_000, 0)
    assert (one.owed.moved_out, one.balances) == (3_000, True)
    assert (two.held.on_hand, two.owed.moved_in, two.owed.billed) == (3_000, 3_000, 0)
    assert two.balances
    lost = Movement.objects.filter(entries__account="variance").get()
    write_off_pieces(movement=lost, why="carrier", dated=TODAY, **BY)
    one = account(shop.store)
    assert (one.held.lost, one.owed.written_off, one.balances) == (0, 1_000, True)
