"""Two jobs in one visit, through booking, sign-off and claim."""

import itertools
from dataclasses import dataclass
from decimal import Decimal

import pytest

from campaigns.domain.booking import book_visit
from campaigns.domain.repairs import abandon_repair, complete_repair, open_repair
from campaigns.models import Claim, ClaimLine, LabourDone
from campaigns.queries.labour import repair_labour, visit_labour
from campaigns.queries.remedies import due_items
from campaigns.queries.repairs import checks_now
from campaigns.queries.repairs import lines_of as read_lines
from campaigns.rules.labour_union import ShareReason
from campaigns.rules.lifecycle import ClaimLineKind, Outcome, Payer
from tests.campaigns.domain.shop import KEYS, Shop, put_on_shelf
from tests.factories.campaigns import (
    RemedyFactory,
    ScheduledItemFactory,
    VariantFactory,
    VariantLabourFactory,
    VariantPartFactory,
)
from tests.factories.dealership import NOW, TODAY
from tests.factories.inventory import PartFactory


pytestmark = pytest.mark.django_db


@dataclass
class Twofold:
    """A vehicle with a campaign and a due scheduled item, booked for one visit."""

    shop: Shop

    def __post_init__(self):
        shop = self.shop
        labour = shop.variant.labour.get()
        labour.hundredths_of_hour = 180
        labour.includes = ["cover off", "fluid out", "seal", "fluid in", "cover on"]
        labour.times = {"cover off": 20, "fluid out": 30, "seal": 80, "fluid in": 30}
        labour.save()
        # common practice, no source: a scheduled job at 60,000 miles takes a second
        # part that the campaign does not pay for
        self.item = ScheduledItemFactory.create(
            due_after_months=None, due_after_miles=60_000
        )
        self.form = VariantFactory.create(
            remedy=RemedyFactory.create(campaign=None, scheduled_item=self.item)
        )
        self.second = PartFactory.create()
        for part in (shop.part, self.second):
            VariantPartFactory.create(
                variant=self.form, part=part, quantity=1, payer=Payer.CUSTOMER
            )
        VariantLabourFactory.create(
            variant=self.form,
            operation="SI-1",
            hundredths_of_hour=150,
            includes=["Cover off", "fluid out", "clamps", "fluid in", "cover on"],
            times={"Cover off": 20, "fluid out": 30, "fluid in": 30, "cover on": 20},
            payer=Payer.CUSTOMER,
        )
        shop.shelf(8)
        put_on_shelf(store=shop.store, part=shop.part, pieces=4, cents=1_825)
        put_on_shelf(store=shop.store, part=self.second, pieces=4, cents=700)
        self.row = shop.row()
        self.vehicle = self.row.vehicle
        self.vehicle.odometer, self.vehicle.odometer_on = 60_000, TODAY
        self.vehicle.save()

    def book(self):
        (due,) = due_items(self.vehicle, today=TODAY)
        return book_visit(
            key=next(KEYS),
            vehicle=self.vehicle,
            store=self.shop.store,
            on=TODAY,
            jobs=[self.row, due.item],
            by=self.shop.staff,
            at=NOW,
            today=TODAY,
        )

    def open(self, job):
        return open_repair(
            key=next(KEYS),
            store=self.shop.store,
            visit_job=job,
            by=self.shop.staff,
            at=NOW,
        )

    def done(self, repair, outcome=Outcome.REMEDIED):
        used = {line.part: line.quantity for line in repair.variant.parts.all()}
        return complete_repair(
            key=next(KEYS),
            repair=repair,
            outcome=outcome,
            used=used if outcome is Outcome.REMEDIED else {},
            odometer=60_000,
            done_on=TODAY,
            by=self.shop.staff,
            at=NOW,
        )


@pytest.fixture
def twofold():
    return Twofold(Shop())


def lines_of(repair):
    labour = repair_labour(repair, today=TODAY)
    return read_lines(repair, checks=checks_now(repair), labour=labour)


def claimed_hours():
    return dict(
        ClaimLine.objects.filter(kind=ClaimLineKind.LABOUR).values_list(
            "claim__campaign__code", "quantity"
        )
    )


def test_59_999_miles_is_not_due_yet(twofold):
    twofold.vehicle.odometer = 59_999
    assert due_items(twofold.vehicle, today=TODAY) == []


def test_a_booked_visit_says_who_will_pay_what(twofold):
    labour = visit_labour(twofold.book(), today=TODAY)
    assert [(one.code, one.published, one.paid) for one in labour.lines] == [
        (twofold.shop.campaign.code, 180, 180),
        (twofold.item.code, 150, 50),
    ]
    assert [one.share.reason for one in labour.lines] == [
        ShareReason.IN_FULL,
        ShareReason.ONLY_ADDED,
    ]
    assert labour.saved == 100
    assert [str(words) for words, _time in labour.sums()] == [
        "manufacturer",
        "customer",
    ]
    assert [(row.paid.operation, len(row.also)) for row in labour.rows] == [
        ("cover off", 1),
        ("fluid out", 1),
        ("seal", 0),
        ("fluid in", 1),
        ("cover on", 1),
        ("clamps", 0),
    ]
    assert "the campaign covers this vehicle" in str(labour.lines[0].payer_why)
    assert str(labour.lines[1].payer_why) == "scheduled service"


