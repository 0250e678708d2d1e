"""Moves of a vehicle through a campaign."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from campaigns.domain.lifecycle import (
    DayAhead,
    Move,
    MoveNotAllowed,
    OtherReachUnsaid,
    ReachWithoutSource,
    move,
    move_many,
    record_reach,
    write_moves,
)
from campaigns.models import CampaignVehicle, ReachFact, StateChange
from campaigns.rules.lifecycle import WORK_MOVES, Reach, WorkState
from dealership.models import AuditEntry
from tests.factories.campaigns import CampaignFactory, CampaignVehicleFactory
from tests.factories.dealership import NOW, TODAY, StaffFactory


pytestmark = pytest.mark.django_db


def acting(**facts):
    return {"effective_on": TODAY, "by": StaffFactory.create(), "at": NOW, **facts}


def test_a_move_changes_the_row_and_keeps_who_when_and_why():
    row = CampaignVehicleFactory.create()
    facts = acting(why="Another store's invoice", source="owner")

    change = move(campaign_vehicle=row, to=WorkState.REMEDIED_ELSEWHERE, **facts)

    assert CampaignVehicle.objects.get().work_state == WorkState.REMEDIED_ELSEWHERE
    assert row.work_state == WorkState.REMEDIED_ELSEWHERE
    kept = StateChange.objects.get()
    assert kept == change
    assert (kept.before, kept.after) == ("open", "remedied_elsewhere")
    assert (kept.effective_on, kept.recorded_at) == (TODAY, NOW)
    assert (kept.by, kept.why, kept.source) == (
        facts["by"],
        "Another store's invoice",
        "owner",
    )
    entry = AuditEntry.objects.get()
    assert (entry.act, entry.before) == (
        "campaign_vehicle.moved",
        {"work_state": "open"},
    )


ALL_PAIRS = [(before, to) for before in WorkState for to in WorkState]


@pytest.mark.parametrize(("before", "to"), ALL_PAIRS)
def test_only_moves_of_the_table_are_made(before, to):
    row = CampaignVehicleFactory.create(work_state=before)
    if to in WORK_MOVES[before]:
        move(campaign_vehicle=row, to=to, **acting(why="because"))
        assert CampaignVehicle.objects.get().work_state == to
    else:
        with pytest.raises(MoveNotAllowed) as refusal:
            move(campaign_vehicle=row, to=to, **acting(why="because"))
        assert (refusal.value.before, refusal.value.to) == (before, to)
        assert CampaignVehicle.objects.get().work_state == before
        assert not StateChange.objects.exists()


def test_a_remedied_vehicle_is_not_removed_by_an_amendment():
    row = CampaignVehicleFactory.create(work_state=WorkState.REMEDIED_HERE)
    with pytest.raises(MoveNotAllowed, match="remedied here"):
        move(campaign_vehicle=row, to=WorkState.REMOVED, **acting(why="amended"))


def test_whoever_read_the_row_before_somebody_else_moved_it_is_refused():
    first = CampaignVehicleFactory.create()
    second = CampaignVehicle.objects.get()
    move(campaign_vehicle=first, to=WorkState.INSPECTED_CLEAR, **acting(why="clear"))

    with pytest.raises(MoveNotAllowed):
        move(
            campaign_vehicle=second, to=WorkState.REMEDIED_HERE, **acting(why="fitted")
        )

    assert CampaignVehicle.objects.get().work_state == WorkState.INSPECTED_CLEAR
    assert StateChange.objects.count() == 1


def test_a_day_ahead_is_refused_and_today_is_not():
    row = CampaignVehicleFactory.create()
    tomorrow = TODAY + dt.timedelta(days=1)
    with pytest.raises(DayAhead):
        move(
            campaign_vehicle=row,
            to=WorkState.REMEDIED_HERE,
            **acting(effective_on=tomorrow, why="fitted"),
        )
    move(campaign_vehicle=row, to=WorkState.REMEDIED_HERE, **acting(why="fitted"))


def test_state_changes_are_only_added_to():
    row = CampaignVehicleFactory.create()
    move(campaign_vehicle=row, to=WorkState.NEEDS_REPAIR, **acting(why="worn"))
    with pytest.raises(IntegrityError), transaction.atomic():
        StateChange.objects.update(why="nicer")
    with pytest.raises(IntegrityError), transaction.atomic():
        StateChange.objects.all()._raw_delete("default")


def test_several_move_together_or_not_at_all():
    campaign = CampaignFactory.create()
    rows = CampaignVehicleFactory.create_batch(2, campaign=campaign)
    done = CampaignVehicleFactory.create(
        campaign=campaign, work_state=WorkState.REMEDIED_HERE
    )
    with pytest.raises(MoveNotAllowed), transaction.atomic():
        move_many(
            campaign=campaign,
            rows=[*rows, done],
            to=WorkState.REMOVED,
            **acting(why="amended"),
        )
    assert not StateChange.objects.exists()

    rows = list(CampaignVehicle.objects.filter(pk__in=[row.pk for row in rows]))
    moved = move_many(
        campaign=campaign, rows=rows, to=WorkState.REMOVED, **acting(why="amended")
    )

    assert moved == 2
    assert CampaignVehicle.objects.filter(work_state=WorkState.REMOVED).count() == 2
    assert AuditEntry.objects.get().after == {"work_state": "removed", "vehicles": 2}


def test_list_membership_may_change_without_a_change_of_state():
    row = CampaignVehicleFactory.create(work_state=WorkState.TO_VERIFY, on_list=True)
    facts = acting()
    same = Move(row=row, to=WorkState.TO_VERIFY, why="no longer listed", on_list=False)
    write_moves(moves=[same], **facts)
    assert CampaignVehicle.objects.get().on_list is False
    assert StateChange.objects.get().on_list is False

    again = Move(row=row, to=WorkState.TO_VERIFY, why="again", on_list=False)
    with pytest.raises(MoveNotAllowed):
        write_moves(moves=[again], **facts)


def test_a_reach_fact_is_dated_and_has_a_source():
    row = CampaignVehicleFactory.create()
    day = TODAY - dt.timedelta(days=9)
    facts = acting(effective_on=day, source=" the owner's letter ")

    record_reach(campaign_vehicle=row, reach=Reach.EXPORTED, **facts)

    assert CampaignVehicle.objects.get().reach == Reach.EXPORTED
    fact = ReachFact.objects.get()
    assert (fact.effective_on, fact.source, fact.by) == (
        day,
        "the owner's letter",
        facts["by"],
    )
    record_reach(
        campaign_vehicle=row, reach=Reach.REACHABLE, **acting(source="the owner")
    )
    assert CampaignVehicle.objects.get().reach == Reach.REACHABLE
    assert ReachFact.objects.count() == 2


def test_a_reach_fact_without_source_or_words_is_refused():
    row = CampaignVehicleFactory.create()
    with pytest.raises(ReachWithoutSource):
        record_reach(campaign_vehicle=row, reach=Reach.STOLEN, **acting(source=" "))
    with pytest.raises(OtherReachUnsaid):
        record_reach(campaign_vehicle=row, reach=Reach.OTHER, **acting(source="post"))
    with pytest.raises(DayAhead):
        record_reach(
            campaign_vehicle=row,
            reach=Reach.STOLEN,
            **acting(source="police", effective_on=TODAY + dt.timedelta(days=1)),
        )
    assert not ReachFact.objects.exists()
