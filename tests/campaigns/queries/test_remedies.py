"""Plans: the variant, who pays each line, and what a vehicle is due for."""

import datetime as dt

import pytest

from campaigns.queries.remedies import (
    due_items,
    full_months,
    months_later,
    most_needed,
    needs_of,
    plan_for,
    plan_key,
    plans_for,
)
from campaigns.rules.lifecycle import CampaignClass, Outcome, Payer, RepairState
from campaigns.rules.remedy_choice import FactMissing, NoVariantFits
from tests.factories.campaigns import (
    RemedyFactory,
    RepairFactory,
    ScheduledItemFactory,
    VariantPartFactory,
)
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    campaign_with_remedy,
    open_vehicle,
    variant_with_parts,
)
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


def test_the_maker_pays_within_the_limit_and_the_customer_past_it():
    part = PartFactory.create()
    campaign = campaign_with_remedy(
        part, campaign_class=CampaignClass.SATISFACTION, odometer_limit=50_000
    )
    row = open_vehicle(campaign, StoreFactory.create())

    assert plan_for(row, today=TODAY).parts[0].payer == Payer.MANUFACTURER
    row.vehicle.odometer = 50_001
    plan = plan_for(row, today=TODAY)
    assert (plan.payer, plan.parts[0].payer) == (Payer.CUSTOMER, Payer.CUSTOMER)
    assert plan.payer_of(plan.labour[0]) == Payer.CUSTOMER


def test_a_line_of_the_store_stays_the_stores():
    part, own = PartFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    VariantPartFactory.create(
        variant=campaign.remedy.variants.get(), part=own, payer=Payer.STORE
    )
    plan = plan_for(open_vehicle(campaign, StoreFactory.create()), today=TODAY)

    assert {line.part: line.payer for line in plan.parts} == {
        part: Payer.MANUFACTURER,
        own: Payer.STORE,
    }


def test_the_variant_follows_the_facts_or_says_what_is_missing():
    campaign = campaign_with_remedy()
    early = campaign.remedy.variants.get()
    early.conditions = [{"fact": "build_date", "high": "2021-12-31"}]
    early.save()
    late = variant_with_parts(campaign.remedy, PartFactory.create())
    late.conditions = [{"fact": "build_date", "low": "2022-01-01"}]
    late.save()
    row = open_vehicle(campaign, StoreFactory.create())

    row.vehicle.build_date = dt.date(2021, 12, 31)
    assert plan_for(row, today=TODAY).variant == early
    row.vehicle.build_date = dt.date(2022, 1, 1)
    assert plan_for(row, today=TODAY).variant == late
    row.vehicle.build_date = None
    with pytest.raises(FactMissing, match="build date"):
        plan_for(row, today=TODAY)
    early.delete()
    row.vehicle.build_date = dt.date(2020, 1, 1)
    with pytest.raises(NoVariantFits):
        plan_for(row, today=TODAY)


def test_many_vehicles_are_planned_with_the_queries_of_one(django_assert_num_queries):
    store = StoreFactory.create()
    rows = [open_vehicle(campaign_with_remedy(), store) for _ in range(3)]

    for some in (rows[:1], rows):
        with django_assert_num_queries(8):
            plans = plans_for(some, today=TODAY)
        assert set(plans) == {plan_key(row) for row in some}


def test_needs_are_those_of_the_plan_else_the_most_of_any_variant():
    part, other = PartFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=2)
    row = open_vehicle(campaign, StoreFactory.create())
    assert needs_of([row], today=TODAY) == {row.pk: {part: 2}}

    variant_with_parts(campaign.remedy, part, other, pieces=1)  # now both fit
    assert needs_of([row], today=TODAY) == {row.pk: {part: 2, other: 1}}
    assert most_needed(campaign.remedy) == {part: 2, other: 1}


@pytest.mark.parametrize(
    ("odometer", "first_used", "due"),
    [
        (29_999, dt.date(2024, 11, 26), False),
        (30_000, dt.date(2024, 11, 26), True),
        (29_999, dt.date(2024, 11, 25), True),
        (None, None, False),
    ],
)
def test_an_item_is_due_by_age_or_odometer(odometer, first_used, due):
    ScheduledItemFactory.create(due_after_months=24, due_after_miles=30_000)
    vehicle = VehicleFactory.create(odometer=odometer, first_use_date=first_used)

    assert bool(due_items(vehicle, today=TODAY)) is due


def test_an_item_recurs_from_when_it_was_last_done():
    item = ScheduledItemFactory.create(due_after_months=24)
    variant = variant_with_parts(
        RemedyFactory.create(campaign=None, scheduled_item=item), PartFactory.create()
    )
    vehicle = VehicleFactory.create(first_use_date=dt.date(2020, 1, 1))
    assert due_items(vehicle, today=TODAY)[0].due_on == dt.date(2022, 1, 1)
    RepairFactory.create(
        campaign_vehicle=None,
        scheduled_item=item,
        vehicle=vehicle,
        store=vehicle.store,
        variant=variant,
        state=RepairState.COMPLETED,
        outcome=Outcome.REMEDIED,
        done_on=dt.date(2025, 3, 1),
        odometer=40_000,
    )

    assert due_items(vehicle, today=TODAY) == []
    later = dt.date(2027, 3, 1)
    assert [one.last_done_on for one in due_items(vehicle, today=later)] == [
        dt.date(2025, 3, 1)
    ]


def test_an_item_is_for_its_lines_and_engines_only():
    vehicle = VehicleFactory.create(line="Corvane", engine="T15")
    ScheduledItemFactory.create(code="A", lines=["Corvane"], engines=["T15"])
    ScheduledItemFactory.create(code="B", lines=["Another"])
    ScheduledItemFactory.create(code="C", engines=["D20"])
    ScheduledItemFactory.create(code="D", active=False)

    assert [one.item.code for one in due_items(vehicle, today=TODAY)] == ["A"]


def test_months_are_counted_by_the_calendar():
    assert full_months(dt.date(2025, 1, 31), dt.date(2025, 2, 28)) == 0
    assert full_months(dt.date(2025, 1, 15), dt.date(2026, 1, 15)) == 12
    assert months_later(dt.date(2024, 1, 31), 1) == dt.date(2024, 2, 29)
    assert months_later(dt.date(2024, 11, 30), 3) == dt.date(2025, 2, 28)
