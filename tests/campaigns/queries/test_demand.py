"""What open vehicles want, against a slow implementation that looks at each one."""

import datetime as dt
import random
from collections import Counter

import pytest

from campaigns.domain.reckoning import reconcile
from campaigns.models import (
    Campaign,
    CampaignVehicle,
    Letter,
    PartRequest,
    Repair,
    VisitJob,
)
from campaigns.queries.demand import wanted_of
from campaigns.queries.positions import cases_of, read_house
from campaigns.queries.remedies import eligibility_of, plan_for
from campaigns.queries.variants import months_ago
from campaigns.rules.lifecycle import (
    CampaignClass,
    Reach,
    RepairState,
    RequestState,
    RoundKind,
    VisitState,
    WorkState,
)
from dealership.rules.refusals import Refusal
from inventory.forecasting.response import ResponseCurve, built_in
from inventory.forecasting.takeup import WeekCount, hazard_curve
from inventory.rules.accounts import OrderState
from tests.factories import campaigns as made
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import OrderLineFactory, PartFactory
from tests.factories.shelves import announce, campaign_with_remedy, put_on_shelf
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = pytest.mark.django_db

SEED = 20261125
WEEK = dt.timedelta(days=7)


@pytest.fixture
def generated():
    """Two stores, three campaigns, 120 vehicles in every kind of state."""
    chance = random.Random(SEED)
    stores = StoreFactory.create_batch(2)
    campaigns = [
        campaign_with_remedy(letters_on=TODAY - 6 * WEEK),
        campaign_with_remedy(
            campaign_class=CampaignClass.SATISFACTION,
            odometer_limit=60_000,
            years_since_first_use=8,
        ),
        campaign_with_remedy(letters_on=TODAY + 2 * WEEK),
    ]
    split = campaigns[1].remedy.variants.get()
    split.conditions = [{"fact": "model_year", "low": "2021"}]
    split.save()
    made.VariantFactory.create(
        remedy=split.remedy, conditions=[{"fact": "model_year", "high": "2020"}]
    )
    rounds = {}
    for number in range(120):
        campaign, store = chance.choice(campaigns), chance.choice(stores)
        row = made.CampaignVehicleFactory.create(
            campaign=campaign,
            vehicle=VehicleFactory.create(
                store=store,
                model_year=chance.choice([2019, 2020, 2021, 2022, None]),
                odometer=chance.choice([20_000, 60_000, 60_001, None]),
                first_use_date=chance.choice(
                    [TODAY.replace(year=2018), dt.date(2018, 11, 24), None]
                ),
                standing=chance.choice([*[Standing.CUSTOMER] * 6, Standing.NEW]),
            ),
            work_state=chance.choice([*[WorkState.OPEN] * 5, *WorkState]),
            reach=chance.choice([*[Reach.REACHABLE] * 6, Reach.EXPORTED]),
            on_list=chance.random() < 0.5,
            first_asked_on=chance.choice([None, None, TODAY - 2 * WEEK]),
            planned_on=chance.choice([None, TODAY + WEEK]),
        )
        _letters(chance, row, rounds)
        _happenings(chance, row, number)
    return stores, campaigns


def _letters(chance, row, rounds):
    for weeks in chance.sample([1, 3, 5], k=chance.randrange(3)):
        key = row.campaign_id, row.store_id, weeks
        if key not in rounds:
            rounds[key] = made.LetterRoundFactory.create(
                campaign=row.campaign,
                store=row.store,
                number=weeks,
                kind=RoundKind.INTERIM if weeks == 1 else RoundKind.FIRST,
                state="posted",
            )
        made.LetterFactory.create(
            letter_round=rounds[key],
            campaign_vehicle=row,
            posted_on=TODAY - weeks * WEEK,
            returned_on=chance.choice([None, None, TODAY]),
        )


def _happenings(chance, row, number):
    variant = row.campaign.remedy.variants.first()
    match chance.randrange(8):
        case 0:
            made.VisitJobFactory.create(
                visit__vehicle=row.vehicle,
                visit__on=TODAY + chance.choice([1, 4, 11]) * dt.timedelta(days=1),
                campaign_vehicle=row,
                variant=variant,
            )
        case 1:
            made.PartRequestFactory.create(
                campaign_vehicle=row,
                state=chance.choice([RequestState.WAITING, RequestState.OFFERED]),
            )
        case 2:
            made.RepairFactory.create(campaign_vehicle=row, variant=variant)
        case 3:
            made.VisitJobFactory.create(
                visit__vehicle=row.vehicle,
                visit__state=VisitState.MISSED,
                campaign_vehicle=row,
                variant=variant,
                live=False,
            )
        case _:
            assert number >= 0


def _slow_variant(row):
    try:
        return plan_for(row, today=TODAY).variant.pk
    except Refusal:
        return None


def _slow_since(row):
    days = [
        letter.posted_on
        for letter in Letter.objects.filter(campaign_vehicle=row)
        if letter.posted_on
        and letter.returned_on is None
        and letter.letter_round.kind != RoundKind.INTERIM
    ]
    return max(days, default=row.campaign.letters_on or row.campaign.announced_on)


