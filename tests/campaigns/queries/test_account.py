"""Both sides of a campaign's account, on rows made by the real domain functions."""

import random

import pytest

from campaigns.domain.claims import record_payment, reject, submit, write_off
from campaigns.domain.first_batch import BillPaper, SlipPaper, announce, receive
from campaigns.models import Claim
from campaigns.queries.account import (
    campaign_account,
    campaign_accounts,
    held_rows,
    whole_account,
)
from campaigns.queries.statement import statement_of
from campaigns.rules.exposure import Account, AgeBand, Held, Owed
from campaigns.rules.lifecycle import CampaignClass, ClaimState, Outcome
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.disputes import settle_dispute
from inventory.domain.givingback import credit_return, prepare_return, ship_return
from inventory.domain.ledger import Line, post
from inventory.domain.quarantine import put_aside, scrap
from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
)
from inventory.models import Balance, Dispute, WriteOff
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import Account as Place
from inventory.rules.accounts import DisputeState, MovementKind
from tests.campaigns.domain.shop import KEYS, Shop, put_on_shelf
from tests.factories.dealership import NOW, TODAY


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}


def account_of(shop, **facts):
    return campaign_account(shop.campaign, **{"store_ids": [shop.store.pk], **facts})


def move(shop, source, target, pieces, kind=MovementKind.COUNT):
    line = Line(
        part=shop.part,
        earmark=shop.campaign.earmark,
        source=source,
        target=target,
        quantity=pieces,
    )
    return post(
        key=next(KEYS),
        kind=kind,
        store=shop.store,
        lines=[line],
        effective_on=TODAY,
        why="missing at the count",
        **BY,
    )


def give_back(shop, pieces, *, credited):
    boxed = prepare_return(
        key=next(KEYS),
        store=shop.store,
        supplier=shop.part.supplier,
        earmark=shop.campaign.earmark,
        lines={shop.part: pieces},
        last_date=None,
        restocking_basis_points=1_500,
        **BY,
    )
    ship_return(goods_return=boxed, shipped_on=TODAY, **BY)
    if credited:
        credit_return(goods_return=boxed, number="C-1", dated=TODAY, **BY)


def repaired(shop):
    return Claim.objects.get(repair=shop.complete())


def sent(claim):
    return submit(key=next(KEYS), claim=claim, dated=TODAY, **BY)


def paid(claim, share=1):
    lines = {line.pk: int(line.claimed_cents * share) for line in claim.lines.all()}
    return record_payment(key=next(KEYS), claim=claim, paid=lines, dated=TODAY, **BY)


def test_the_worked_example_through_the_real_tables():
    """120 pieces at 64.10; 18 credited, 52 paid; 50 pieces are tied up, 3,205.00.

    By hand: 7,692.00 - 1,153.80 - 3,333.20 = 3,205.00 = 22 on hand 1,410.20 + 10 used
    641.00 + 8 claimed 512.80 + 7 returned 448.70 + 3 lost 192.30.
    """
    shop = Shop(cents=6_410, pieces_each=1)
    shop.shelf(120)
    give_back(shop, 18, credited=True)
    give_back(shop, 7, credited=False)
    move(shop, Place.FREE, Place.VARIANCE, 3)
    waiting, refused_to_pay, settled = (
        Claim.objects.get(repair=shop.complete(used={shop.part: pieces}))
        for pieces in (10, 8, 52)
    )
    assert waiting.state == ClaimState.READY
    sent(refused_to_pay)
    paid(sent(settled))

    found = account_of(shop)
    assert found.account == Account(
        owed=Owed(billed=769_200, credited=115_380, paid=333_320),
        held=Held(
            on_hand=141_020,
            used_not_claimed=64_100,
            claimed_not_paid=51_280,
            returned_not_credited=44_870,
            lost=19_230,
        ),
    )
    assert found.exposure_cents == found.account.owed.total == 320_500
    assert found.ages(today=TODAY)["on_hand"] == {
        AgeBand.UP_TO_30: 141_020,
        AgeBand.UP_TO_60: 0,
        AgeBand.UP_TO_90: 0,
        AgeBand.OVER_90: 0,
    }
    for name, rows in found.rows.items():
        side = found.account.owed if hasattr(Owed(), name) else found.account.held
        assert sum(row.cents for row in rows) == getattr(side, name)


