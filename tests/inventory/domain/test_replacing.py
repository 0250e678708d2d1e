import pytest

from inventory.domain.disputes import DisputeSettled, move_last_date, settle_dispute
from inventory.domain.receiving import Counted, receive_shipment
from inventory.domain.replacing import expect_replacement
from inventory.models import CostLayer, Dispute
from inventory.queries.books import faults_of_the_books
from inventory.queries.stock import promise_line
from inventory.rules.accounts import DisputeState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import BillLineFactory, PartFactory
from tests.inventory.books import deliver, later, stand


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


@pytest.fixture
def billed(store, part):
    return BillLineFactory.create(bill__store=store, part=part, unit_cost_cents=1_000)


@pytest.fixture
def dispute(store, part, billed):
    """Two damaged pieces of ten, billed."""
    deliver(store, part, 10, damaged=2, bill_line=billed)
    return Dispute.objects.get()


def expect(dispute, number="PS-NEW"):
    return expect_replacement(
        dispute=dispute, number=number, expected_on=later(4), **BY
    )


def count(shipment, good, damaged=0, key="n"):
    line = shipment.lines.get()
    counts = {line.pk: Counted(good=good, damaged=damaged)}
    return receive_shipment(key=key, shipment=shipment, counts=counts, **BY)


def test_the_replacement_is_expected_and_ends_the_dispute(store, part, billed, dispute):
    shipment = expect(dispute)
    assert expect(dispute) == shipment
    dispute.refresh_from_db()
    assert dispute.state == DisputeState.AWAITED
    picture = promise_line(store=store, part=part, earmarks=[None], today=TODAY)
    assert (picture.free_now, picture.promise_on(later(7))) == (8, 10)
    count(shipment, 2)
    dispute.refresh_from_db()
    assert (dispute.state, dispute.closed_on) == (DisputeState.REPLACED, TODAY)
    # the damaged ones went back, the new ones belong to the same bill and price
    assert stand(store, part) == (10, 0, 0, 0)
    new = CostLayer.objects.order_by("pk").last()
    assert (new.bill_line, new.unit_cost_cents, new.quantity) == (billed, 1_000, 2)
    assert faults_of_the_books() == []


def test_what_is_wrong_with_the_replacement_is_a_new_dispute(
    store, part, billed, dispute
):
    count(expect(dispute), good=0, damaged=1)
    old, damaged, short = Dispute.objects.order_by("pk")
    assert old.state == DisputeState.REPLACED
    assert [
        (one.kind, one.quantity, one.unit_cost_cents) for one in (damaged, short)
    ] == [
        ("damaged", 1, 1_000),
        ("short", 1, 1_000),
    ]
    count(expect(short, "PS-2"), 1, key="n2")
    settle_dispute(dispute=damaged, how=DisputeState.REPLACED, dated=TODAY, **BY)
    assert stand(store, part) == (10, 0, 0, 0)
    assert {one.bill_line for one in CostLayer.objects.all()} == {billed}
    assert faults_of_the_books() == []


def test_a_dispute_that_waits_for_its_replacement_ends_in_no_other_way(dispute):
    expect(dispute)
    with pytest.raises(DisputeSettled):
        settle_dispute(dispute=dispute, how=DisputeState.CREDITED, dated=TODAY, **BY)
    with pytest.raises(DisputeSettled):
        expect(dispute, "PS-OTHER")


def test_nothing_arrived_and_the_same_key_answers_again(store, part, dispute):
    shipment = expect(dispute)
    first = count(shipment, 0)
    assert count(shipment, 0) == first
    assert Dispute.objects.filter(kind="short").count() == 1


def test_the_last_date_is_moved_while_it_is_open(dispute):
    for _again in range(2):
        moved = move_last_date(dispute=dispute, last_date=later(20), **BY)
    assert moved.last_date == later(20)
    settle_dispute(dispute=dispute, how=DisputeState.CREDITED, dated=TODAY, **BY)
    with pytest.raises(DisputeSettled):
        move_last_date(dispute=dispute, last_date=later(30), **BY)