def _slow():
    """Look at every vehicle alone and say where it belongs."""
    found = {name: Counter() for name in ("cohort", "own", "waiting", "booked", "work")}
    for row in CampaignVehicle.objects.select_related("campaign", "vehicle"):
        cell = row.store_id, row.campaign_id
        booked = VisitJob.objects.filter(
            campaign_vehicle=row, live=True, visit__state="booked"
        ).first()
        working = Repair.objects.filter(campaign_vehicle=row, state=RepairState.OPEN)
        waits = PartRequest.objects.filter(
            campaign_vehicle=row, state__in=["waiting", "offered"]
        )
        if booked:
            found["booked"][cell, booked.variant_id, booked.visit.on] += 1
        if working:
            found["work"][cell, working[0].variant_id] += 1
        if waits:
            found["waiting"][cell, _slow_variant(row)] += 1
        expected = (
            row.work_state in {"open", "needs_repair"}
            or (row.work_state == "to_verify" and row.on_list)
        ) and row.reach == "reachable"
        if booked or working or waits or not expected:
            continue
        if not eligibility_of(row, TODAY).counts_as_expected:
            continue
        if row.vehicle.standing != Standing.CUSTOMER:
            found["own"][cell, _slow_variant(row), row.planned_on] += 1
        else:
            weeks = (TODAY - _slow_since(row)).days / 7
            found["cohort"][cell, _slow_variant(row), weeks] += 1
    return found


def _fast(stores, campaigns):
    house = read_house()
    wanted = wanted_of(
        campaigns=campaigns,
        remedies=house.remedies,
        store_ids=[one.pk for one in stores],
        today=TODAY,
    )
    return {
        "cohort": Counter(
            {
                (cell, which, one.weeks_since_letter): one.vehicles
                for cell, by in wanted.cohorts.items()
                for which, rows in by.items()
                for one in rows
            }
        ),
        "own": Counter(
            {
                (cell, which, day): n
                for cell, by in wanted.own.items()
                for which, days in by.items()
                for day, n in days.items()
            }
        ),
        "waiting": Counter(
            {
                (cell, which): n
                for cell, by in wanted.waiting.items()
                for which, n in by.items()
            }
        ),
        "booked": Counter(
            (cell, which, day)
            for cell, by in wanted.booked.items()
            for which, days in by.items()
            for day in days
        ),
        "work": Counter(
            {
                (cell, which): n
                for cell, by in wanted.in_work.items()
                for which, n in by.items()
            }
        ),
    }


def test_groups_agree_with_looking_at_each_vehicle(generated):
    slow = _slow()
    assert all(slow.values()), "the generated rows reach every kind"
    assert _fast(*generated) == slow


def _slow_letters(row):
    return sorted(
        letter.posted_on
        for letter in Letter.objects.filter(campaign_vehicle=row)
        if letter.posted_on
        and letter.returned_on is None
        and letter.letter_round.kind != RoundKind.INTERIM
    )


def test_the_days_of_letters_are_kept_beside_each_vehicle(generated):
    """Also when a letter comes back later, or is taken away."""
    Letter.objects.filter(pk__in=Letter.objects.values("pk")[:9]).update(
        returned_on=TODAY
    )
    Letter.objects.filter(
        pk__in=Letter.objects.order_by("-pk").values("pk")[:9]
    ).delete()
    written = 0
    for row in CampaignVehicle.objects.all():
        days = _slow_letters(row)
        written += bool(days)
        assert (row.first_letter_on, row.latest_letter_on) == (
            (days[0], days[-1]) if days else (None, None)
        )
    assert 0 < written < CampaignVehicle.objects.count()


def _slow_record(curve):
    """Say of every vehicle alone whether it asked, and what the curve expected of it."""
    asked, expected = Counter(), Counter()
    for row in CampaignVehicle.objects.select_related("campaign", "vehicle"):
        if row.work_state in {"removed", "to_verify"}:
            continue
        if row.vehicle.standing != Standing.CUSTOMER:
            continue
        launch = row.campaign.letters_on or row.campaign.announced_on
        first, *_others = [*_slow_letters(row), launch]
        latest = [launch, *_slow_letters(row)][-1]
        until = row.first_asked_on
        if until is None and row.work_state in {"open", "needs_repair"}:
            fact = row.reach_facts.order_by("pk").last()
            until = TODAY if row.reach == "reachable" else fact and fact.effective_on
        elif until is None:
            change = row.state_changes.order_by("pk").last()
            until = change and change.effective_on
        until = until or row.added_on
        cell = row.store_id, row.campaign_id
        asked[cell] += bool(row.first_asked_on and until >= first)
        days, again = (until - first).days, (latest - first).days
        letters = (0.0, again / 7) if 0 < again < days else (0.0,)
        expected[cell] += curve.hazard(letters, 0.0, days / 7)
    return asked, expected


