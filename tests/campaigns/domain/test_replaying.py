"""A store's closed campaigns played again, and what is kept of it."""

import datetime as dt

import pytest
from django.core.management import CommandError, call_command

from campaigns.domain.replaying import REPLAY, ask_replay, replay_store
from campaigns.models import ClosedResponse, StoreReplay
from campaigns.queries.replaying import Taught, closed_rows, to_replay
from campaigns.rules.lifecycle import CampaignClass
from campaigns.tasks import replaying
from dealership.domain.jobs import run_waiting
from dealership.models import AuditEntry, Job
from inventory.forecasting.replay import Rule, replay
from inventory.forecasting.response import learn
from tests.factories.campaigns import ClosedResponseFactory
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy


pytestmark = pytest.mark.django_db

SEEN = [
    [10, [0], 12, True],
    [8, [0, 100], 131, True],
    [6, [0], 75, True],
    [6, [0], 150, False],
    [10, [0, 100], 400, False],
]


@pytest.fixture
def store():
    return StoreFactory.create(labour_margin_cents=8_500, second_visit_cents=8_500)


def closed(store, *, ago=30, part=None, **facts):
    """Give a campaign closed so many days ago, whose letters went out 400 days before."""
    at = NOW - dt.timedelta(days=ago)
    start = TODAY - dt.timedelta(days=ago + 400)
    campaign = campaign_with_remedy(
        part or PartFactory.create(pack=2, unit_cost_cents=5_000, lead_days=9),
        state="closed",
        closed_at=at,
        letters_on=start,
        announced_on=start - dt.timedelta(days=20),
        returns_until=start + dt.timedelta(days=200),
        **facts,
    )
    return ClosedResponseFactory.create(
        store=store, campaign=campaign, seen=SEEN, made_at=at
    )


def test_conditions_of_a_kit(store):
    """Two pieces of 50.00 are a kit of 100.00; packs do not fit kits of two."""
    row = closed(store)
    row.campaign.remedy.variants.get().parts.update(quantity=2)
    (one,) = to_replay(store, closed_rows())
    terms = one.conditions
    assert (terms.unit_cost_cents, terms.lead_days, terms.pack) == (10_000, 9, 1)
    assert (terms.returns_day, terms.first_day) == (200, -20)
    assert terms.review_days == store.review_days
    # a quarter of the customers is lost, with 30 per cent handling on the kit
    assert terms.costs(0).short_cents == 8_500 + 750
    row.campaign.remedy.variants.get().parts.update(quantity=1)
    (one,) = to_replay(store, closed_rows())
    assert (one.conditions.unit_cost_cents, one.conditions.pack) == (5_000, 2)


def test_only_what_was_closed_by_then_is_known(store):
    for ago in (900, 700, 300, 10):
        closed(store, ago=ago)
    rows = closed_rows()
    taught = Taught(rows)
    last = to_replay(store, rows)[-1]
    known = last.known(taught)
    start = last.start  # 410 days ago: two were closed by then
    third_closed = (rows[2].closed_on - start).days
    assert known(third_closed - 1).is_built_in
    after = known(third_closed)
    assert after == learn([one.course for one in rows[:3]])
    assert last.others(taught)(0) == after


def test_own_store_and_class_come_first(store):
    other = StoreFactory.create()
    for ago in (900, 800, 700):
        closed(other, ago=ago)
    for ago in (650, 640, 630):
        closed(store, ago=ago, campaign_class=CampaignClass.SATISFACTION)
    mine = closed(store, ago=5)
    rows = closed_rows()
    taught = Taught(rows)
    last = to_replay(store, rows)[-1]
    assert last.closed.campaign == mine.campaign
    before_own = (rows[2].closed_on - last.start).days
    # the other store's three are of the class, and at first all there is in the group
    assert last.known(taught)(before_own) == learn([one.course for one in rows[:3]])
    # later three of the own store: another class, yet nearer
    assert last.known(taught)(0) == learn([one.course for one in rows[3:6]])


