"""Status lists on real populations: closed, opened again, asked, again and again."""

import datetime as dt

import pytest
from django.core.files.base import ContentFile

from campaigns.domain.announcing import ReasonMissing
from campaigns.domain.lifecycle import DayAhead, MoveNotAllowed
from campaigns.domain.status_lists import (
    CampaignNotSaid,
    HereItIsDone,
    SettledAlready,
    apply_status_list,
    faults_of_list,
    keep_status_list,
    read_status_list,
    settle_difference,
)
from campaigns.models import StateChange, StatusDifference, StatusList, VisitJob
from campaigns.queries.status_lists import known_until
from campaigns.rules.lifecycle import WorkState
from campaigns.rules.status_rows import StatusColumnMissing
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    StateChangeFactory,
    VisitJobFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db

LISTED_ON = TODAY - dt.timedelta(days=2)
DONE_ON = TODAY - dt.timedelta(days=9)


@pytest.fixture(autouse=True)
def _uploads(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def campaign():
    return CampaignFactory.create()


@pytest.fixture
def store():
    return StoreFactory.create()


def in_campaign(campaign, store, work=WorkState.OPEN, since=None):
    row = CampaignVehicleFactory.create(
        campaign=campaign, vehicle=VehicleFactory.create(store=store), work_state=work
    )
    if since is not None:
        StateChangeFactory.create(campaign_vehicle=row, after=work, effective_on=since)
    return row


def kept(store, lines, *, campaign=None, listed_on=LISTED_ON, head="VIN,Status,Date"):
    return keep_status_list(
        file=ContentFile("\n".join([head, *lines]).encode()),
        name="status.csv",
        listed_on=listed_on,
        campaign=campaign,
        date_order="",
        store=store,
        by=StaffFactory.create(),
        at=NOW,
    )


def applied(store, lines, **facts):
    status_list = kept(store, lines, **facts)
    return apply_status_list(status_list=status_list, by=StaffFactory.create(), at=NOW)


def state(row):
    row.refresh_from_db()
    return row.work_state


def test_what_was_done_elsewhere_is_closed_with_the_day_of_its_row(campaign, store):
    dated, undated = in_campaign(campaign, store), in_campaign(campaign, store)
    job = VisitJobFactory.create(campaign_vehicle=dated, visit__store=store)
    lines = [f"{dated.vehicle.vin},done,{DONE_ON}", f"{undated.vehicle.vin},done,"]
    done = applied(store, lines, campaign=campaign)
    assert (done.counts["closes"], done.counts["asks"]) == (2, 0)
    for row, day in ((dated, DONE_ON), (undated, LISTED_ON)):
        assert state(row) == WorkState.REMEDIED_ELSEWHERE
        change = StateChange.objects.get(campaign_vehicle=row)
        assert change.effective_on == day
        assert change.source == f"manufacturer's list of {LISTED_ON}"
    assert not VisitJob.objects.get(pk=job.pk).live
    assert known_until(campaign, store) == LISTED_ON
    assert known_until(campaign, StoreFactory.create()) is None


def test_what_was_refused_is_opened_again_but_not_by_an_older_list(campaign, store):
    elsewhere = in_campaign(
        campaign, store, WorkState.REMEDIED_ELSEWHERE, since=DONE_ON
    )
    line = f"{elsewhere.vehicle.vin},rejected,"
    older = DONE_ON - dt.timedelta(days=1)
    assert (
        applied(store, [line, ",,"], campaign=campaign, listed_on=older).counts["older"]
        == 1
    )
    assert state(elsewhere) == WorkState.REMEDIED_ELSEWHERE
    assert applied(store, [line], campaign=campaign).counts["reopens"] == 1
    assert state(elsewhere) == WorkState.OPEN


def test_a_repair_recorded_here_is_asked_about_and_stands(campaign, store):
    row = in_campaign(campaign, store, WorkState.REMEDIED_HERE, since=DONE_ON)
    vin = row.vehicle.vin
    assert applied(store, [f"{vin},open,"], campaign=campaign).counts["asks"] == 1
    assert state(row) == WorkState.REMEDIED_HERE
    difference = StatusDifference.objects.get()
    told = {"difference": difference, "by": StaffFactory.create(), "at": NOW}
    with pytest.raises(HereItIsDone):
        settle_difference(ours_stands=False, why="list", **told)
    with pytest.raises(ReasonMissing):
        settle_difference(ours_stands=True, why=" ", **told)
    settle_difference(ours_stands=True, why="claim 7 was paid", **told)
    with pytest.raises(SettledAlready):
        settle_difference(ours_stands=True, why="again", **told)
    # the next list says the same again: it was decided once
    again = applied(
        store,
        [f"{vin},open,"],
        campaign=campaign,
        listed_on=LISTED_ON + dt.timedelta(days=1),
        head="VIN,Status,Dated",
    )
    assert (again.counts["asks"], again.counts["agrees"]) == (0, 1)
    # another word of the list is another question
    applied(store, [f"{vin},out,"], campaign=campaign)
    assert StatusDifference.objects.unsettled().get().said == "out"


def test_a_later_list_takes_the_place_of_an_open_question(campaign, store):
    row = in_campaign(campaign, store, WorkState.INSPECTED_CLEAR, since=DONE_ON)
    applied(store, [f"{row.vehicle.vin},open,"], campaign=campaign)
    second = applied(store, [f"{row.vehicle.vin},refused,"], campaign=campaign)
    difference = StatusDifference.objects.get()
    assert (difference.status_list, difference.said) == (second, "refused")
    settle_difference(
        difference=difference,
        ours_stands=False,
        why="the maker is right",
        by=StaffFactory.create(),
        at=NOW,
    )
    assert state(row) == WorkState.OPEN


def test_one_that_moved_meanwhile_is_not_moved_by_an_old_question(campaign, store):
    row = in_campaign(campaign, store, WorkState.REMOVED, since=DONE_ON)
    applied(store, [f"{row.vehicle.vin},done,"], campaign=campaign)
    difference = StatusDifference.objects.get()
    told = {"ours_stands": False, "why": "x", "by": StaffFactory.create(), "at": NOW}
    with pytest.raises(MoveNotAllowed):
        settle_difference(difference=difference, **told)
    row.work_state = WorkState.OPEN
    row.save()
    with pytest.raises(SettledAlready):
        settle_difference(difference=difference, **told)


def test_rows_name_the_campaign_by_any_of_its_numbers(store):
    rows = [in_campaign(CampaignFactory.create(), store) for _n in range(3)]
    fields = ("code", "maker_number", "regulator_number")
    lines = [
        f"{row.vehicle.vin},{getattr(row.campaign, field).lower()},done"
        for row, field in zip(rows, fields, strict=True)
    ]
    lines.append(f"{rows[0].vehicle.vin},26X-999,done")
    lines.append(f"{rows[0].vehicle.vin},{rows[1].campaign.code},done")
    done = applied(store, lines, head="VIN,Campaign,Status")
    assert (done.counts["closes"], done.counts["unknown"]) == (3, 1)
    assert done.counts["not_in"] == 1


def test_the_same_file_and_press_twice_change_nothing(campaign, store):
    row = in_campaign(campaign, store)
    lines = [f"{row.vehicle.vin},done,{DONE_ON}"]
    first = applied(store, lines, campaign=campaign)
    assert applied(store, lines, campaign=campaign) == first
    assert StatusList.objects.count() == 1
    assert StateChange.objects.count() == 1


def test_another_stores_vehicle_is_not_touched(campaign, store):
    theirs = in_campaign(campaign, StoreFactory.create())
    done = applied(store, [f"{theirs.vehicle.vin},done,"], campaign=campaign)
    assert done.counts["unknown"] == 1
    assert state(theirs) == WorkState.OPEN


def test_rows_that_cannot_be_read_come_back_in_a_file(campaign, store):
    row = in_campaign(campaign, store)
    late = LISTED_ON + dt.timedelta(days=1)
    status_list = kept(
        store,
        [f"{row.vehicle.vin},done,{late}", "NOVIN,done,", f"{row.vehicle.vin},soon,"],
        campaign=campaign,
    )
    read = read_status_list(status_list)
    assert [(one.row, one.column) for one in read.faults] == [
        (2, "Date"),
        (3, "VIN"),
        (4, "Status"),
    ]
    told = faults_of_list(status_list).decode("utf-8-sig").splitlines()
    assert len(told) == 4
    assert "after the date of the list" in told[1]


def test_what_cannot_be_a_status_list_is_not_kept(campaign, store):
    with pytest.raises(CampaignNotSaid):
        kept(store, ["x,done,"])
    with pytest.raises(StatusColumnMissing):
        kept(store, ["x,y"], campaign=campaign, head="VIN,Owner")
    with pytest.raises(DayAhead):
        kept(store, ["x,done,"], campaign=campaign, listed_on=TODAY + dt.timedelta(1))
    assert not StatusList.objects.exists()