def test_records_agree_with_looking_at_each_vehicle(generated):
    stores, campaigns = generated
    chance = random.Random(SEED)
    for row in CampaignVehicle.objects.exclude(reach="reachable"):
        made.ReachFactFactory.create(
            campaign_vehicle=row, effective_on=TODAY - chance.randrange(9) * WEEK
        )
    for row in CampaignVehicle.objects.exclude(work_state="open")[:20]:
        made.StateChangeFactory.create(
            campaign_vehicle=row, effective_on=TODAY - chance.randrange(9) * WEEK
        )
    later = hazard_curve([WeekCount(week=0, open_at_start=20, asked=3)])
    built = built_in().curve
    records = wanted_of(
        campaigns=campaigns,
        remedies=read_house().remedies,
        store_ids=[one.pk for one in stores],
        today=TODAY,
    ).records
    for curve in (built, ResponseCurve(first=built.first, later=later)):
        asked, expected = _slow_record(curve)
        assert {cell: one.asked for cell, one in records.items()} == dict(asked)
        assert {
            cell: one.expected(curve) for cell, one in records.items()
        } == pytest.approx(dict(expected), abs=1e-9)
    assert sum(asked.values()) > 0


def test_the_whole_run_works_on_generated_rows(generated):
    told = reconcile(today=TODAY, at=NOW).told()
    assert told["order"] + told["nothing"] > 0


@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (dt.date(2026, 3, 31), 1, dt.date(2026, 2, 28)),
        (dt.date(2026, 3, 9), 12, dt.date(2025, 3, 9)),
        (dt.date(2026, 1, 1), 1, dt.date(2025, 12, 1)),
    ],
)
def test_months_ago(day, months, then):
    assert months_ago(day, months) == then


def one_case(store):
    (case,) = cases_of(house=read_house(), stores=[store], today=TODAY).values()
    return case


def test_the_shelf_the_deliveries_and_the_orders_of_a_part():
    """Seven free, 10 announced of an order of 15: 5 of it are still to come. What was
    due yesterday or has no day is told as overdue, not counted."""
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 7, campaign.earmark)
    day = TODAY + dt.timedelta(days=5)
    line = OrderLineFactory.create(
        order__store=store, order__state=OrderState.SENT, part=part, quantity=15,
        expected_on=day,
    )  # fmt: skip
    shipment = announce(store, part, 10, on=day)
    shipment.lines.update(order_line=line)
    announce(store, part, 3, on=TODAY - dt.timedelta(days=1))
    position = one_case(store).position
    assert (position.free, position.held) == (7, 0)
    assert [(one.day, one.pieces) for one in position.receipts] == [
        (TODAY - dt.timedelta(days=1), 3),
        (day, 15),
    ]
    assert position.overdue == 3
    assert position.have() == 22


def test_a_replaced_number_is_counted_with_the_one_that_replaces_it():
    store, new = StoreFactory.create(), PartFactory.create()
    old = PartFactory.create(superseded_by=new, supplier=new.supplier)
    campaign = campaign_with_remedy(old)
    put_on_shelf(store, old, 2, campaign.earmark)
    put_on_shelf(store, new, 3, campaign.earmark)
    case = one_case(store)
    assert (case.part, case.position.free) == (new, 5)


@pytest.mark.parametrize("says_no", ["the chain", "one of two bulletins", "a recall"])
def test_an_old_number_that_does_not_serve_stands_apart(says_no):
    store, new = StoreFactory.create(), PartFactory.create()
    old = PartFactory.create(
        superseded_by=new,
        old_stock_serves=says_no != "the chain",
        recalled=says_no == "a recall",
    )
    campaign = campaign_with_remedy(new)
    strict = campaign_with_remedy(new)
    if says_no == "one of two bulletins":
        strict.remedy.variants.get().parts.update(old_numbers_serve=False)
    put_on_shelf(store, old, 2, campaign.earmark)
    put_on_shelf(store, new, 3, campaign.earmark)

    found = cases_of(house=read_house(), stores=[store], today=TODAY)

    free = {part_id: case.position.free for (_store, part_id), case in found.items()}
    apart = {} if says_no == "a recall" else {old.pk: 2}
    assert free == {new.pk: 3, **apart}


def test_a_part_under_a_recall_of_its_own_is_left_out():
    store = StoreFactory.create()
    put_on_shelf(store, PartFactory.create(recalled=True), 2)
    assert cases_of(house=read_house(), stores=[store], today=TODAY) == {}


def test_requests_and_expectation_since_the_letter():
    """Two vehicles, letters 4 weeks ago; one asked after 1 week. Cold start for cars
    of model year 2022 in 2026: 83 of 100 ever, .04 of them by week 1 and .25 by 4, so
    H(1) = -log(1 - .0332) and H(4) = -log(1 - .2075), by hand .033764 + .232563."""
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, letters_on=TODAY - 4 * WEEK)
    for asked in (TODAY - 3 * WEEK, None):
        made.CampaignVehicleFactory.create(
            campaign=campaign,
            vehicle=VehicleFactory.create(store=store),
            first_asked_on=asked,
        )
    (use,) = one_case(store).position.campaigns
    assert use.asked == 1
    assert use.expected == pytest.approx(0.033764 + 0.232563, abs=2e-6)
    assert Campaign.objects.get().code == use.label