def batch(shop, *, billed=10, sent_=10, good=7, damaged=1, bill_first=True):
    """Announce a batch: some short, some damaged."""
    bill = BillPaper(
        number=next(KEYS),
        dated=TODAY,
        quantity=billed,
        unit_cost_cents=shop.cents,
    )
    allocation = announce(
        campaign=shop.campaign,
        store=shop.store,
        part=shop.part,
        quantity=sent_,
        unit_cost_cents=shop.cents,
        announced_on=TODAY,
        bill=bill if bill_first else None,
        slip=SlipPaper(number=next(KEYS), quantity=sent_, expected_on=TODAY),
        **BY,
    )
    return allocation, bill


def fresh_shop(**facts):
    shop = Shop(**facts)
    shop.part.supplier = shop.campaign.supplier
    shop.part.save()
    return shop


def count(allocation, *, good, damaged):
    receive(
        key=next(KEYS),
        allocation=allocation,
        good=good,
        damaged=damaged,
        bin_code="A-1",
        **BY,
    )


def test_not_arrived_then_short_and_damaged_in_dispute():
    shop = fresh_shop(cents=1_000)
    allocation, _bill = batch(shop)
    assert account_of(shop).account == Account(
        owed=Owed(billed=10_000), held=Held(not_yet_arrived=10_000)
    )
    count(allocation, good=7, damaged=1)
    assert account_of(shop).account.held == Held(in_dispute=3_000, on_hand=7_000)


@pytest.mark.parametrize(
    ("how", "owed", "held"),
    [
        (DisputeState.CREDITED, {"credited": 3_000}, {"on_hand": 7_000}),
        (DisputeState.REPLACED, {}, {"on_hand": 10_000}),
        (DisputeState.WRITTEN_OFF, {"written_off": 3_000}, {"on_hand": 7_000}),
    ],
)
def test_each_end_of_a_dispute(how, owed, held):
    shop = fresh_shop(cents=1_000)
    allocation, _bill = batch(shop)
    count(allocation, good=7, damaged=1)
    for dispute in Dispute.objects.all():
        settle_dispute(dispute=dispute, how=how, dated=TODAY, why="as agreed", **BY)
    assert account_of(shop).account == Account(
        owed=Owed(billed=10_000, **owed), held=Held(**held)
    )


def arrive_unbilled(shop, pieces):
    slip = announce_shipment(
        store=shop.store,
        supplier=shop.part.supplier,
        number=next(KEYS),
        lines=[SentLine(part=shop.part, quantity=pieces)],
        announced_on=TODAY,
        expected_on=TODAY,
        earmark=shop.campaign.earmark,
        **BY,
    )
    counted = Counted(good=pieces, damaged=0, bin_code="A-1")
    receive_shipment(
        key=next(KEYS), shipment=slip, counts={slip.lines.get().pk: counted}, **BY
    )


def test_pieces_that_came_before_their_bill_are_owed():
    shop = fresh_shop(cents=1_000)
    arrive_unbilled(shop, 4)
    assert account_of(shop).account == Account(
        owed=Owed(received_before_bill=4_000), held=Held(on_hand=4_000)
    )


@pytest.mark.parametrize(("price", "off"), [(1_000, 0), (1_050, 200), (990, -40)])
def test_a_bill_that_comes_later_takes_their_place(price, off):
    shop = fresh_shop(cents=1_000)
    arrive_unbilled(shop, 4)
    enter_bill(
        store=shop.store,
        supplier=shop.part.supplier,
        number="late",
        dated=TODAY,
        lines=[BilledLine(part=shop.part, quantity=6, unit_cost_cents=price)],
        earmark=shop.campaign.earmark,
        **BY,
    )
    assert account_of(shop).account == Account(
        owed=Owed(billed=6 * price),
        held=Held(not_yet_arrived=2 * price, on_hand=4_000, in_dispute=off),
    )


