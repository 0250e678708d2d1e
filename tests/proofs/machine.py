"""Any history of acts in the books, against the slow ones.

The rules do to the real books and to ``slowbooks`` the same; what the one refuses the
other must refuse, and then nothing has changed. After each act the properties of a
ledger of stock are checked on the rows of the database. Nothing here reads the ledger's
code: only its verbs, and what stands in its tables.
"""

import datetime as dt
from collections import Counter

import pytest
from django.db import transaction
from django.db.models import F, Sum
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
)

from campaigns.domain.claims import record_payment, reject, submit
from campaigns.domain.repairs import AlreadyRemedied
from campaigns.models import Claim, ClaimLine, PartFitted, Repair
from campaigns.queries.account import campaign_account
from campaigns.rules.lifecycle import ClaimState, Outcome
from dealership.rules.roles import Role
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.counting import (
    CountTakesPromised,
    book_count,
    enter_count,
    prepare_count,
)
from inventory.domain.disputes import settle_dispute
from inventory.domain.givingback import (
    cancel_return,
    credit_return,
    prepare_return,
    ship_return,
)
from inventory.domain.ledger import NotEnough
from inventory.domain.promises import keep_promises
from inventory.domain.quarantine import put_aside, put_back, scrap, take_in_removed
from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
)
from inventory.domain.replacing import expect_replacement
from inventory.domain.reserving import NothingFree, lapse, release, reserve_kit, settle
from inventory.domain.selling import sell_pieces
from inventory.domain.superseding import end_supersession, supersede
from inventory.domain.transferring import (
    Arrived,
    call_back,
    receive_transfer,
    send_pieces,
)
from inventory.models import (
    Balance,
    CostLayer,
    Dispute,
    Entry,
    Movement,
    Reservation,
    Transfer,
)
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import Account, DisputeState
from tests.campaigns.domain.shop import Shop
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.proofs.slowbooks import (
    FAR,
    INSIDE,
    SOON,
    Coming,
    Lot,
    Short,
    SlowBooks,
)


PROPERTIES = {
    "zero": "Each movement, and so the sum of all balances, is nothing.",
    "balance": "A balance is the sum of its entries.",
    "floor": "Free, held, in quarantine and on the way are never below zero.",
    "holds": "Held pieces are those of open holds, and never more than lie there.",
    "hold": "Of each hold: used + let go + still held = asked; it ends once.",
    "shipment": "Of each transfer: arrived + lost + on the way = sent.",
    "repeat": "The same key again changes nothing and answers with the first result.",
    "log": "The log only grows; what stood on an earlier moment comes out again.",
    "split": "Balances add up over any split of the log in two.",
    "units": "What came, less what was missing, is inside or has left by a named way.",
    "refusal": "What is refused leaves no trace.",
    "oversold": "One piece more than can be promised is refused; just so many are not.",
    "claim": "One remedy a vehicle; a fitted piece on one claim line; no more claimed.",
    "money": "The account of the campaign is equal on both sides, to the cent.",
    "model": "Every account, layer and promise is that of the slow books.",
}
"""What is checked, each at least once in a run."""

REFUSALS = (NotEnough, NothingFree, CountTakesPromised, AlreadyRemedied)
BY = {"by": None, "at": NOW}
EARLIER = NOW - dt.timedelta(days=3)
STORES = st.integers(0, 1)
PARTS = st.integers(0, 1)
MARKS = st.integers(0, 1)
PIECES = st.integers(1, 6)
POCKETS = st.tuples(STORES, PARTS, MARKS)
MARK_CHAINS = st.sampled_from([[0], [1, 0]])
VEHICLES = 2


