"""Eligibility limits against the statute and the plain reading of a bulletin."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from campaigns.rules import eligibility
from campaigns.rules.eligibility import Cover, Limits, Reason
from campaigns.rules.lifecycle import CampaignClass, Payer


TODAY = date(2026, 3, 2)


def judge(limits, **facts):
    known = {"on": TODAY, "odometer_miles": 50_000, "first_used_on": date(2020, 3, 2)}
    return eligibility.judge_eligibility(limits, **(known | facts))


def safety(notice, **facts):
    return Limits(campaign_class=CampaignClass.SAFETY, notice_on=notice, **facts)


def offer(**facts):
    return Limits(
        campaign_class=CampaignClass.SATISFACTION,
        notice_on=date(2025, 1, 1),
        **facts,
    )


@pytest.mark.parametrize(
    ("notice", "cover", "payer"),
    [
        (date(2025, 6, 15), Cover.COVERED, Payer.MANUFACTURER),
        (date(2025, 6, 16), Cover.FREE_NOT_REQUIRED, Payer.CUSTOMER),
    ],
)
def test_safety_after_fifteen_years(notice, cover, payer):
    """49 USC 30120(g)(1): more than 15 calendar years before the notice."""
    verdict = judge(safety(notice), first_used_on=date(2010, 6, 15))
    assert (verdict.cover, verdict.payer) == (cover, payer)


def test_safety_does_not_run_out_with_time_or_miles():
    verdict = judge(
        safety(date(2012, 1, 1), last_day=date(2013, 1, 1), odometer_miles=10),
        first_used_on=date(2010, 1, 1),
        odometer_miles=400_000,
    )
    assert verdict.cover is Cover.COVERED


def test_safety_asks_for_the_first_purchase():
    verdict = judge(safety(date(2025, 1, 1)), first_used_on=None)
    assert (verdict.cover, verdict.payer) == (Cover.ASK, None)
    assert verdict.reasons == (Reason.FIRST_USE_UNKNOWN,)
    assert verdict.counts_as_expected


def test_tyres_have_five_years():
    """49 USC 30120(g)(1)."""
    limits = safety(date(2025, 1, 1), years=5)
    old = judge(limits, first_used_on=date(2019, 12, 31))
    assert old.cover is Cover.FREE_NOT_REQUIRED
    longer = judge(safety(date(2025, 1, 1), years=40), first_used_on=date(2009, 1, 1))
    assert longer.cover is Cover.FREE_NOT_REQUIRED


def test_emissions_have_no_limit():
    """40 CFR 85 Subpart S, Appendix A: whatever the age or mileage at repair."""
    limits = Limits(
        campaign_class=CampaignClass.EMISSIONS,
        notice_on=date(1999, 1, 1),
        last_day=date(2000, 1, 1),
        odometer_miles=1,
        years=1,
    )
    verdict = judge(limits, first_used_on=None, odometer_miles=None)
    assert (verdict.cover, verdict.reasons) == (
        Cover.COVERED,
        (Reason.NO_LIMIT,),
    )


@pytest.mark.parametrize(
    ("limits", "facts", "cover", "reasons"),
    [
        (offer(), {}, Cover.COVERED, (Reason.NO_LIMIT,)),
        (offer(last_day=TODAY), {}, Cover.COVERED, (Reason.WITHIN_LIMITS,)),
        (
            offer(last_day=TODAY - timedelta(days=1)),
            {},
            Cover.PAST_LIMIT,
            (Reason.LAST_DAY_PASSED,),
        ),
        (
            offer(odometer_miles=50_000, years=6),
            {},
            Cover.COVERED,
            (Reason.WITHIN_LIMITS,),
        ),
        (
            offer(odometer_miles=49_999, years=6),
            {"on": TODAY + timedelta(days=1)},
            Cover.PAST_LIMIT,
            (Reason.ODOMETER_OVER, Reason.TOO_OLD),
        ),
        (
            offer(odometer_miles=50_000, years=6),
            {"odometer_miles": None, "first_used_on": None},
            Cover.ASK,
            (Reason.ODOMETER_UNKNOWN, Reason.FIRST_USE_UNKNOWN),
        ),
        (
            offer(odometer_miles=50_000, last_day=date(2026, 1, 1)),
            {"odometer_miles": None},
            Cover.PAST_LIMIT,
            (Reason.LAST_DAY_PASSED,),
        ),
    ],
)
def test_limits_that_the_manufacturer_sets(limits, facts, cover, reasons):
    verdict = judge(limits, **facts)
    assert (verdict.cover, verdict.reasons) == (cover, reasons)
    assert verdict.counts_as_expected is (cover is not Cover.PAST_LIMIT)
    payers = {
        Cover.COVERED: Payer.MANUFACTURER,
        Cover.PAST_LIMIT: Payer.CUSTOMER,
        Cover.ASK: None,
    }
    assert verdict.payer == payers[cover]


def test_leap_day():
    assert eligibility.years_later(date(2012, 2, 29), 15) == date(2027, 2, 28)
    assert eligibility.years_later(date(2012, 2, 29), 16) == date(2028, 2, 29)


@settings(deadline=None)
@given(
    st.sampled_from(CampaignClass),
    st.none() | st.dates(date(2000, 1, 1), date(2030, 1, 1)),
    st.none() | st.integers(0, 300_000),
    st.none() | st.dates(date(2000, 1, 1), date(2030, 1, 1)),
)
def test_safety_and_emissions_never_close(kind, last_day, miles, first):
    limits = Limits(
        campaign_class=kind,
        notice_on=date(2024, 1, 1),
        last_day=last_day,
        odometer_miles=80_000,
        years=10,
    )
    verdict = judge(limits, odometer_miles=miles, first_used_on=first)
    if kind in {CampaignClass.SAFETY, CampaignClass.EMISSIONS}:
        assert verdict.cover is not Cover.PAST_LIMIT
    assert (verdict.payer is None) == (verdict.cover is Cover.ASK)