def test_pieces_of_other_stock_come_in_and_other_campaigns_are_charged():
    shop = Shop(cents=1_000, pieces_each=2)
    other = Shop(store=shop.store, cents=1_000, pieces_each=1)
    other.variant.parts.update(part=shop.part)
    put_on_shelf(store=shop.store, part=shop.part, pieces=1, cents=900)
    shop.shelf(1)
    shop.complete()
    assert account_of(shop).account == Account(
        owed=Owed(billed=1_000, from_other_stock=900),
        held=Held(used_not_claimed=1_900),
    )
    assert account_of(other).account == Account(owed=Owed(), held=Held())


def test_a_sale_over_the_counter_and_a_paying_customer():
    shop = Shop(cents=1_000, pieces_each=1)
    shop.campaign.campaign_class = CampaignClass.SATISFACTION
    shop.campaign.odometer_limit = 10
    shop.campaign.save()
    shop.shelf(3)
    shop.complete()
    move(shop, Place.FREE, Place.SOLD, 1, MovementKind.SELL)
    assert account_of(shop).account == Account(
        owed=Owed(billed=3_000, charged_to_customers=2_000), held=Held(on_hand=1_000)
    )


def test_used_without_a_repair_on_record_is_told():
    shop = Shop(cents=1_000)
    shop.shelf(3)
    move(shop, Place.FREE, Place.USED, 2, MovementKind.USE)
    found = account_of(shop)
    assert found.account.held == Held(on_hand=1_000, used_not_claimed=2_000)
    assert [row.since for row in found.rows["used_not_claimed"]] == [None]


def test_scrapped_is_lost_until_it_is_written_off():
    shop = Shop(cents=1_000)
    shop.shelf(3)
    facts = {
        "store": shop.store,
        "part": shop.part,
        "earmark": shop.campaign.earmark,
        "quantity": 1,
        "why": "dropped",
    }
    put_aside(key="aside", **facts, **BY)
    scrap(key="scrap", **facts, **BY)
    assert account_of(shop).account.held == Held(on_hand=2_000, lost=1_000)
    WriteOff.objects.create(
        store=shop.store,
        earmark=shop.campaign.earmark,
        key="off",
        of="inventory.movement:1",
        cents=1_000,
        why="dropped",
        dated=TODAY,
        recorded_at=NOW,
    )
    assert account_of(shop).account == Account(
        owed=Owed(billed=3_000, written_off=1_000), held=Held(on_hand=2_000)
    )


def test_another_store_is_not_in_it():
    shop = Shop(cents=1_000)
    shop.shelf(3)
    put_on_shelf(
        store=Shop().store,
        part=shop.part,
        pieces=5,
        cents=1_000,
        campaign=shop.campaign,
    )
    assert account_of(shop).account.owed.billed == 3_000


def test_an_act_that_is_not_in_the_papers_breaks_the_balance():
    """The two sides are read from different tables, so one can be wrong alone."""
    shop = Shop(cents=1_000)
    layer = shop.shelf(3)
    layer.bill_line.bill.earmark = None
    layer.bill_line.bill.save()
    assert account_of(shop).account.difference_cents == -3_000