class BooksMachine(RuleBasedStateMachine):
    """Two stores, two part numbers, one campaign, and whatever happens to them."""

    seen: Counter = Counter()

    def __init__(self):
        super().__init__()
        # each history starts from empty books and is undone at its end
        self.history = transaction.atomic()
        self.history.__enter__()
        shop = Shop(pieces_each=1, cents=1_825)
        self.shop = shop
        self.stores = [shop.store, StoreFactory.create()]
        self.parts = [shop.part, PartFactory.create(supplier=shop.part.supplier)]
        self.marks = [None, shop.campaign.earmark]
        self.seller = make_staff(Role.SERVICE_MANAGER, *self.stores)
        self.slow = SlowBooks()
        self.number = 0
        self.repeat = None
        self.in_step = True
        self.arrivals = {}
        self.awaited = {}
        self.disputes = {}
        self.boxes = {}
        self.sent = {}
        self.counts = {}
        self.vehicles = {}
        self.fitted = 0
        self.came = self.swapped = 0
        self.asked = {}
        self.snapshots = [(0, {})]
        self.log = []

    def teardown(self):
        try:
            if self.in_step:
                self.check_money_and_claims()
        finally:
            transaction.set_rollback(True)
            self.history.__exit__(None, None, None)

    # Help -------------------------------------------------------------------------

    def saw(self, name):
        assert name in PROPERTIES
        BooksMachine.seen[name] += 1

    def key(self):
        self.number += 1
        return f"act {self.number}"

    def words(self, pocket):
        store, part, mark = pocket
        return {
            "store": self.stores[store],
            "part": self.parts[part],
            "earmark": self.marks[mark],
        }

    def trace(self):
        """Give all that an act could leave behind."""
        return (
            Movement.objects.count(),
            Entry.objects.count(),
            sorted(Balance.objects.values_list("pk", *Account, "promised")),
            sorted(CostLayer.objects.values_list("pk", "taken")),
            sorted(Reservation.objects.values_list("pk", "state", "quantity", "used")),
        )

    def both(self, real, slow):
        """Do an act in both books, or have it refused by both; give what came.

        A refused act gives None.
        """
        before = self.trace()
        self.in_step = False
        try:
            answer = slow()
        except Short:
            with pytest.raises(REFUSALS), transaction.atomic():
                real()
            now = self.trace()
            # a pocket may have been opened, with nothing in it
            assert (now[:2], now[3:]) == (before[:2], before[3:])
            assert [one for one in now[2] if one not in before[2]] == [
                one for one in now[2] if one not in before[2] and not any(one[1:])
            ]
            self.saw("refusal")
            self.in_step = True
            return None
        self.repeat = real
        result = real()
        self.in_step = True
        return result, answer

    def draw_from(self, data, things):
        """Choose one of some things by chance; the first, where no chance is given."""
        there = sorted(things)
        return there[0] if data is None else data.draw(st.sampled_from(there))

    # Deliveries ---------------------------------------------------------------------

    @initialize(stock=st.lists(st.integers(0, 6), min_size=8, max_size=8))
    def fill_the_shelves(self, stock):
        """Begin with something: empty shelves refuse all that is asked of them."""
        pockets = [
            (store, part, mark)
            for store in (0, 1)
            for part in (0, 1)
            for mark in (0, 1)
        ]
        for pocket, pieces in zip(pockets, stock, strict=True):
            if pieces:
                self.have_delivered(pocket, pieces)

    @rule(pocket=POCKETS, pieces=PIECES)
    def have_delivered(self, pocket, pieces):
        """Announce and count a delivery that is in order, in one go."""
        name = self.announce_one(pocket, pieces, billed=bool(pocket[2]), expected=2)
        self.count_in(name, damaged=0, short=0, early=False)

    @rule(
        pocket=POCKETS,
        pieces=PIECES,
        billed=st.booleans(),
        expected=st.sampled_from([2, 2, 2, -1, None]),
    )
    def announce(self, pocket, pieces, billed, expected):
        self.announce_one(pocket, pieces, billed=billed, expected=expected)

    def announce_one(self, pocket, pieces, *, billed, expected):
        store, part, mark = pocket
        key = self.key()
        price = 1_825 if part == 0 else self.parts[1].unit_cost_cents
        bill = None
        if billed:
            bill = enter_bill(
                store=self.stores[store],
                supplier=self.parts[part].supplier,
                number=key,
                dated=TODAY,
                lines=[
                    BilledLine(
                        part=self.parts[part], quantity=pieces, unit_cost_cents=price
                    )
                ],
                earmark=self.marks[mark],
                **BY,
            )
            if mark:
                self.slow.money["billed"] += pieces * price

        def real():
            return announce_shipment(
                store=self.stores[store],
                supplier=self.parts[part].supplier,
                number=key,
                lines=[
                    SentLine(
                        part=self.parts[part],
                        quantity=pieces,
                        bill_line=bill.lines.get() if bill else None,
                    )
                ],
                announced_on=TODAY,
                expected_on=TODAY + dt.timedelta(days=expected)
                if expected is not None
                else None,
                bill=bill,
                earmark=self.marks[mark],
                **BY,
            )

        coming = Coming(pocket, pieces, expected == 2, price, billed)
        self.slow.coming.append(coming)
        self.arrivals[key] = (real(), coming)
        self.repeat = real
        return key

    @precondition(lambda self: self.arrivals)
    @rule(
        data=st.data(),
        damaged=st.integers(0, 2),
        short=st.integers(0, 2),
        early=st.booleans(),
    )
    def receive(self, data, damaged, short, early):
        name = self.draw_from(data, self.arrivals)
        self.count_in(name, damaged=damaged, short=short, early=early)

    def count_in(self, name, *, damaged, short, early):
        shipment, coming = self.arrivals.pop(name)
        short = min(short, coming.pieces)
        damaged = min(damaged, coming.pieces - short)
        good = coming.pieces - short - damaged
        at = EARLIER if early else NOW
        key = self.key()
        line = shipment.lines.get()

        def real():
            return receive_shipment(
                key=key,
                shipment=shipment,
                counts={line.pk: Counted(good=good, damaged=damaged)},
                by=None,
                at=at,
            )

        replaces = self.awaited.pop(name, None)
        real()
        self.repeat = real
        before = len(self.slow.disputes)
        self.slow.receive(
            coming,
            good,
            damaged,
            -3 if early else 0,
            disputes_short=coming.billed or replaces is not None,
        )
        self.came += good + damaged
        for dispute in self.slow.disputes[before:]:
            kind = "damaged" if dispute.layer else "short"
            self.disputes[Dispute.objects.get(shipment_line=line, kind=kind).pk] = (
                dispute
            )
        if replaces and replaces.layer:
            replaces.layer.aside -= replaces.pieces
            self.slow.move(replaces.pocket, "quarantine", "supplier", replaces.pieces)
            self.swapped += replaces.pieces

    @rule(store=STORES, part=PARTS)
    def worker_runs(self, store, part):
        """The job that a delivery leaves: promises are kept from what has come."""
        keep_promises(
            store=self.stores[store], part=self.parts[part], today=TODAY, **BY
        )
        self.slow.keep(store, part)

    @precondition(lambda self: self.disputes)
    @rule(data=st.data(), how=st.sampled_from(["credited", "replaced", "written_off"]))
    def end_dispute(self, data, how):
        number = self.draw_from(data, self.disputes)
        slow = self.disputes.pop(number)
        key = self.key()

        def real():
            return settle_dispute(
                dispute=Dispute.objects.get(pk=number),
                how=DisputeState(how),
                dated=TODAY,
                number=key,
                why="as agreed",
                **BY,
            )

        real()
        self.repeat = real
        self.slow.end_dispute(slow, how, 0)
        if how == "replaced":
            self.came += slow.pieces
            self.swapped += slow.pieces if slow.layer else 0

    @precondition(lambda self: self.disputes)
    @rule(data=st.data())
    def await_replacement(self, data):
        number = self.draw_from(data, self.disputes)
        slow = self.disputes.pop(number)
        key = self.key()
        shipment = expect_replacement(
            dispute=Dispute.objects.get(pk=number),
            number=key,
            expected_on=TODAY + dt.timedelta(days=2),
            **BY,
        )
        coming = Coming(slow.pocket, slow.pieces, counted_on=True, cents=slow.cents)
        self.slow.coming.append(coming)
        self.arrivals[key] = (shipment, coming)
        self.awaited[key] = slow

    # Promises -----------------------------------------------------------------------

    @rule(
        store=STORES,
        marks=MARK_CHAINS,
        wanted=st.dictionaries(PARTS, PIECES, min_size=1),
        day=st.sampled_from([SOON, FAR]),
    )
    def promise(self, store, marks, wanted, day):
        self.ask(store, marks, wanted, day)

    def ask(self, store, marks, wanted, day):
        key = self.key()

        def real():
            return reserve_kit(
                key=key,
                store=self.stores[store],
                wanted={self.parts[part]: n for part, n in wanted.items()},
                earmarks=[self.marks[mark] for mark in marks],
                subject=key,
                needed_on=TODAY + dt.timedelta(days=day),
                today=TODAY,
                **BY,
            )

        done = self.both(
            real, lambda: self.slow.promise(key, store, wanted, marks, day)
        )
        if done:
            self.asked[key] = sum(wanted.values())
        return done

    @rule(pocket=POCKETS, marks=MARK_CHAINS, day=st.sampled_from([SOON, FAR]))
    def ask_for_the_last(self, pocket, marks, day):
        """One piece more than there is, then just so many."""
        store, part, _mark = pocket
        most = self.slow.can_promise(store, part, marks, day)
        free = sum(self.slow.at((store, part, mark), "free") for mark in marks)
        if day == FAR and free > most:
            return  # what is free today may be had today, if nobody waits for it
        assert self.ask(store, marks, {part: most + 1}, day) is None
        if most:
            assert self.ask(store, marks, {part: most}, day) is not None
        self.saw("oversold")

    def holders(self):
        return {one.who for one in self.slow.live("held", "promised")}

    @precondition(lambda self: self.holders())
    @rule(
        data=st.data(),
        used=st.dictionaries(PARTS, st.integers(0, 7), min_size=1),
        marks=MARK_CHAINS,
    )
    def finish(self, data, used, marks):
        who = self.draw_from(data, self.holders())
        store = self.slow.live("held", "promised", who=who)[0].pocket[0]
        key = self.key()

        def real():
            return settle(
                subject=who,
                store=self.stores[store],
                used={self.parts[part]: n for part, n in used.items()},
                earmarks=[self.marks[mark] for mark in marks],
                key=key,
                effective_on=TODAY,
                **BY,
            )

        done = self.both(real, lambda: self.slow.settle(who, store, used, marks))
        if done:
            assert sum(one.quantity for one in done[0]) == done[1]

    @precondition(lambda self: self.holders())
    @rule(data=st.data(), missed=st.booleans())
    def let_go(self, data, missed):
        who = self.draw_from(data, self.holders())
        (lapse if missed else release)(subject=who, why="changed plans", **BY)
        self.slow.let_go(who, "lapsed" if missed else "released")

    # Quarantine, sales, returns ------------------------------------------------------

    @rule(pocket=POCKETS, pieces=PIECES)
    def set_aside(self, pocket, pieces):
        key = self.key()
        done = self.both(
            lambda: put_aside(
                key=key, quantity=pieces, why="bent", **self.words(pocket), **BY
            ),
            lambda: self.slow.aside(pocket, pieces),
        )
        if done:
            self.slow.lots.append(done[1])

    @rule(store=STORES, part=PARTS, pieces=PIECES)
    def take_in(self, store, part, pieces):
        """Parts that came out of a vehicle stand aside for good."""
        key = self.key()
        take_in_removed(
            key=key,
            store=self.stores[store],
            part=self.parts[part],
            quantity=pieces,
            why="out of a vehicle",
            **BY,
        )
        pocket = (store, part, 0)
        layer = self.slow.new_layer(pocket, 0, 0, aside=pieces)
        self.slow.move(pocket, "supplier", "quarantine", pieces)
        self.slow.lots.append(Lot(pocket, "removed", [[layer, pieces]]))
        self.came += pieces

    @precondition(lambda self: self.slow.lots)
    @rule(data=st.data(), pieces=st.integers(1, 3), back=st.booleans())
    def look_at_lots(self, data, pieces, back):
        """Free what is in order, scrap what is not; removed parts are never freed."""
        pockets = {one.pocket for one in self.slow.lots}
        pocket = self.draw_from(data, pockets)
        key = self.key()
        kinds = ("doubtful", "damaged") if back else ("doubtful", "damaged", "removed")

        def slow():
            target = "free" if back else "scrapped"
            self.slow.out_of_lots(pocket, pieces, target, kinds)
            if back:
                self.slow.keep(*pocket[:2])

        self.both(
            lambda: (put_back if back else scrap)(
                key=key, quantity=pieces, why="seen", **self.words(pocket), **BY
            ),
            slow,
        )

    @rule(pocket=POCKETS, pieces=st.integers(1, 3))
    def sell(self, pocket, pieces):
        key = self.key()
        self.both(
            lambda: sell_pieces(
                key=key,
                quantity=pieces,
                ticket="T-1",
                why_set_apart="urgent" if pocket[2] else "",
                by=self.seller,
                at=NOW,
                **self.words(pocket),
            ),
            lambda: self.slow.leave(pocket, pieces, "sold"),
        )

    @rule(pocket=POCKETS, pieces=PIECES)
    def box(self, pocket, pieces):
        key = self.key()
        store, part, mark = pocket

        def slow():
            shares = self.slow.leave(pocket, pieces, "quarantine")
            for layer, share in shares:
                layer.aside += share
            return shares

        done = self.both(
            lambda: prepare_return(
                key=key,
                store=self.stores[store],
                supplier=self.parts[part].supplier,
                earmark=self.marks[mark],
                lines={self.parts[part]: pieces},
                last_date=None,
                restocking_basis_points=0,
                **BY,
            ),
            slow,
        )
        if done:
            self.boxes[done[0].pk] = (done[0], pocket, done[1])

    @precondition(lambda self: self.boxes)
    @rule(data=st.data(), how=st.sampled_from(["ship", "credit", "unbox"]))
    def unbox(self, data, how):
        row, pocket, shares = self.boxes.pop(self.draw_from(data, self.boxes))
        pieces = sum(share for _layer, share in shares)
        for layer, share in shares:
            layer.aside -= share
            layer.shelf += share if how == "unbox" else 0
        if how == "unbox":
            cancel_return(goods_return=row, why="needed", **BY)
            self.slow.move(pocket, "quarantine", "free", pieces)
            self.slow.keep(*pocket[:2])
            return
        ship_return(goods_return=row, shipped_on=TODAY, **BY)
        self.slow.move(pocket, "quarantine", "returned", pieces)
        if how == "credit":
            credit_return(goods_return=row, number="C-1", dated=TODAY, **BY)
            if pocket[2]:
                cents = sum(layer.cents * share for layer, share in shares)
                self.slow.money["credited"] += cents

    # Between stores -------------------------------------------------------------------

    @rule(pocket=POCKETS, pieces=PIECES)
    def send(self, pocket, pieces):
        key = self.key()
        store, part, mark = pocket
        done = self.both(
            lambda: send_pieces(
                key=key,
                store=self.stores[store],
                to_store=self.stores[1 - store],
                earmark=self.marks[mark],
                lines={self.parts[part]: pieces},
                expected_on=TODAY + dt.timedelta(days=2),
                **BY,
            ),
            lambda: self.slow.leave(pocket, pieces, "transit"),
        )
        if done:
            there = (1 - store, part, mark)
            coming = Coming(there, pieces, counted_on=True, cents=0)
            self.slow.coming.append(coming)
            self.sent[done[0].pk] = (done[0], pocket, done[1], coming)

    @precondition(lambda self: self.sent)
    @rule(data=st.data(), damaged=st.integers(0, 2), lost=st.integers(0, 2))
    def arrive(self, data, damaged, lost):
        row, pocket, shares, coming = self.sent.pop(self.draw_from(data, self.sent))
        lost = min(lost, coming.pieces)
        damaged = min(damaged, coming.pieces - lost)
        good = coming.pieces - lost - damaged
        line = row.lines.get()

        def real():
            return receive_transfer(
                transfer=row,
                counts={line.pk: Arrived(good=good, damaged=damaged)},
                **BY,
            )

        real()
        self.repeat = real
        self.slow.coming.remove(coming)
        lot = self.slow.arrive(pocket, shares, good, damaged)
        if lot:
            self.slow.lots.append(lot)

    @precondition(lambda self: self.sent)
    @rule(data=st.data())
    def turn_back(self, data):
        row, pocket, shares, coming = self.sent.pop(self.draw_from(data, self.sent))
        call_back(transfer=row, why="wrong box", **BY)
        self.slow.coming.remove(coming)
        for layer, share in shares:
            layer.shelf += share
        self.slow.move(pocket, "transit", "free", coming.pieces)
        self.slow.keep(*pocket[:2])

    # Counts -----------------------------------------------------------------------------

    @rule(pocket=POCKETS, change=st.integers(-2, 2))
    def count(self, pocket, change):
        """Count blind; the difference is that of this moment, whatever comes after."""
        rows = list(Balance.objects.filter(**self.words(pocket)))
        if not rows:
            return
        row = prepare_count(
            key=self.key(),
            store=self.stores[pocket[0]],
            pockets=rows,
            about="shelf",
            **BY,
        )
        there = self.slow.at(pocket, "free") + self.slow.at(pocket, "held")
        found = max(there + change, 0)
        row = enter_count(count=row, found={row.lines.get().pk: found}, **BY)
        self.counts[row.pk] = (row, pocket, found - there)

    @precondition(lambda self: self.counts)
    @rule(data=st.data(), take_back=st.booleans())
    def book(self, data, take_back):
        row, pocket, difference = self.counts.pop(self.draw_from(data, self.counts))
        held = Reservation.objects.filter(state="held", **self.words(pocket))
        chosen = list(held.values_list("pk", flat=True)) if take_back else []
        done = self.both(
            lambda: book_count(
                count=row,
                reasons={row.lines.get().pk: "miscounted"},
                taken_back=chosen,
                others_may=False,
                **BY,
            ),
            lambda: self.slow.book(
                pocket,
                difference,
                self.parts[pocket[1]].unit_cost_cents,
                0,
                take_back=take_back,
            ),
        )
        if done:
            assert len(done[0].told) == done[1]

    # Papers that must not move a piece ------------------------------------------------

    @rule(ends=st.booleans())
    def replace_the_number(self, ends):
        """One number takes the place of the other: no piece moves by it."""
        old, new = self.parts
        if ends:
            end_supersession(old=old, why="a mistake", **BY)
        else:
            supersede(
                old=old, new=new, since=TODAY, old_stock_serves=True, why="new", **BY
            )

    @precondition(lambda self: self.repeat)
    @rule()
    def press_again(self):
        before = self.trace()
        self.repeat()
        assert self.trace() == before
        self.saw("repeat")

    # The campaign ----------------------------------------------------------------------

    @rule(vehicle=st.integers(0, VEHICLES - 1), used=st.integers(1, 3))
    def remedy(self, vehicle, used):
        """Fit pieces to a vehicle; one that has its remedy is refused another."""
        if vehicle not in self.vehicles:
            self.vehicles[vehicle] = [self.shop.row(), False]
        row, remedied = self.vehicles[vehicle]

        def real():
            repair = self.shop.open(row)
            return self.shop.complete(
                repair, used={self.shop.part: used}, note="so many"
            )

        def slow():
            if remedied:
                raise Short
            self.slow.settle("nobody", 0, {0: used}, [1, 0])
            self.slow.keep(0, 0)

        done = self.both(real, slow)
        self.repeat = None if done else self.repeat
        if done:
            keep_promises(store=self.stores[0], part=self.parts[0], today=TODAY, **BY)
            self.vehicles[vehicle][1] = True
            self.fitted += used

    @precondition(lambda self: self.fitted)
    @rule(act=st.sampled_from(["submit", "pay", "reject"]), full=st.booleans())
    def claim(self, act, full):
        """Send a claim in, or have it paid, in full or short, or refused."""
        wanted = {"submit": [ClaimState.READY, ClaimState.REJECTED]}
        states = wanted.get(act, [ClaimState.SUBMITTED])
        claim = Claim.objects.filter(
            campaign=self.shop.campaign, state__in=states
        ).first()
        if claim is None:
            return
        key = self.key()
        if act == "submit":
            submit(key=key, claim=claim, dated=TODAY, **BY)
        elif act == "reject":
            reject(key=key, claim=claim, why="no", dated=TODAY, **BY)
        else:
            paid = {
                line.pk: line.claimed_cents if full else line.claimed_cents // 2
                for line in claim.lines.all()
            }
            record_payment(key=key, claim=claim, paid=paid, dated=TODAY, **BY)

    # What always holds -------------------------------------------------------------------

    @invariant()
    def books_prove_themselves(self):
        assert faults_of_the_books() == []

    @invariant()
    def every_account_is_that_of_the_model(self):
        rows = {
            (
                self.stores.index(row.store),
                self.parts.index(row.part),
                self.marks.index(row.earmark),
            ): row
            for row in Balance.objects.select_related("store", "part", "earmark")
        }
        for pocket, row in rows.items():
            for account in Account:
                assert getattr(row, account) == self.slow.at(pocket, account), (
                    pocket,
                    account,
                )
        assert {one for one, _account in +self.slow.pieces} <= set(rows)
        self.saw("model")
        inside = [getattr(row, one) for row in rows.values() for one in INSIDE]
        assert min(inside, default=0) >= 0
        self.saw("floor")
        total = {
            one: sum(getattr(row, one) for row in rows.values()) for one in Account
        }
        assert sum(total.values()) == 0
        # received by hand, less what was found missing: inside, or gone by a named way
        gone = sum(total[one] for one in ("used", "sold", "returned", "scrapped"))
        assert self.came - self.swapped - total["variance"] == (
            sum(total[one] for one in INSIDE) + gone
        )
        self.saw("units")

    @invariant()
    def layers_are_those_of_the_model(self):
        found = sorted(
            (
                self.stores.index(one.store),
                self.parts.index(one.part),
                self.marks.index(one.earmark),
                one.unit_cost_cents,
                (one.received_on - TODAY).days,
                one.quantity - one.taken,
            )
            for one in CostLayer.objects.select_related("store", "part", "earmark")
        )
        assert found == sorted(
            (one.store, one.part, one.mark, one.cents, one.day, one.shelf + one.aside)
            for one in self.slow.layers
        )

    @invariant()
    def promises_are_those_of_the_model(self):
        rows = Reservation.objects.select_related("store", "part", "earmark")
        found = Counter(
            (
                row.subject,
                self.stores.index(row.store),
                self.parts.index(row.part),
                self.marks.index(row.earmark),
                row.quantity,
                (row.needed_on - TODAY).days,
                row.state,
                row.used,
            )
            for row in rows
            if not row.subject.startswith("repair")
        )
        assert found == Counter(
            (one.who, *one.pocket, one.pieces, one.day, one.state, one.used)
            for one in self.slow.promises
        )
        held = sum(row.quantity for row in rows if row.state == "held")
        lies = Balance.objects.aggregate(h=Sum("held"), n=Sum("on_hand"))
        assert held == (lies["h"] or 0) <= (lies["n"] or 0)
        self.saw("holds")

    @invariant()
    def each_hold_adds_up(self):
        """From the log: what went on hold for somebody came off it by one way each."""
        moved = Counter()
        for who, kind, account, n in (
            Entry.objects.filter(account__in=["held", "used"])
            .values_list("movement__subject", "movement__kind", "account")
            .annotate(n=Sum("quantity"))
            .order_by()
        ):
            moved[who, kind, account] += n
        for who in {one.who for one in self.slow.promises}:
            taken = moved[who, "reserve", "held"]
            used = moved[who, "settle", "used"]
            off = moved[who, "settle", "held"] + moved[who, "release", "held"]
            held = sum(one.pieces for one in self.slow.live("held", who=who))
            assert taken == held - off
            assert used + (-off - used) + held == taken
            assert 0 <= used <= -off
        ended = Reservation.objects.exclude(state__in=["held", "promised"])
        assert not ended.filter(resolved_at=None).exists()
        live = Reservation.objects.filter(state__in=["held", "promised"])
        assert not live.exclude(resolved_at=None).exists()
        self.saw("hold")

    @invariant()
    def each_transfer_adds_up(self):
        for row in Transfer.objects.prefetch_related("lines"):
            for line in row.lines.all():
                found = (line.good or 0) + (line.damaged or 0) + (line.lost or 0)
                if row.state == "arrived":
                    assert found == line.quantity
                else:
                    assert found == 0
        moving = Transfer.objects.filter(state="sent").aggregate(
            n=Sum("lines__quantity")
        )
        stands = Balance.objects.aggregate(n=Sum("transit"))
        assert (moving["n"] or 0) == (stands["n"] or 0)
        self.saw("shipment")

    @invariant()
    def log_only_grows_and_splits(self):
        now = list(
            Entry.objects.order_by("pk").values_list(
                "pk", "movement", "store", "part", "earmark", "account", "quantity"
            )
        )
        assert now[: len(self.log)] == self.log
        self.log = now
        of_movement = Counter()
        for _pk, movement, *_pocket, quantity in now:
            of_movement[movement] += quantity
        assert not any(of_movement.values())
        self.saw("zero")
        # the balances, added up by hand from the log
        sums = _sums(now)
        kept = {
            (row.store_id, row.part_id, row.earmark_id, account): getattr(row, account)
            for row in Balance.objects.all()
            for account in Account
            if getattr(row, account)
        }
        assert sums == kept
        self.saw("balance")
        length, then = self.snapshots[len(now) % len(self.snapshots)]
        assert _sums(now[:length]) == then
        self.saw("log")
        both = Counter(_sums(now[:length]))
        for name, quantity in _sums(now[length:]).items():
            both[name] += quantity
        assert {name: n for name, n in both.items() if n} == sums
        self.saw("split")
        self.snapshots.append((len(now), sums))

    def check_money_and_claims(self):
        found = campaign_account(
            self.shop.campaign, store_ids=[one.pk for one in self.stores]
        ).account
        assert found.balances, found
        slow = self.slow
        disputed = sum(
            one.pieces * one.cents
            for one in (*self.disputes.values(), *self.awaited.values())
            if one.layer and one.pocket[2]
        )
        lies = sum(
            one.cents * (one.shelf + one.aside) for one in slow.layers if one.mark
        )
        assert found.held.on_hand == lies - disputed
        told = (found.owed.billed, found.owed.credited, found.owed.written_off)
        assert told == tuple(
            slow.money[one] for one in ("billed", "credited", "written_off")
        )
        assert found.owed.moved_in == found.owed.moved_out
        self.saw("money")
        remedied = Repair.objects.filter(outcome=Outcome.REMEDIED)
        vehicles = list(remedied.values_list("campaign_vehicle", flat=True))
        assert len(vehicles) == len(set(vehicles))
        lines = ClaimLine.objects.filter(part_fitted__isnull=False)
        pieces = list(lines.values_list("part_fitted", flat=True))
        assert len(pieces) == len(set(pieces))
        claimed = lines.aggregate(n=Sum("quantity"))["n"] or 0
        used = PartFitted.objects.aggregate(n=Sum("quantity"))["n"] or 0
        assert claimed <= used == self.fitted
        assert not lines.filter(quantity__gt=F("part_fitted__quantity")).exists()
        self.saw("claim")


def _sums(entries):
    """Add entries up by account of a pocket; what is nothing is left out."""
    sums = Counter()
    for _pk, _movement, store, part, earmark, account, quantity in entries:
        sums[store, part, earmark, account] += quantity
    return {name: n for name, n in sums.items() if n}
