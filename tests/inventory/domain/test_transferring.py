import pytest

from dealership.models import AuditEntry, Job
from inventory.domain.ledger import NotEnough
from inventory.domain.quarantine import recall_part
from inventory.domain.reserving import PartRecalled, reserve
from inventory.domain.transferring import (
    ArrivalDoesNotFit,
    Arrived,
    NothingSent,
    SameStore,
    TransferOver,
    call_back,
    receive_transfer,
    send_pieces,
)
from inventory.models import Balance, CostLayer, Entry, QuarantineLot, Transfer
from inventory.queries.books import faults_of_the_books
from inventory.queries.stock import promise_line
from inventory.rules.accounts import Account, LotKind, TransferState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import BillLineFactory, EarmarkFactory, PartFactory
from tests.inventory.books import deliver, later, stand


pytestmark = pytest.mark.django_db


@pytest.fixture
def here():
    return StoreFactory.create()


@pytest.fixture
def there():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def send(here, there, part, pieces, *, earmark=None, key="t"):
    return send_pieces(
        key=key,
        store=here,
        to_store=there,
        earmark=earmark,
        lines={part: pieces},
        expected_on=later(2),
        by=None,
        at=NOW,
        why="more asked for there",
    )


def arrive(transfer, good, damaged=0):
    line = transfer.lines.get()
    return receive_transfer(
        transfer=transfer,
        counts={line.pk: Arrived(good=good, damaged=damaged)},
        by=None,
        at=NOW,
    )


def way(store, part):
    return Balance.objects.get(store=store, part=part, earmark=None).transit


def worth(store):
    """Cents of what stands in a store, from the entries alone."""
    inside = ("free", "held", "quarantine", "transit")
    rows = Entry.objects.filter(store=store, account__in=inside).select_related("layer")
    return sum(row.quantity * row.layer.unit_cost_cents for row in rows if row.layer)


def test_pieces_are_the_senders_until_they_arrive(here, there, part):
    deliver(here, part, 10)
    transfer = send(here, there, part, 4)
    assert (stand(here, part), way(here, part)) == ((6, 0, 0, 0), 4)
    assert stand(there, part) == (0, 0, 0, 0)
    arrive(transfer, 4)
    assert (stand(here, part), way(here, part)) == ((6, 0, 0, 0), 0)
    assert stand(there, part) == (4, 0, 0, 0)
    assert faults_of_the_books() == []
    acts = AuditEntry.objects.filter(act__startswith="transfer.").order_by("pk")
    assert [(one.act, one.store) for one in acts] == [
        ("transfer.sent", here),
        ("transfer.arrived", there),
    ]


def test_arrived_lost_and_damaged_add_up_to_what_was_sent(here, there, part):
    deliver(here, part, 10)
    transfer = arrive(send(here, there, part, 7), good=4, damaged=1)
    line = transfer.lines.get()
    assert (line.quantity, line.good, line.damaged, line.lost) == (7, 4, 1, 2)
    mine = Balance.objects.get(store=here, part=part)
    assert (mine.free, mine.transit, mine.variance) == (3, 0, 2)
    assert stand(there, part) == (4, 0, 1, 0)
    lot = QuarantineLot.objects.get()
    assert (lot.store, lot.kind, lot.left) == (there, LotKind.DAMAGED, 1)
    assert faults_of_the_books() == []


def test_cents_bill_earmark_and_age_travel_with_the_pieces(here, there, part):
    earmark = EarmarkFactory.create()
    billed = BillLineFactory.create(bill__store=here, part=part, unit_cost_cents=1_000)
    deliver(here, part, 3, earmark=earmark, bill_line=billed)
    deliver(here, part, 5, earmark=earmark)
    before = worth(here)
    arrive(send(here, there, part, 4, earmark=earmark), 4)
    layers = CostLayer.objects.filter(store=there).order_by("pk")
    assert [
        (one.earmark, one.bill_line, one.unit_cost_cents, one.quantity)
        for one in layers
    ] == [(earmark, billed, 1_000, 3), (earmark, None, 4_250, 1)]
    assert stand(there, part, earmark) == (4, 0, 0, 0)
    assert (worth(there), worth(here)) == (7_250, before - 7_250)


