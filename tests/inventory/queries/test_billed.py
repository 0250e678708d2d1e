"""What of an order no bill is for."""

import pytest

from inventory.queries.billed import bills_of, unbilled_pieces
from tests.factories.inventory import (
    BillFactory,
    BillLineFactory,
    OrderLineFactory,
    ShipmentFactory,
)


pytestmark = pytest.mark.django_db


def test_bills_entered_against_an_order_and_named_by_its_deliveries_count_once():
    line = OrderLineFactory.create(quantity=20)
    order, part = line.order, line.part
    assert unbilled_pieces(order) == {part.pk: 20}

    mine = BillFactory.create(store=order.store, order=order)
    BillLineFactory.create(bill=mine, part=part, quantity=8)
    ShipmentFactory.create(store=order.store, order=order, bill=mine)
    named = BillFactory.create(store=order.store)
    BillLineFactory.create(bill=named, part=part, quantity=5)
    ShipmentFactory.create(store=order.store, order=order, bill=named)
    BillLineFactory.create(part=part, quantity=3)

    assert set(bills_of(order)) == {mine, named}
    assert unbilled_pieces(order) == {part.pk: 7}
    BillLineFactory.create(bill=mine, part=part, quantity=9)
    assert unbilled_pieces(order) == {part.pk: 0}