def test_result_is_the_replay_with_its_totals(store):
    for ago in (700, 650, 600, 20):
        closed(store, ago=ago)
    told = []
    found = replay_store(
        store=store,
        by=None,
        at=NOW,
        progress=lambda done, total: told.append(done / total),
    )

    rows = closed_rows()
    taught = Taught(rows)
    mine = to_replay(store, rows)
    played = replay(
        [(one.closed.course, one.conditions, one.known(taught)) for one in mine]
    )
    result = found.result
    assert [one["code"] for one in result["campaigns"]] == [
        one.closed.campaign.code for one in mine
    ]
    for rule in Rule:
        tallies = [one.tally(rule) for one in played]
        costs = [
            tally.cost_cents(one.conditions)
            for one, tally in zip(mine, tallies, strict=True)
        ]
        whole = result["then"]["rules"][rule]
        assert whole["missed"] == sum(tally.missed for tally in tallies)
        assert whole["cents"] == round(sum(costs))
        each = [one["rules"][rule]["cents"] for one in result["campaigns"]]
        assert each == [round(cost) for cost in costs]
    said = [row for one in played for row in one.said]
    assert result["then"]["forecasts"] == len(said)
    assert result["then"]["within"] == round(
        sum(row.within for row in said) / len(said), 4
    )
    assert result["then"]["early"]["forecasts"] + result["then"]["late"][
        "forecasts"
    ] == len(said)
    assert result["others"]["forecasts"] == len(said)
    assert result["learned"]["campaigns"] == 4
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_again_gives_the_same_and_takes_its_place(store):
    closed(store)
    by = StaffFactory.create()
    first = replay_store(store=store, by=None, at=NOW)
    second = replay_store(store=store, by=by, at=NOW + dt.timedelta(hours=1))
    kept = StoreReplay.objects.get()
    assert (kept.by, kept.result) == (by, first.result)
    assert kept.result == second.result
    acts = AuditEntry.objects.filter(act="replay.made")
    assert [one.after for one in acts] == [{"campaigns": 1}] * 2


def test_without_costs_no_money(store):
    store.labour_margin_cents = store.second_visit_cents = None
    store.save()
    closed(store)
    rules = replay_store(store=store, by=None, at=NOW).result["then"]["rules"]
    assert {one["cents"] for one in rules.values()} == {None}


def test_a_campaign_that_nobody_was_seen_in_is_left_out(store):
    row = closed(store)
    ClosedResponse.objects.filter(pk=row.pk).update(seen=[])
    found = replay_store(store=store, by=None, at=NOW)
    assert found.result["campaigns"] == []
    assert found.result["then"]["forecasts"] == 0
    assert found.result["learned"] is None


def test_job_runs_once_for_a_key(store):
    assert replaying.REPLAY == REPLAY  # its handler is registered by the import
    closed(store)
    key = "6f1d3c0e-5b0f-4ec3-9a39-000000000001"
    one = ask_replay(key=key, store=store, by=None, now=NOW)
    assert ask_replay(key=key, store=store, by=None, now=NOW) == one
    run_waiting(clock=lambda: NOW)
    job = Job.objects.get(kind=REPLAY)
    assert job.state == "done"
    assert job.result == {"campaigns": 1}
    assert StoreReplay.objects.get().store == store


def test_command_replays_each_store_and_prints_it(store, capsys):
    closed(store)
    other = StoreFactory.create()
    call_command("replay")
    out = capsys.readouterr().out
    assert f"{store.code} {store.name}" in out
    assert f"{other.code} {other.name}" in out
    assert StoreReplay.objects.count() == 2
    call_command("replay", store=store.code)
    assert f"{other.code} " not in capsys.readouterr().out
    with pytest.raises(CommandError, match="There is no store NOPE"):
        call_command("replay", store="NOPE")
