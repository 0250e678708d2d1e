"""Papers over several parts of a first batch: all lines or none, each line its own."""

import datetime as dt

import pytest

from campaigns.domain.batch_papers import (
    Billed,
    NothingOnIt,
    NotOfThisBatch,
    enter_bill_over_parts,
    enter_slip_over_parts,
)
from campaigns.domain.first_batch import (
    AlreadyBilled,
    AlreadySent,
    BillPaper,
    SlipPaper,
    announce,
    enter_batch_bill,
    enter_slip,
)
from inventory.domain.billing import BillNumberTaken
from inventory.domain.receiving import Counted, receive_shipment
from inventory.models import Bill, CostLayer, Dispute, Shipment
from inventory.queries.books import faults_of_the_books
from tests.factories.campaigns import CampaignFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory


pytestmark = pytest.mark.django_db

FRIDAY = dt.date(2026, 11, 27)


@pytest.fixture
def campaign():
    return CampaignFactory.create()


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def batches(campaign, store):
    """Two parts, ten pieces of each, at 42.50 and at 3.10."""
    return [
        announce(
            campaign=campaign,
            store=store,
            part=PartFactory.create(supplier=campaign.supplier),
            quantity=10,
            unit_cost_cents=cents,
            announced_on=TODAY,
            by=None,
            at=NOW,
        )
        for cents in (4_250, 310)
    ]


def bill(batches, *, number="B-1", **facts):
    first, second = batches
    told = {
        "lines": {
            first.pk: Billed(quantity=10, unit_cost_cents=4_250),
            second.pk: Billed(quantity=12, unit_cost_cents=330),
        },
        **facts,
    }
    return enter_bill_over_parts(
        campaign=first.campaign, store=first.store, number=number, dated=TODAY,
        by=None, at=NOW, **told,
    )  # fmt: skip


def slip(batches, *, number="PS-1", **facts):
    told = {"sent": {one.pk: 10 for one in batches}, **facts}
    return enter_slip_over_parts(
        campaign=batches[0].campaign, store=batches[0].store, number=number,
        announced_on=TODAY, expected_on=FRIDAY, by=None, at=NOW, **told,
    )  # fmt: skip


def fresh(batches):
    for one in batches:
        one.refresh_from_db()
    return batches


@pytest.mark.parametrize("order", ["bill first", "slip first"])
def test_each_part_comes_at_its_own_price_from_one_bill_and_one_slip(batches, order):
    papers = [bill, slip] if order == "bill first" else [slip, bill]
    for paper in papers:
        paper(batches)
        paper(batches)  # sent again: nothing more happens
    shipment = Shipment.objects.get()
    first, second = fresh(batches)
    assert {first.bill, second.bill} == {Bill.objects.get()}
    assert {first.shipment, second.shipment} == {shipment}
    assert shipment.bill == first.bill

    receive_shipment(
        key="count",
        shipment=shipment,
        counts={line.pk: Counted(good=9) for line in shipment.lines.all()},
        by=None,
        at=NOW,
    )

    told = CostLayer.objects.order_by("part_id").values_list(
        "part", "unit_cost_cents", "quantity", "bill_line__bill"
    )
    assert list(told) == [
        (first.part_id, 4_250, 9, first.bill_id),
        (second.part_id, 330, 9, first.bill_id),
    ]
    assert sorted(Dispute.objects.values_list("quantity", "unit_cost_cents")) == [
        (1, 330),
        (1, 4_250),
    ]
    assert faults_of_the_books() == []


def test_a_slip_over_parts_with_a_bill_each(batches):
    for number, one in enumerate(batches):
        enter_batch_bill(
            allocation=one,
            paper=BillPaper(
                number=f"B-{number}",
                dated=TODAY,
                quantity=10,
                unit_cost_cents=one.unit_cost_cents,
            ),
            by=None,
            at=NOW,
        )
    shipment = slip(fresh(batches))
    assert shipment.bill is None
    assert [line.bill_line.bill.number for line in shipment.lines.order_by("pk")] == [
        "B-0",
        "B-1",
    ]


def test_another_paper_for_a_part_that_has_one_is_refused_as_a_whole(batches):
    enter_batch_bill(
        allocation=batches[1],
        paper=BillPaper(number="B-9", dated=TODAY, quantity=10, unit_cost_cents=310),
        by=None,
        at=NOW,
    )
    enter_slip(
        allocation=batches[1],
        paper=SlipPaper(number="PS-9", quantity=10, expected_on=None),
        announced_on=TODAY,
        by=None,
        at=NOW,
    )
    with pytest.raises(AlreadyBilled):
        bill(batches)
    with pytest.raises(AlreadySent):
        slip(batches)
    assert [one.bill_id for one in fresh(batches)[:1]] == [None]
    assert list(Bill.objects.values_list("number", flat=True)) == ["B-9"]
    assert list(Shipment.objects.values_list("number", flat=True)) == ["PS-9"]


def test_the_same_number_with_other_lines_is_refused(batches):
    bill(batches)
    with pytest.raises(BillNumberTaken):
        bill(
            batches,
            lines={batches[0].pk: Billed(quantity=1, unit_cost_cents=4_250)},
        )


def test_an_empty_paper_and_one_for_another_store_are_refused(batches):
    with pytest.raises(NothingOnIt):
        bill(batches, lines={})
    with pytest.raises(NothingOnIt):
        slip(batches, sent={})
    elsewhere = announce(
        campaign=batches[0].campaign,
        store=StoreFactory.create(),
        part=batches[0].part,
        quantity=5,
        unit_cost_cents=4_250,
        announced_on=TODAY,
        by=None,
        at=NOW,
    )
    with pytest.raises(NotOfThisBatch):
        slip(batches, sent={elsewhere.pk: 5})
    assert not Shipment.objects.exists()