def test_the_group_as_a_whole_has_neither_won_nor_lost_a_piece(here, there, part):
    deliver(here, part, 10)
    arrive(send(here, there, part, 4), 4)
    rows = Balance.objects.filter(part=part)
    assert sum(one.supplier for one in rows) == -10
    assert sum(one.on_hand for one in rows) == 10


def test_the_same_key_sends_once_and_the_same_count_arrives_once(here, there, part):
    deliver(here, part, 10)
    transfer = send(here, there, part, 4)
    assert send(here, there, part, 4) == transfer
    assert arrive(transfer, 3, 1) == arrive(transfer, 3, 1)
    assert stand(there, part) == (3, 0, 1, 0)
    with pytest.raises(TransferOver):
        arrive(transfer, 4)
    with pytest.raises(TransferOver):
        call_back(transfer=transfer, by=None, at=NOW, why="too late")


def test_called_back_pieces_lie_in_their_old_layer(here, there, part):
    deliver(here, part, 10)
    transfer = send(here, there, part, 4)
    for _again in range(2):
        back = call_back(transfer=transfer, by=None, at=NOW, why="van broke down")
        assert back.state == TransferState.CALLED_BACK
    assert (stand(here, part), way(here, part)) == ((10, 0, 0, 0), 0)
    assert CostLayer.objects.get().taken == 0
    assert faults_of_the_books() == []
    with pytest.raises(TransferOver):
        arrive(transfer, 4)


def promise(store, part, pieces, day, key="p"):
    return reserve(
        key=key,
        store=store,
        part=part,
        quantity=pieces,
        earmarks=[None],
        subject="visit_job:1",
        needed_on=day,
        today=TODAY,
        by=None,
        at=NOW,
    )


def test_promised_pieces_stay(here, there, part):
    deliver(here, part, 10)
    promise(here, part, 8, later(3))
    with pytest.raises(NotEnough) as refused:
        send(here, there, part, 3)
    assert refused.value.there == 2
    assert not Transfer.objects.exists()


def test_pieces_on_the_way_can_be_promised_there_and_are_kept(here, there, part):
    deliver(here, part, 10)
    transfer = send(here, there, part, 4)
    picture = promise_line(store=there, part=part, earmarks=[None], today=TODAY)
    assert (picture.free_now, picture.promise_on(later(7))) == (0, 4)
    (row,) = promise(there, part, 3, later(7))
    assert row.state == "promised"
    arrive(transfer, 4)
    assert stand(there, part) == (1, 3, 0, 0)
    job = Job.objects.get(kind="inventory.freed")
    assert job.arguments == {"store_id": there.pk, "part_ids": [part.pk]}


def test_what_was_recalled_on_the_way_goes_into_quarantine(here, there, part):
    deliver(here, part, 10)
    transfer = send(here, there, part, 4)
    recall_part(part=part, by=None, at=NOW, why="maker's notice")
    arrive(transfer, 4)
    assert stand(there, part) == (0, 0, 4, 0)
    assert stand(here, part) == (0, 0, 6, 0)
    with pytest.raises(PartRecalled):
        send(here, there, part, 1, key="another")


def test_refusals(here, there, part):
    deliver(here, part, 10)
    with pytest.raises(SameStore):
        send(here, here, part, 1)
    with pytest.raises(NothingSent):
        send_pieces(
            key="none",
            store=here,
            to_store=there,
            earmark=None,
            lines={},
            expected_on=TODAY,
            by=None,
            at=NOW,
        )
    transfer = send(here, there, part, 4)
    for good, damaged in ((5, 0), (3, 2), (-1, 0), (0, -1)):
        with pytest.raises(ArrivalDoesNotFit):
            arrive(transfer, good, damaged)
    with pytest.raises(ArrivalDoesNotFit):
        receive_transfer(transfer=transfer, counts={}, by=None, at=NOW)
    assert Transfer.objects.get().state == TransferState.SENT


def test_all_lost_is_the_senders_to_explain(here, there, part):
    deliver(here, part, 10)
    arrive(send(here, there, part, 4), 0)
    assert stand(there, part) == (0, 0, 0, 0)
    lost = Entry.objects.get(account=Account.VARIANCE)
    assert (lost.store, lost.quantity) == (here, 4)
