"""A bill that comes with, before or after its pieces, at the price that it says."""

import pytest

from dealership.models import AuditEntry
from inventory.domain.billing import BillNumberTaken
from inventory.domain.order_bills import (
    BillWithoutLine,
    MoreThanSent,
    Priced,
    enter_order_bill,
)
from inventory.domain.ordering import OrderCannotMove, OrderedLine, place_order
from inventory.domain.quarantine import put_aside, put_back
from inventory.domain.receiving import Counted, receive_shipment
from inventory.domain.reserving import reserve, settle
from inventory.domain.sending import announce_for_order
from inventory.models import Bill, CostLayer, Entry, Movement
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import Account, OrderState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.inventory.books import stand


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create(unit_cost_cents=4_250)


@pytest.fixture
def order(store, part):
    """Ten pieces at 42.50."""
    return place_order(
        key="o",
        store=store,
        supplier=part.supplier,
        earmark=None,
        lines=[OrderedLine(part=part, quantity=10)],
        **BY,
    )


def send(order, pieces=10, *, number="PS-1"):
    return announce_for_order(
        order=order,
        number=number,
        sent={order.lines.get().pk: pieces},
        expected_on=TODAY,
        bill_number="",
        bill_dated=None,
        **BY,
    )


def come(shipment, good=None):
    line = shipment.lines.get()
    counts = {line.pk: Counted(good=line.sent if good is None else good)}
    return receive_shipment(
        key=f"count {shipment.pk}", shipment=shipment, counts=counts, **BY
    )


def bill(order, pieces=10, cents=4_310, *, number="B-1"):
    order.refresh_from_db()
    lines = {order.lines.get().pk: Priced(quantity=pieces, unit_cost_cents=cents)}
    return enter_order_bill(order=order, number=number, dated=TODAY, lines=lines, **BY)


def use(store, part, pieces, key="u"):
    return settle(
        subject=f"repair:{key}", store=store, used={part: pieces}, earmarks=[None],
        key=key, effective_on=TODAY, **BY,
    )  # fmt: skip


def layers():
    """Give (cents, pieces left) of each layer that has some."""
    rows = CostLayer.objects.order_by("pk")
    return [
        (one.unit_cost_cents, one.quantity - one.taken)
        for one in rows
        if one.quantity > one.taken
    ]


def test_pieces_that_are_still_to_come_come_in_at_the_price_billed(order):
    shipment = send(order)
    done = bill(order)
    assert (done.recosted, done.kept) == (0, 0)
    come(shipment)
    assert layers() == [(4_310, 10)]
    assert CostLayer.objects.get().bill_line.bill == done.bill


def test_pieces_on_the_shelf_move_to_the_price_and_used_ones_keep_theirs(
    order, store, part
):
    come(send(order))
    (fitted,) = use(store, part, 3)
    before = list(Entry.objects.order_by("pk").values())

    done = bill(order)

    assert layers() == [(4_310, 7)]
    assert (done.recosted, done.kept, done.difference_cents) == (7, 3, 180)
    assert stand(store, part) == (7, 0, 0, 3)
    assert list(Entry.objects.order_by("pk").values())[: len(before)] == before
    assert fitted.layer.unit_cost_cents == 4_250
    at_price = CostLayer.objects.latest("pk")
    assert (at_price.bill_line.bill, at_price.received_on) == (done.bill, TODAY)
    assert use(store, part, 1, key="later")[0].unit_cost_cents == 4_310
    assert faults_of_the_books() == []


def test_held_pieces_move_too_and_stay_held(order, store, part):
    come(send(order))
    reserve(
        key="r", store=store, part=part, quantity=8, earmarks=[None],
        subject="visit_job:1", needed_on=TODAY, today=TODAY, **BY,
    )  # fmt: skip
    bill(order)
    assert stand(store, part) == (2, 8, 0, 0)
    assert layers() == [(4_310, 10)]
    assert faults_of_the_books() == []


def test_what_is_set_aside_keeps_its_layer(order, store, part):
    come(send(order))
    lot = put_aside(
        key="q", store=store, part=part, earmark=None, quantity=4, why="wet", **BY
    )
    done = bill(order)
    assert layers() == [(4_250, 4), (4_310, 6)]
    assert (done.recosted, done.kept) == (6, 4)
    put_back(
        key="b", store=store, part=part, earmark=None, quantity=4, lot=lot,
        why="dry again", **BY,
    )  # fmt: skip
    assert faults_of_the_books() == []


def test_the_same_price_moves_nothing(order, store, part):
    come(send(order))
    use(store, part, 3)
    done = bill(order, cents=4_250)
    assert (done.recosted, done.kept, done.difference_cents) == (0, 0, 0)
    assert layers() == [(4_250, 7)]
    assert not Movement.objects.filter(key__startswith="bill_line:").exists()


def test_the_same_bill_again_changes_nothing_and_another_one_is_refused(order):
    come(send(order))
    first = bill(order)
    assert bill(order).bill == first.bill
    assert layers() == [(4_310, 10)]
    assert AuditEntry.objects.filter(act="layer.recosted").count() == 1
    with pytest.raises(BillNumberTaken):
        bill(order, cents=4_400)
    assert Bill.objects.count() == 1


def test_two_bills_of_one_delivery_each_take_their_own_pieces(order):
    come(send(order))
    bill(order, 4, 4_310, number="B-1")
    bill(order, 6, 4_270, number="B-2")
    assert layers() == [(4_310, 4), (4_270, 6)]
    with pytest.raises(MoreThanSent) as refused:
        bill(order, 1, number="B-3")
    assert refused.value.most == 0
    assert faults_of_the_books() == []


def test_what_was_counted_first_is_billed_first_and_the_rest_later(order):
    """Six are here and four on their way: a bill for ten covers both."""
    come(send(order, 6))
    coming = send(order, 4, number="PS-2")
    bill(order)
    assert layers() == [(4_310, 6)]
    come(coming)
    assert layers() == [(4_310, 6), (4_310, 4)]
    assert faults_of_the_books() == []


def test_a_draft_has_no_bill_and_a_bill_has_a_piece(order):
    with pytest.raises(BillWithoutLine):
        bill(order, 0)
    with pytest.raises(MoreThanSent):
        bill(order, 11)
    order.state = OrderState.DRAFT
    order.save()
    with pytest.raises(OrderCannotMove):
        bill(order)
    assert not Bill.objects.exists()


def test_every_piece_is_still_explained_by_its_entries(order, store, part):
    come(send(order))
    use(store, part, 3)
    bill(order)
    inside = Entry.objects.filter(account__in=[Account.FREE, Account.HELD])
    assert sum(inside.values_list("quantity", flat=True)) == 7
    outside = Entry.objects.filter(account=Account.SUPPLIER)
    assert sum(outside.values_list("quantity", flat=True)) == -10