@pytest.mark.parametrize("order", list(itertools.permutations((0, 1))))
def test_whichever_is_signed_off_first_the_campaign_pays_in_full(twofold, order):
    jobs = list(twofold.book().jobs.order_by("pk"))
    repairs = [twofold.open(job) for job in jobs]
    assert repairs[0].repair_order == repairs[1].repair_order
    for place in order:
        twofold.done(repairs[place])

    claim = Claim.objects.get()
    assert claimed_hours() == {twofold.shop.campaign.code: 180}
    lines = [
        (line.payer, line.priced.asked.kind.value, line.priced.asked.quantity)
        for repair in repairs
        for line in lines_of(repair)
    ]
    assert lines == [
        (Payer.MANUFACTURER, "part", 2),
        (Payer.MANUFACTURER, "labour", Decimal("1.8")),
        (Payer.CUSTOMER, "part", 1),
        (Payer.CUSTOMER, "part", 1),
        (Payer.CUSTOMER, "labour", Decimal("0.5")),
    ]
    # every line has one payer and says why; the claim has none of the second part
    assert all(line.why for repair in repairs for line in lines_of(repair))
    fitted = claim.lines.filter(kind=ClaimLineKind.PART)
    assert {one.part_fitted.part for one in fitted} == {twofold.shop.part}
    assert set(LabourDone.objects.values_list("repair", "payer")) == {
        (repairs[0].pk, "manufacturer"),
        (repairs[1].pk, "customer"),
    }


def test_a_campaign_that_is_not_done_leaves_the_work_to_the_next_line(twofold):
    first, second = [twofold.open(job) for job in twofold.book().jobs.order_by("pk")]
    twofold.done(second)
    (line,) = repair_labour(second, today=TODAY).of_repair(second)
    assert line.paid == 50
    twofold.done(first, outcome=Outcome.STOPPED)
    (line,) = repair_labour(second, today=TODAY).of_repair(second)
    assert (line.paid, line.share.reason) == (150, ShareReason.IN_FULL)
    assert not Claim.objects.exists()


def test_a_repair_given_up_counts_with_what_its_booking_plans(twofold):
    first, second = [twofold.open(job) for job in twofold.book().jobs.order_by("pk")]
    abandon_repair(repair=first, why="by mistake", by=None, at=NOW)
    (line,) = repair_labour(second, today=TODAY).of_repair(second)
    assert line.paid == 50


def test_walk_ins_on_one_repair_order_are_one_visit(twofold):
    first = twofold.shop.open(twofold.row, repair_order="RO-7")
    second = open_repair(
        key=next(KEYS),
        store=twofold.shop.store,
        scheduled_item=twofold.item,
        vehicle=twofold.vehicle,
        variant=twofold.form,
        repair_order="RO-7",
        by=None,
        at=NOW,
    )
    (line,) = repair_labour(second, today=TODAY).of_repair(second)
    assert line.paid == 50
    alone = twofold.shop.open()
    assert [one.paid for one in repair_labour(alone, today=TODAY).lines] == [180]
    assert [one.repair_id for one in repair_labour(first, today=TODAY).lines] == [
        first.pk,
        second.pk,
    ]


def test_the_second_campaign_of_a_visit_is_paid_what_it_adds(twofold):
    other = Shop(store=twofold.shop.store)
    labour = other.variant.labour.get()
    labour.hundredths_of_hour, labour.includes = 60, ["cover off", "shim", "cover on"]
    labour.times = {"cover off": 20, "cover on": 20}
    labour.save()
    other.shelf(4)
    row = other.row()
    row.vehicle = twofold.vehicle
    row.save()
    repairs = [
        shop.open(its, repair_order="RO-8")
        for shop, its in ((twofold.shop, twofold.row), (other, row))
    ]
    # the second is signed off first: it claims in full, and the first what is left
    twofold.done(repairs[1])
    twofold.done(repairs[0])
    assert claimed_hours() == {other.campaign.code: 60, twofold.shop.campaign.code: 140}


def test_the_visit_takes_the_same_queries_with_more_jobs(
    twofold, django_assert_num_queries
):
    first, second = twofold.book().jobs.order_by("pk")
    twofold.done(twofold.open(first))
    for _ in range(2):
        with django_assert_num_queries(4):
            visit_labour(first.visit, today=TODAY)
        if not hasattr(second, "repair"):
            twofold.done(twofold.open(second))
