import pytest

from dealership.models import AuditEntry
from inventory.domain.drafting import (
    AlreadyOnOrder,
    NotWholePacks,
    OverTheLimit,
    add_line,
    change_line,
    draft_order,
    send_order,
)
from inventory.domain.ledger import NotPieces
from inventory.domain.ordering import (
    NothingOrdered,
    OrderCannotMove,
    OrderedLine,
    OtherSupplier,
)
from inventory.models import PurchaseOrder
from inventory.queries.stock import stock_of
from inventory.rules.accounts import OrderState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.inventory.books import later


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create(pack=5, minimum_order=10, order_limit=40, lead_days=6)


def draft(store, part, pieces=10):
    return draft_order(
        key="d",
        store=store,
        earmark=None,
        line=OrderedLine(part=part, quantity=pieces),
        **BY,
    )


def add(order, part, pieces=10):
    return add_line(order=order, line=OrderedLine(part=part, quantity=pieces), **BY)


def test_a_draft_is_not_expected_and_a_sent_order_is(store, part):
    order = draft(store, part)
    assert draft(store, part) == order
    assert (order.state, order.supplier) == (OrderState.DRAFT, part.supplier)
    assert stock_of(store=store).coming == ()
    for _again in range(2):
        sent = send_order(order=order, **BY)
    assert (sent.state, sent.placed_on) == (OrderState.SENT, TODAY)
    (coming,) = stock_of(store=store).coming
    assert (coming.pieces, coming.day, coming.page) == (10, later(6), "inventory:order")
    acts = AuditEntry.objects.filter(act__startswith="order.").order_by("pk")
    assert [one.act for one in acts] == ["order.drafted", "order.placed"]


@pytest.mark.parametrize(("pieces", "offered"), [(1, 10), (9, 10), (11, 15), (39, 40)])
def test_the_next_number_that_can_be_ordered_is_offered(store, part, pieces, offered):
    with pytest.raises(NotWholePacks) as refused:
        draft(store, part, pieces)
    assert refused.value.offered == offered
    assert f"Order {offered}." in refused.value.sentence
    assert not PurchaseOrder.objects.exists()


def test_refusals_of_a_line(store, part):
    order = draft(store, part)
    with pytest.raises(OverTheLimit):
        add(order, part, 45)
    with pytest.raises(AlreadyOnOrder):
        add(order, part, 15)
    with pytest.raises(OtherSupplier):
        add(order, PartFactory.create())
    with pytest.raises(NotPieces):
        add(order, PartFactory.create(supplier=part.supplier), 0)


def test_lines_are_changed_and_taken_off(store, part):
    order = draft(store, part)
    line = order.lines.get()
    assert change_line(line=line, quantity=20, **BY).quantity == 20
    with pytest.raises(NotWholePacks):
        change_line(line=line, quantity=21, **BY)
    change_line(line=line, quantity=0, **BY)
    assert not order.lines.exists()
    with pytest.raises(NothingOrdered):
        send_order(order=order, **BY)


def test_an_old_number_is_ordered_under_the_newest(store, part):
    old = PartFactory.create(superseded_by=part, supplier=part.supplier)
    assert draft(store, old).lines.get().part == part


def test_a_sent_order_takes_no_line(store, part):
    order = send_order(order=draft(store, part), **BY)
    with pytest.raises(OrderCannotMove):
        add(order, PartFactory.create(supplier=part.supplier))
    with pytest.raises(OrderCannotMove):
        change_line(line=order.lines.get(), quantity=20, **BY)
    PurchaseOrder.objects.update(state=OrderState.CANCELLED)
    with pytest.raises(OrderCannotMove):
        send_order(order=order, **BY)
