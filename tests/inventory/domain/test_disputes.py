import pytest

from inventory.domain.disputes import DisputeSettled, settle_dispute
from inventory.models import CostLayer, Dispute, WriteOff
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import DisputeState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.inventory.books import deliver, stand


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


@pytest.fixture
def dispute(store, part):
    """Two damaged pieces of ten."""
    deliver(store, part, 10, damaged=2)
    return Dispute.objects.get()


def settle(dispute, how, **facts):
    return settle_dispute(
        dispute=dispute, how=how, dated=TODAY, by=None, at=NOW, **facts
    )


def test_credited_pieces_go_back(store, part, dispute):
    done = settle(dispute, DisputeState.CREDITED, number="C-1", amount_cents=8_000)
    assert (done.credit.at_cost_cents, done.credit.amount_cents) == (8_500, 8_000)
    assert stand(store, part) == (8, 0, 0, 0)
    assert settle(dispute, DisputeState.CREDITED, number="C-1").credit == done.credit
    assert faults_of_the_books() == []


def test_replaced_pieces_come_in_at_the_same_price(store, part, dispute):
    settle(dispute, DisputeState.REPLACED)
    assert stand(store, part) == (10, 0, 0, 0)
    told = CostLayer.objects.order_by("pk").values_list("quantity", "taken")
    assert list(told) == [(10, 2), (2, 0)]
    assert faults_of_the_books() == []


def test_written_off_pieces_are_scrapped(store, part, dispute):
    settle(dispute, DisputeState.WRITTEN_OFF, why="carrier gone")
    assert WriteOff.objects.get().cents == 8_500
    assert stand(store, part) == (8, 0, 0, 0)
    assert faults_of_the_books() == []


def test_second_end_is_refused(dispute):
    settle(dispute, DisputeState.REPLACED)
    with pytest.raises(DisputeSettled):
        settle(dispute, DisputeState.WRITTEN_OFF, why="again")


def test_a_dispute_does_not_end_open(dispute):
    with pytest.raises(ValueError, match="does not end open"):
        settle(dispute, DisputeState.OPEN)
