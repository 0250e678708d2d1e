"""Counts of a population, beside a slow reading of the same histories.

The categories are those of 49 CFR 573.7(b) (from memory), and the split of what
cannot be reached is the same: export, theft, scrapping, notification not received,
other.
"""

import datetime as dt
import random
from collections import Counter

import pytest

from campaigns.domain.lifecycle import Move, may_move, record_reach, write_moves
from campaigns.models import CampaignVehicle
from campaigns.queries.completion import counts, counts_of
from campaigns.rules.categories import Category
from campaigns.rules.lifecycle import WORK_MOVES, Reach, WorkState
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    ReachFactFactory,
    StateChangeFactory,
    VisitJobFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db

FIRST = TODAY - dt.timedelta(days=40)


def slow_category(work, reach, *, on_list):  # noqa: PLR0911 (one sentence each)
    """Say the category of one vehicle, one sentence after the other."""
    if work == "removed":
        return "removed"
    if work == "to_verify" and not on_list:
        return "below the line"
    if work in {"remedied_here", "remedied_elsewhere"}:
        return "remedied"
    if work == "inspected_clear":
        return "inspected_clear"
    if work == "disqualified":
        return "disqualified"
    if reach == "other":
        return "other_reason"
    if reach != "reachable":
        return reach
    if work == "to_verify":
        return "to_verify"
    return "open"


def slow_counts(campaign, day, *, store_ids=None, known_at=None):
    """Walk each vehicle's lines in the order in which they were written."""
    found = Counter()
    for row in CampaignVehicle.objects.filter(campaign=campaign):
        if store_ids is not None and row.store_id not in store_ids:
            continue
        work = reach = on_list = None
        for change in row.state_changes.order_by("id"):
            late = known_at is not None and change.recorded_at > known_at
            if change.effective_on <= day and not late:
                work, on_list = change.after, change.on_list
        for fact in row.reach_facts.order_by("id"):
            late = known_at is not None and fact.recorded_at > known_at
            if fact.effective_on <= day and not late:
                reach = fact.reach
        if work is not None:
            listed = row.on_list if on_list is None else on_list
            found[slow_category(work, reach or "reachable", on_list=listed)] += 1
    return found


def fast_counts(campaign, **asked):
    told = counts(campaign=campaign, store_ids=asked.pop("store_ids", None), **asked)
    by = {
        category.value: n
        for category, n in told.completion.by_category.items()
        if n and category is not Category.REMOVED
    }
    extra = {"removed": told.removed, "below the line": (
        told.completion.to_verify_below_line
    )}  # fmt: skip
    assert sum(by.values()) == told.involved
    assert sum(n for _k, _w, n, _u in told.stretches()) == told.involved
    return Counter(by | {key: n for key, n in extra.items() if n})


def live_a_history(chance, campaign, stores):
    """Add one vehicle and let things happen to it, some told late."""
    vehicle = VehicleFactory.create(store=chance.choice(stores))
    begin = chance.choice([WorkState.OPEN, WorkState.TO_VERIFY])
    on_list = chance.random() < 0.5
    row = CampaignVehicleFactory.create(
        campaign=campaign, vehicle=vehicle, work_state=begin, on_list=on_list
    )
    StateChangeFactory.create(
        campaign_vehicle=row,
        after=begin,
        on_list=on_list,
        effective_on=FIRST + dt.timedelta(days=chance.randrange(10)),
        recorded_at=NOW - dt.timedelta(days=30),
    )
    for step in range(chance.randrange(4)):
        day = FIRST + dt.timedelta(days=chance.randrange(41))
        at = NOW - dt.timedelta(days=chance.randrange(10), minutes=-step)
        if chance.random() < 0.4:
            record_reach(
                campaign_vehicle=row,
                reach=chance.choice(list(Reach)),
                effective_on=min(day, at.date() - dt.timedelta(days=1)),
                source="post",
                say_which="abroad",
                by=None,
                at=at,
            )
        else:
            to = chance.choice(sorted(WORK_MOVES[WorkState(row.work_state)]))
            listed = chance.random() < 0.5
            write_moves(
                moves=[Move(row=row, to=to, why="told", on_list=listed)],
                effective_on=min(day, at.date() - dt.timedelta(days=1)),
                by=None,
                at=at,
            )


