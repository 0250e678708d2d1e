"""Loan car, towing, the owner repaid: within the limits, with their papers."""

import datetime as dt

import pytest

from campaigns.domain.claims import submit
from campaigns.domain.lifecycle import DayAhead
from campaigns.domain.repair_extras import (
    DaysMissing,
    ExtraTooLate,
    NoCampaignToPay,
    NothingOnTheBill,
    add_extra,
    note_paper,
    set_limit,
)
from campaigns.domain.repairs import abandon_repair
from campaigns.models import Claim, ClaimLine, ExtraLimit, RepairExtra
from campaigns.queries.claim_gaps import gap_words, gaps_by_claim, lacks_facts
from campaigns.queries.extras import extras_of, kinds_offered
from campaigns.queries.labour import repair_labour
from campaigns.queries.repairs import checks_now, lines_of
from campaigns.rules.claim_gaps import ExtraLimits
from campaigns.rules.lifecycle import ClaimLineKind, Outcome, Payer
from dealership.models import AuditEntry
from tests.campaigns.domain.shop import KEYS, Shop
from tests.factories.campaigns import (
    ExtraLimitFactory,
    RepairFactory,
    ScheduledItemFactory,
)
from tests.factories.dealership import NOW, TODAY


pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    shop = Shop()
    shop.shelf(20)
    ExtraLimitFactory.create(campaign=shop.campaign)
    ExtraLimitFactory.create(
        campaign=shop.campaign,
        kind=ClaimLineKind.TOWING,
        day_cents=None,
        most_cents=10_000,
    )
    return shop


def bill(repair, kind=ClaimLineKind.LOAN_CAR, **facts):
    wanted = {"key": next(KEYS), "cents": 9_000, "evidence": "LA-77", "dated": TODAY}
    if kind is ClaimLineKind.LOAN_CAR:
        wanted["days"] = 2
    return add_extra(repair=repair, kind=kind, by=None, at=NOW, **(wanted | facts))


def claimed(repair):
    lines = ClaimLine.objects.filter(claim__repair=repair, extra__isnull=False)
    return [(one.kind, one.claimed_cents) for one in lines.order_by("pk")]


def all_lines(repair):
    labour = repair_labour(repair, today=TODAY)
    return lines_of(repair, checks=checks_now(repair), labour=labour)


def test_the_bill_goes_on_the_claim_up_to_the_limit_and_the_rest_is_the_stores(shop):
    """By hand: two days at 40.00 are 80.00 of 90.00; 89.00 of towing is within 100.00."""
    repair = shop.open()
    car = bill(repair)
    bill(repair, ClaimLineKind.TOWING, cents=8_900)
    bill(repair, ClaimLineKind.REPAID, cents=31_000)
    done = shop.complete(repair)
    assert claimed(done) == [("loan_car", 8_000), ("towing", 8_900)]
    assert car.claim_line.cost_cents == 0
    found = [
        (line.payer, line.priced.asked.kind.value, line.priced.claimed_cents)
        for line in all_lines(done)
    ][2:]
    assert found == [
        (Payer.MANUFACTURER, "loan_car", 8_000),
        (Payer.STORE, "loan_car", 1_000),
        (Payer.MANUFACTURER, "towing", 8_900),
        (Payer.STORE, "repaid", 31_000),
    ]
    why = [str(line.why) for line in all_lines(done)][2:]
    assert why[1] == "over the campaign's limit"
    assert why[3] == "the campaign pays none of this"
    assert sum(one.claimed_cents for one in done.claim.lines.all()) == (
        14_720 + 8_000 + 8_900
    )


def test_an_owner_is_repaid_where_nothing_was_left_to_do(shop):
    set_limit(
        campaign=shop.campaign,
        kind=ClaimLineKind.REPAID,
        limits=ExtraLimits(),
        by=None,
        at=NOW,
    )
    repair = shop.open()
    bill(repair, ClaimLineKind.REPAID, cents=31_000)
    done = shop.complete(repair, outcome=Outcome.INSPECTED_CLEAR, used={})
    assert claimed(done) == [("repaid", 31_000)]


