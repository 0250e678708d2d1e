"""The manufacturer's status list: rows read, and held against what stands here."""

import datetime as dt

import pytest

from campaigns.rules.lifecycle import WorkState
from campaigns.rules.status_rows import (
    DateOrderOpen,
    ListedStatus,
    Meets,
    StatusColumnMissing,
    StatusRow,
    find_columns,
    meets,
    read_rows,
    read_status,
)
from tests.factories.vehicles import invented_vin
from vehicles.rules.dates import DateOrder


GOOD, OTHER = invented_vin(31), invented_vin(32)
DAY = dt.date(2026, 3, 9)
EARLIER, LATER = DAY - dt.timedelta(days=1), DAY + dt.timedelta(days=1)
S, W = ListedStatus, WorkState


def read(*rows, headers=("VIN", "Recall", "Status", "Completed on"), order=None):
    return read_rows(headers, enumerate(rows, start=2), order=order)


@pytest.mark.parametrize(
    ("text", "status"),
    [
        ("Completed", S.DONE),
        (" not-completed ", S.OPEN),
        ("CLAIM REJECTED", S.REFUSED),
        ("N/A", S.OUT),
        ("incomplete", S.OPEN),
        ("perhaps", None),
        ("", None),
    ],
)
def test_words_of_the_trade_are_read(text, status):
    assert read_status(text) is status


def test_columns_are_told_from_their_headers():
    assert find_columns(["Recall no.", "Completion-Status", "V I N", "VIN"]) == {
        "vin": 3,
        "campaign": 0,
        "status": 1,
    }
    with pytest.raises(StatusColumnMissing, match="status, state, campaign status"):
        find_columns(["VIN", "Owner"])


def test_a_row_is_read_and_one_that_cannot_be_is_handed_back():
    found = read(
        (GOOD.lower(), "26V-1", "done", "2026-03-01"),
        ("", "", "", ""),
        (GOOD[:-1], "26V-1", "done", ""),
        (OTHER, "26V-1", "maybe", ""),
        (OTHER, "26V-1", "open", "soon"),
    )
    assert found.rows == (
        StatusRow(
            row=2,
            vin=GOOD,
            campaign="26V-1",
            status=S.DONE,
            dated=dt.date(2026, 3, 1),
        ),
    )
    assert [(f.row, f.column, f.value) for f in found.faults] == [
        (4, "VIN", GOOD[:-1]),
        (5, "Status", "maybe"),
        (6, "Completed on", "soon"),
    ]


def test_dates_that_can_be_read_two_ways_are_asked_about():
    row = (GOOD, "", "done", "03/04/2026")
    with pytest.raises(DateOrderOpen, match="“03/04/2026” in row 2"):
        read(row)
    assert read(row, order=DateOrder.DAY_FIRST).rows[0].dated == dt.date(2026, 4, 3)
    settled = read(row, (OTHER, "", "open", "04/25/2026"))
    assert settled.rows[0].dated == dt.date(2026, 3, 4)


@pytest.mark.parametrize(
    ("said", "work", "since", "follows"),
    [
        (S.DONE, W.TO_VERIFY, DAY, Meets.CLOSES),
        (S.DONE, W.OPEN, DAY, Meets.CLOSES),
        (S.DONE, W.OPEN, LATER, Meets.ASKS),
        (S.DONE, W.NEEDS_REPAIR, EARLIER, Meets.CLOSES),
        (S.DONE, W.REMEDIED_HERE, DAY, Meets.AGREES),
        (S.DONE, W.REMEDIED_ELSEWHERE, LATER, Meets.AGREES),
        (S.DONE, W.INSPECTED_CLEAR, DAY, Meets.AGREES),
        (S.DONE, W.DISQUALIFIED, DAY, Meets.ASKS),
        (S.DONE, W.REMOVED, DAY, Meets.ASKS),
        (S.OPEN, W.OPEN, LATER, Meets.AGREES),
        (S.REFUSED, W.NEEDS_REPAIR, DAY, Meets.AGREES),
        (S.OPEN, W.REMEDIED_ELSEWHERE, DAY, Meets.REOPENS),
        (S.REFUSED, W.REMEDIED_ELSEWHERE, EARLIER, Meets.REOPENS),
        (S.OPEN, W.REMEDIED_ELSEWHERE, LATER, Meets.OLDER),
        (S.OPEN, W.REMEDIED_HERE, EARLIER, Meets.ASKS),
        (S.REFUSED, W.REMEDIED_HERE, EARLIER, Meets.ASKS),
        (S.OPEN, W.INSPECTED_CLEAR, EARLIER, Meets.ASKS),
        (S.OPEN, W.REMOVED, EARLIER, Meets.ASKS),
        (S.OUT, W.REMOVED, DAY, Meets.AGREES),
        (S.OUT, W.OPEN, DAY, Meets.ASKS),
        (S.OUT, W.REMEDIED_HERE, DAY, Meets.ASKS),
    ],
)
def test_what_follows_from_a_row(said, work, since, follows):
    assert meets(said, work, since=since, listed_on=DAY) is follows


@pytest.mark.parametrize("said", list(ListedStatus))
def test_work_recorded_here_is_never_moved_by_a_list(said):
    for since in (EARLIER, LATER):
        follows = meets(said, W.REMEDIED_HERE, since=since, listed_on=DAY)
        assert follows in {Meets.AGREES, Meets.ASKS}