@pytest.mark.parametrize("seed", [3, 11, 58])
def test_counts_of_any_day_equal_a_slow_reading(seed):
    chance = random.Random(seed)
    campaign = CampaignFactory.create()
    other = CampaignFactory.create()
    stores = StoreFactory.create_batch(2)
    for _ in range(25):
        live_a_history(chance, campaign, stores)
    for _ in range(3):
        live_a_history(chance, other, stores)

    for days in range(-1, 42, 3):
        day = FIRST + dt.timedelta(days=days)
        assert fast_counts(campaign, as_of=day) == slow_counts(campaign, day)
    one = [stores[0].pk]
    day = TODAY - dt.timedelta(days=7)
    assert fast_counts(campaign, as_of=day, store_ids=one) == slow_counts(
        campaign, day, store_ids=one
    )
    known = NOW - dt.timedelta(days=5)
    assert fast_counts(campaign, as_of=day, known_at=known) == slow_counts(
        campaign, day, known_at=known
    )


@pytest.mark.parametrize("seed", [4, 29])
def test_counts_of_now_equal_those_as_of_today(seed):
    chance = random.Random(seed)
    campaign = CampaignFactory.create()
    stores = StoreFactory.create_batch(2)
    for _ in range(25):
        live_a_history(chance, campaign, stores)

    assert fast_counts(campaign) == fast_counts(campaign, as_of=TODAY)


def test_a_correction_told_later_holds_whatever_day_it_speaks_of():
    campaign = CampaignFactory.create()
    row = CampaignVehicleFactory.create(campaign=campaign)
    for after, day in (("open", 1), ("remedied_elsewhere", 10), ("open", 5)):
        StateChangeFactory.create(
            campaign_vehicle=row,
            after=after,
            effective_on=FIRST + dt.timedelta(days=day),
        )
    found = [
        fast_counts(campaign, as_of=FIRST + dt.timedelta(days=day))
        for day in (0, 1, 5, 10, 11)
    ]
    assert found == [Counter(), *([Counter({"open": 1})] * 4)]
    assert may_move(WorkState.REMEDIED_ELSEWHERE, WorkState.OPEN)


def test_booked_is_a_part_of_open():
    job = VisitJobFactory.create()
    row = job.campaign_vehicle
    campaign = row.campaign
    CampaignVehicleFactory.create(campaign=campaign)
    cancelled = VisitJobFactory.create(of_campaign=CampaignFactory.create(), live=False)
    told = counts_of(
        campaign_ids=[campaign.pk, cancelled.campaign_vehicle.campaign_id],
        store_ids=None,
    )
    first = told[campaign.pk]
    assert (first.booked, first.open_not_booked, first.still_open) == (1, 1, 2)
    assert told[cancelled.campaign_vehicle.campaign_id].booked == 0
    past = counts(campaign=campaign, store_ids=None, as_of=TODAY)
    assert past.booked == 0


def test_a_booked_vehicle_that_is_done_or_gone_is_not_booked():
    job = VisitJobFactory.create()
    row = job.campaign_vehicle
    CampaignVehicle.objects.update(work_state=WorkState.REMEDIED_HERE)
    assert counts(campaign=row.campaign, store_ids=None).booked == 0
    CampaignVehicle.objects.update(work_state=WorkState.OPEN, reach=Reach.STOLEN)
    told = counts(campaign=row.campaign, store_ids=None)
    assert (told.booked, told.not_reachable) == (0, 1)


def test_disqualified_vehicles_keep_the_bar_whole():
    campaign = CampaignFactory.create()
    CampaignVehicleFactory.create(campaign=campaign, work_state=WorkState.DISQUALIFIED)
    row = CampaignVehicleFactory.create(campaign=campaign, reach=Reach.EXPORTED)
    ReachFactFactory.create(campaign_vehicle=row)
    told = counts(campaign=campaign, store_ids=[row.store_id])
    assert told.involved == 1
    told = counts(campaign=campaign, store_ids=None)
    assert told.stretches({"not_reachable": "/x/"})[-1] == (
        "not_reachable",
        "not reachable or disqualified",
        2,
        "/x/",
    )


def test_many_campaigns_take_two_statements(django_assert_num_queries):
    campaigns = CampaignFactory.create_batch(3)
    for campaign in campaigns:
        CampaignVehicleFactory.create(campaign=campaign)
    with django_assert_num_queries(2):
        told = counts_of(campaign_ids=[c.pk for c in campaigns], store_ids=None)
    assert [told[c.pk].involved for c in campaigns] == [1, 1, 1]
