"""Deadlines against statute and regulations."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from campaigns.rules import deadlines
from campaigns.rules.deadlines import (
    DeadlineKind,
    HandOver,
    HandOverReason,
    ReportPeriod,
    Urgency,
)
from campaigns.rules.lifecycle import STILL_OPEN, CampaignClass, WorkState
from dealership.rules.workdays import is_business_day
from vehicles.rules.standing import Standing


NOTICED = datetime(2026, 3, 2, 9, tzinfo=UTC)


def test_reports_of_a_safety_recall():
    """49 USC 30118(f): first mailing 10 Feb 2026 gives Q1 2026 to Q4 2027, then 3."""
    reports = deadlines.report_schedule(CampaignClass.SAFETY, date(2026, 2, 10))
    assert [one.number for one in reports] == list(range(1, 12))
    quarterly, yearly = reports[:8], reports[8:]
    assert {one.period for one in quarterly} == {ReportPeriod.QUARTER}
    assert {one.period for one in yearly} == {ReportPeriod.YEAR}
    assert quarterly[0].first_day == date(2026, 1, 1)
    assert quarterly[-1].last_day == date(2027, 12, 31)
    due = [one.due for one in quarterly[:4]]
    assert due == [
        date(2026, 4, 30),
        date(2026, 7, 30),
        date(2026, 10, 30),
        date(2027, 2, 1),  # 30 January 2027 is a Saturday
    ]
    assert [(one.first_day.year, one.last_day.year) for one in yearly] == [
        (2028, 2028),
        (2029, 2029),
        (2030, 2030),
    ]


def test_reports_of_an_emissions_recall():
    """40 CFR 1068.525(b): six quarters, 25 days."""
    reports = deadlines.report_schedule(CampaignClass.EMISSIONS, date(2026, 2, 10))
    assert len(reports) == 6
    assert [one.due for one in reports[:4]] == [
        date(2026, 4, 25),
        date(2026, 7, 25),
        date(2026, 10, 25),
        date(2027, 1, 25),
    ]


@pytest.mark.parametrize(
    "kind", [CampaignClass.SATISFACTION, CampaignClass.SERVICE_ACTION]
)
def test_other_classes_report_nothing(kind):
    assert deadlines.report_schedule(kind, date(2026, 2, 10)) == ()
    assert deadlines.next_report(kind, date(2026, 2, 10), date(2026, 3, 1)) is None


def test_the_next_report():
    began = date(2026, 2, 10)
    on_the_day = deadlines.next_report(CampaignClass.SAFETY, began, date(2026, 4, 30))
    after = deadlines.next_report(CampaignClass.SAFETY, began, date(2026, 5, 1))
    assert (on_the_day.number, after.number) == (1, 2)
    late = deadlines.next_report(CampaignClass.SAFETY, began, date(2040, 1, 1))
    assert late is None


@settings(deadline=None)
@given(st.dates(date(2020, 1, 1), date(2030, 1, 1)))
def test_reports_follow_each_other_without_gaps(began):
    reports = deadlines.report_schedule(CampaignClass.SAFETY, began)
    assert reports[0].first_day <= began <= reports[0].last_day
    for one, other in pairwise(reports):
        assert other.first_day == one.last_day + timedelta(days=1)
        assert other.due > one.due
    assert all(is_business_day(one.due) for one in reports)


def test_sixty_days_run_from_the_earliest_date():
    """49 USC 30120(c): presented 1 March, earliest date 1 April."""
    early = deadlines.remedy_period(date(2026, 3, 1), date(2026, 4, 1))
    assert early.runs_from == date(2026, 4, 1)
    assert early.last_day == date(2026, 5, 31)
    assert early.present_again
    later = deadlines.remedy_period(date(2026, 4, 2), date(2026, 4, 1))
    assert (later.runs_from, later.present_again) == (date(2026, 4, 2), False)
    plain = deadlines.remedy_period(date(2026, 3, 1), None)
    assert plain.last_day == date(2026, 4, 30)
    assert plain.days_left(date(2026, 4, 30)) == 0
    assert plain.days_left(date(2026, 5, 2)) == -2


def hand_over(**facts):
    known = {
        "stands": Standing.CUSTOMER,
        "work": WorkState.OPEN,
        "campaign_class": CampaignClass.SAFETY,
        "stop_sale": False,
        "noticed_at": NOTICED,
    }
    return deadlines.judge_hand_over(**(known | facts))


@pytest.mark.parametrize(
    ("facts", "verdict", "reason"),
    [
        # 49 USC 30120(i)(1): new vehicles not before the remedy
        (
            {"stands": Standing.NEW},
            HandOver.MUST_NOT,
            HandOverReason.NEW_NOT_REMEDIED,
        ),
        (
            {
                "stands": Standing.NEW,
                "campaign_class": CampaignClass.EMISSIONS,
                "stop_sale": True,
            },
            HandOver.MUST_NOT,
            HandOverReason.STOP_SALE,
        ),
        (
            {
                "stands": Standing.NEW,
                "campaign_class": CampaignClass.SATISFACTION,
            },
            HandOver.MAY,
            HandOverReason.TELL_THE_CUSTOMER,
        ),
        (
            {"stands": Standing.USED},
            HandOver.CHECK_STATE_LAW,
            HandOverReason.USED_NOT_REMEDIED,
        ),
        # 49 USC 30102(a)(11): 34 is no covered fleet, 35 is
        (
            {"stands": Standing.RENTAL, "rental_fleet": 34},
            HandOver.CHECK_STATE_LAW,
            HandOverReason.USED_NOT_REMEDIED,
        ),
        (
            {"stands": Standing.RENTAL, "rental_fleet": 35},
            HandOver.MUST_NOT,
            HandOverReason.RENTAL_NOT_REMEDIED,
        ),
        (
            {"stands": Standing.LOANER, "rental_fleet": 35},
            HandOver.MUST_NOT,
            HandOverReason.RENTAL_NOT_REMEDIED,
        ),
        (
            {
                "stands": Standing.RENTAL,
                "rental_fleet": 90,
                "campaign_class": CampaignClass.SERVICE_ACTION,
            },
            HandOver.MAY,
            HandOverReason.TELL_THE_CUSTOMER,
        ),
        ({}, HandOver.MAY, HandOverReason.TELL_THE_CUSTOMER),
    ],
)
def test_handing_over(facts, verdict, reason):
    found = hand_over(**facts)
    assert (found.verdict, found.reason) == (verdict, reason)


@pytest.mark.parametrize(("vehicles", "hours"), [(5_000, 24), (5_001, 48), (0, 24)])
def test_hours_of_a_rental_company(vehicles, hours):
    """49 USC 30120(i)(3)."""
    assert deadlines.rental_notice_hours(vehicles) == hours
    found = hand_over(
        stands=Standing.RENTAL, rental_fleet=50, vehicles_in_notice=vehicles
    )
    assert found.hold_by == NOTICED + timedelta(hours=hours)


@pytest.mark.parametrize("work", sorted(set(WorkState) - STILL_OPEN))
def test_work_that_is_done_holds_nothing(work):
    found = hand_over(stands=Standing.NEW, work=work, stop_sale=True)
    assert (found.verdict, found.reason) == (
        HandOver.MAY,
        HandOverReason.NOTHING_OPEN,
    )


def test_last_days_nearest_first():
    today = date(2026, 3, 2)
    found = deadlines.deadlines_of(
        [
            (DeadlineKind.CLAIM, date(2026, 6, 1)),
            (DeadlineKind.RETURN, date(2026, 3, 12)),
            (DeadlineKind.REMEDY_OFFERED, None),
        ],
        today=today,
    )
    assert [(one.kind, one.days_left) for one in found] == [
        (DeadlineKind.RETURN, 10),
        (DeadlineKind.CLAIM, 91),
    ]


@pytest.mark.parametrize(
    ("days", "urgency"),
    [
        (-1, Urgency.PASSED),
        (0, Urgency.TODAY),
        (30, Urgency.SOON),
        (31, Urgency.LATER),
    ],
)
def test_urgency(days, urgency):
    today = date(2026, 3, 2)
    (one,) = deadlines.deadlines_of(
        [(DeadlineKind.CLAIM, today + timedelta(days=days))], today=today
    )
    assert one.urgency is urgency
