"""Orders: placed once, confirmed, moved on by what comes, cancelled while they may be."""

import datetime as dt

import pytest

from dealership.models import AuditEntry
from inventory.domain.ledger import NotPieces
from inventory.domain.ordering import (
    CloseReasonMissing,
    NothingOrdered,
    OrderCannotMove,
    OrderedLine,
    OtherSupplier,
    advance_order,
    cancel_order,
    close_order,
    confirm_order,
    place_order,
)
from inventory.models import OrderLine, PurchaseOrder
from inventory.queries.stock import stock_of
from inventory.rules.accounts import OrderState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import (
    PartFactory,
    ShipmentFactory,
    SupplierFactory,
)


pytestmark = pytest.mark.django_db


def order_of(part, *, store=None, key="o", lines=None, supplier=None):
    return place_order(
        key=key,
        store=store or StoreFactory.create(),
        supplier=supplier or part.supplier,
        earmark=None,
        lines=[OrderedLine(part=part, quantity=20)] if lines is None else lines,
        by=None,
        at=NOW,
    )


def test_price_and_day_are_the_parts_own_where_none_is_given():
    part = PartFactory.create(unit_cost_cents=1_825, lead_days=6)

    line = order_of(part).lines.get()

    assert (line.unit_cost_cents, line.expected_on) == (
        1_825,
        TODAY + dt.timedelta(days=6),
    )


def test_the_same_key_gives_the_first_order():
    part, store = PartFactory.create(), StoreFactory.create()

    first = order_of(part, store=store)

    assert order_of(part, store=store) == first
    assert PurchaseOrder.objects.count() == 1
    assert AuditEntry.objects.filter(act="order.placed").count() == 1


def test_a_replaced_part_is_ordered_under_its_last_number():
    supplier = SupplierFactory.create()
    last = PartFactory.create(supplier=supplier)
    middle = PartFactory.create(supplier=supplier, superseded_by=last)
    first = PartFactory.create(supplier=supplier, superseded_by=middle)

    assert order_of(first).lines.get().part == last


@pytest.mark.parametrize("quantity", [0, -1])
def test_only_pieces_are_ordered(quantity):
    part = PartFactory.create()

    with pytest.raises(NotPieces):
        order_of(part, lines=[OrderedLine(part=part, quantity=quantity)])
    assert not PurchaseOrder.objects.exists()


def test_what_makes_no_order_is_refused():
    part = PartFactory.create()

    with pytest.raises(NothingOrdered):
        order_of(part, lines=[])
    with pytest.raises(OtherSupplier, match=part.number):
        order_of(part, supplier=SupplierFactory.create())


def test_confirmed_days_are_written_down_once():
    order = order_of(PartFactory.create())
    line = order.lines.get()
    days = {line.pk: TODAY + dt.timedelta(days=30)}

    for _time in range(2):
        confirmed = confirm_order(order=order, dates=days, by=None, at=NOW)

    assert confirmed.state == OrderState.CONFIRMED
    assert OrderLine.objects.get(pk=line.pk).expected_on == days[line.pk]
    assert AuditEntry.objects.filter(act="order.confirmed").count() == 1


def test_an_order_moves_on_with_what_comes():
    order = order_of(PartFactory.create())
    states = []
    for received in (5, 20):
        order.lines.update(received=received)
        advance_order(order_id=order.pk)
        states.append(PurchaseOrder.objects.get(pk=order.pk).state)

    assert states == [OrderState.PART_RECEIVED, OrderState.RECEIVED]
    with pytest.raises(OrderCannotMove):
        confirm_order(order=order, dates={}, by=None, at=NOW)


def test_an_order_is_cancelled_once():
    order = order_of(PartFactory.create())

    for _time in range(2):
        gone = cancel_order(order=order, by=None, at=NOW, why="entered twice")

    assert gone.state == OrderState.CANCELLED
    assert AuditEntry.objects.filter(act="order.cancelled").count() == 1
    advance_order(order_id=order.pk)
    assert PurchaseOrder.objects.get(pk=order.pk).state == OrderState.CANCELLED


def test_an_order_with_a_delivery_on_its_way_stays():
    order = order_of(PartFactory.create())
    ShipmentFactory.create(store=order.store, order=order)

    with pytest.raises(OrderCannotMove, match=f"Order {order.number} is"):
        cancel_order(order=order, by=None, at=NOW, why="too many")


def test_a_back_order_has_no_day_until_the_supplier_names_one():
    order = order_of(PartFactory.create())
    line = order.lines.get()

    def say(**facts):
        given = {"dates": {}, "back_ordered": [], **facts}
        return confirm_order(order=order, **given, by=None, at=NOW)

    behind = say(back_ordered=[line.pk])
    line.refresh_from_db()
    assert (behind.state, line.expected_on) == (OrderState.BACK_ORDERED, None)
    assert [one.day for one in stock_of(store=order.store).coming] == [None]
    day = TODAY + dt.timedelta(days=30)
    named = say(dates={line.pk: day})
    line.refresh_from_db()
    assert (named.state, line.expected_on) == (OrderState.CONFIRMED, day)
    line.received = 5
    line.save()
    advance_order(order_id=order.pk)
    assert say(back_ordered=[line.pk]).state == OrderState.BACK_ORDERED
    assert say(dates={line.pk: day}).state == OrderState.PART_RECEIVED


def test_the_rest_of_an_order_is_closed_unless_a_delivery_is_on_its_way():
    order = order_of(PartFactory.create())
    shipment = ShipmentFactory.create(
        store=order.store, supplier=order.supplier, order=order
    )

    def close(why="out of production"):
        return close_order(order=order, why=why, by=None, at=NOW)

    with pytest.raises(CloseReasonMissing):
        close(" ")
    with pytest.raises(OrderCannotMove):
        close()
    shipment.received_at = NOW
    shipment.save()
    for _again in range(2):
        assert close().state == OrderState.CLOSED
    assert stock_of(store=order.store).coming == ()
    assert AuditEntry.objects.filter(act="order.closed").count() == 1
    with pytest.raises(OrderCannotMove):
        cancel_order(order=order, by=None, at=NOW, why="")
    # what comes all the same opens it no more
    advance_order(order_id=order.pk)
    assert PurchaseOrder.objects.get().state == OrderState.CLOSED