class History:
    """Random but lawful acts on one campaign; each leaves the account equal."""

    def __init__(self, seed):
        self.chance = random.Random(seed)
        self.shop = fresh_shop(
            cents=self.chance.choice([333, 1_825, 6_410]),
            pieces_each=self.chance.choice([1, 2]),
        )
        self.allocation, self.bill = batch(
            self.shop, billed=self.chance.choice([9, 10, 12])
        )

    def free(self):
        pocket = Balance.objects.filter(
            part=self.shop.part, earmark=self.shop.campaign.earmark
        ).first()
        return pocket.free if pocket else 0

    def claim(self, *states):
        claims = Claim.objects.filter(campaign=self.shop.campaign, state__in=states)
        return claims.first()

    def count(self):
        if self.allocation.shipment.received_at is None:
            count(self.allocation, good=self.chance.choice([6, 10, 8]), damaged=0)
            self.allocation.shipment.refresh_from_db()

    def count_damaged(self):
        if self.allocation.shipment.received_at is None:
            count(self.allocation, good=6, damaged=2)
            self.allocation.shipment.refresh_from_db()

    def settle_dispute(self):
        for dispute in Dispute.objects.filter(state=DisputeState.OPEN)[:1]:
            how = self.chance.choice(
                [
                    DisputeState.CREDITED,
                    DisputeState.REPLACED,
                    DisputeState.WRITTEN_OFF,
                ]
            )
            settle_dispute(dispute=dispute, how=how, dated=TODAY, why="so", **BY)

    def repair(self):
        if self.free() >= self.shop.pieces_each:
            self.shop.complete()

    def repair_with_more(self):
        put_on_shelf(store=self.shop.store, part=self.shop.part, pieces=2, cents=1_111)
        pieces = self.free() + 1
        self.shop.complete(used={self.shop.part: min(pieces, 3)}, note="so many")

    def stop(self):
        self.shop.complete(outcome=Outcome.STOPPED, used={})

    def customer_pays(self):
        self.shop.campaign.campaign_class = CampaignClass.SERVICE_ACTION
        self.shop.campaign.odometer_limit = 100
        self.shop.campaign.save()
        self.repair()
        self.shop.campaign.odometer_limit = None
        self.shop.campaign.save()

    def send(self):
        claim = self.claim(ClaimState.READY, ClaimState.REJECTED, ClaimState.SHORT_PAID)
        if claim:
            sent(claim)

    def pay(self):
        claim = self.claim(ClaimState.SUBMITTED)
        if claim:
            paid(claim, self.chance.choice([1, 0.9, 0.4]))

    def reject(self):
        claim = self.claim(ClaimState.SUBMITTED)
        if claim:
            reject(key=next(KEYS), claim=claim, why="no", dated=TODAY, **BY)

    def give_up(self):
        claim = self.claim(ClaimState.READY, ClaimState.REJECTED, ClaimState.SHORT_PAID)
        if claim:
            write_off(key=next(KEYS), claim=claim, why="no", dated=TODAY, **BY)

    def give_back(self):
        if self.free():
            give_back(self.shop, 1, credited=self.chance.random() < 0.5)

    def lose(self):
        if self.free():
            move(self.shop, Place.FREE, Place.VARIANCE, 1)

    def sell(self):
        if self.free():
            move(self.shop, Place.FREE, Place.SOLD, 1, MovementKind.SELL)

    def arrive_unbilled(self):
        arrive_unbilled(self.shop, 2)

    ACTS = (
        *(settle_dispute, repair, repair, repair_with_more, stop, customer_pays, send),
        *(send, send, pay, pay, reject, give_up, give_back, lose, sell),
        arrive_unbilled,
    )

    def live(self, acts):
        if self.chance.random() < 0.9:
            self.chance.choice([self.count, self.count_damaged])()
        for _each in range(acts):
            act = self.chance.choice(self.ACTS)
            act(self)
            yield act.__name__


@pytest.mark.parametrize("seed", range(30))
def test_both_sides_are_equal_in_300_random_histories(seed):
    """30 runs of ten acts, read after each act: each beginning is a history."""
    history = History(seed)
    acts = []
    for act in history.live(10):
        acts.append(act)
        found = account_of(history.shop).account
        assert found.balances, (acts, found)
        assert found.owed.billed
    whole = account_of(history.shop)
    assert statement_of(whole).closing_cents == whole.exposure_cents, acts
    mine = history.shop.campaign.pk
    alone = held_rows([history.shop.campaign], store_ids=[history.shop.store.pk])[mine]
    assert {name: tuple(rows) for name, rows in alone.items()} == {
        name: whole.rows[name] for name in alone
    }
    assert faults_of_the_books() == []


def test_many_accounts_take_the_queries_of_one(django_assert_num_queries):
    shops = [Shop(cents=1_000) for _each in range(3)]
    for shop in shops:
        shop.shelf(4)
        paid(sent(repaired(shop)))
    stores = [shop.store.pk for shop in shops]
    campaigns = [shop.campaign for shop in shops]
    for some in (campaigns[:1], campaigns):
        with django_assert_num_queries(21):
            found = campaign_accounts(some, store_ids=stores)
        assert {one.account.held.on_hand for one in found.values()} == {2_000}
    whole = whole_account(found.values())
    assert (whole.held.on_hand, whole.owed.billed) == (6_000, 12_000)
    assert whole.balances