def test_a_bill_that_comes_later_is_added_while_the_claim_is_ready(shop):
    done = shop.complete()
    before = done.claim.lines.count()
    first = bill(done, key="late")
    assert bill(done, key="late") == first
    assert claimed(done) == [("loan_car", 8_000)]
    assert done.claim.lines.count() == before + 1
    submit(key=next(KEYS), claim=done.claim, dated=TODAY, by=None, at=NOW)
    with pytest.raises(ExtraTooLate):
        bill(done)
    with pytest.raises(ExtraTooLate):
        note_paper(extra=first, evidence="LA-78", dated=TODAY, by=None, at=NOW)
    assert AuditEntry.objects.filter(act="claim.lines_added").count() == 1


def test_a_late_bill_makes_the_claim_where_there_was_none(shop):
    repair = shop.complete(outcome=Outcome.NEEDS_REPAIR, used={}, operations=[])
    assert not Claim.objects.exists()
    bill(repair, ClaimLineKind.TOWING, cents=500)
    assert claimed(repair) == [("towing", 500)]


def test_what_a_bill_needs(shop):
    repair = shop.open()
    with pytest.raises(DaysMissing):
        bill(repair, days=None)
    with pytest.raises(NothingOnTheBill):
        bill(repair, cents=0)
    with pytest.raises(DayAhead):
        bill(repair, dated=TODAY + dt.timedelta(days=2))
    abandon_repair(repair=repair, why="by mistake", by=None, at=NOW)
    with pytest.raises(ExtraTooLate):
        bill(repair)
    with pytest.raises(NoCampaignToPay):
        bill(
            RepairFactory.create(
                campaign_vehicle=None,
                scheduled_item=ScheduledItemFactory.create(),
                vehicle=repair.vehicle,
                store=shop.store,
                variant=shop.variant,
            )
        )
    assert not RepairExtra.objects.exists()


def test_limits_are_set_and_taken_back(shop):
    offered = {one.kind: one.limit for one in kinds_offered(shop.campaign)}
    assert offered[ClaimLineKind.LOAN_CAR].day_cents == 4_000
    assert offered[ClaimLineKind.REPAID] is None
    set_limit(
        campaign=shop.campaign,
        kind=ClaimLineKind.LOAN_CAR,
        limits=None,
        by=None,
        at=NOW,
    )
    assert ExtraLimit.objects.get().kind == "towing"
    repair = shop.open()
    bill(repair)
    (now,) = extras_of(repair)
    assert (now.split.claimed_cents, now.split.over_cents) == (0, 9_000)


def gaps(*claims):
    found = gaps_by_claim(
        list(
            Claim.objects.filter(pk__in=[one.pk for one in claims]).select_related(
                "repair", "campaign"
            )
        ),
        today=TODAY,
    )
    return [gap_words(found.get(one.pk, [])) for one in claims]


def test_a_claim_says_which_part_check_and_paper_is_missing(
    shop, django_assert_num_queries
):
    whole = shop.complete().claim
    short = shop.open()
    bill(short, evidence="", dated=None)
    short = shop.complete(short, used={shop.part: 1}, note="one was broken").claim
    check = shop.check(title="Gap at the hinge")
    unchecked = shop.open()
    shop.measure(unchecked, check, "45")
    unchecked = shop.complete(unchecked).claim
    assert gaps(whole, short, unchecked) == [
        ["check “Gap at the hinge”: no value within its limits"],
        [
            f"part {shop.part.number}: fewer pieces than planned",
            "check “Gap at the hinge”: no value within its limits",
            "“loan car”: number or date of its paper",
        ],
        [],
    ]
    note_paper(
        extra=RepairExtra.objects.get(), evidence="LA-9", dated=TODAY, by=None, at=NOW
    )
    assert len(gaps(short)[0]) == 2
    for some in ([whole], [whole, short, unchecked]):
        rows = list(
            Claim.objects.filter(pk__in=[one.pk for one in some]).select_related(
                "repair", "campaign"
            )
        )
        with django_assert_num_queries(6):
            gaps_by_claim(rows, today=TODAY)


def test_a_claim_on_its_way_is_not_looked_at_and_a_late_one_lacks_no_fact(shop):
    claim = shop.complete().claim
    shop.campaign.claims_until = TODAY - dt.timedelta(days=1)
    shop.campaign.save()
    found = gaps_by_claim(
        [Claim.objects.select_related("repair", "campaign").get()], today=TODAY
    )
    assert not lacks_facts(found[claim.pk])
    assert gap_words(found[claim.pk]) == [
        "the last day for claims was 2026-11-24: ask the manufacturer first"
    ]
    submit(key=next(KEYS), claim=claim, dated=TODAY, by=None, at=NOW)
    assert gaps(claim) == [[]]
