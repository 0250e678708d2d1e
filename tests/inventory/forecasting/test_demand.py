"""Campaign, service and certain demand against hand-worked means and enumeration."""

from datetime import date, timedelta

import pytest

from inventory.forecasting import demand
from inventory.forecasting.demand import (
    CampaignUse,
    CertainUse,
    Cohort,
    ScheduledUse,
)
from inventory.forecasting.response import ResponseCurve
from inventory.forecasting.takeup import HazardCurve, cold_start_curve


TODAY = date(2026, 3, 2)
STEADY = ResponseCurve(first=HazardCurve(weeks=(0, 100), hazards=(0, 5)))


def use(**facts):
    given_facts = {
        "label": "A",
        "curve": STEADY,
        "cohorts": (Cohort(weeks_since_letter=4, vehicles=80),),
    }
    return CampaignUse(**(given_facts | facts))


def test_bookings_take_the_place_of_part_of_the_forecast():
    days = 14
    alone = demand.campaign_demand(use(), today=TODAY, days=days)
    booked = tuple(TODAY + timedelta(days=n % 10) for n in range(4))
    fewer = (Cohort(weeks_since_letter=4, vehicles=76),)
    some = demand.campaign_demand(
        use(cohorts=fewer, booked=booked), today=TODAY, days=days
    )
    assert some.booked_vehicles == 4
    assert some.booked.mean == pytest.approx(3.6)
    assert some.total.mean == pytest.approx(alone.total.mean, rel=0.02)


def test_many_bookings_do_not_end_the_walk_ins():
    alone = demand.campaign_demand(use(), today=TODAY, days=14)
    full = demand.campaign_demand(use(booked=(TODAY,) * 40), today=TODAY, days=14)
    least = demand.LEAST_UNBOOKED * alone.unbooked.mean
    assert full.unbooked.mean == pytest.approx(least, rel=0.02)


def test_bookings_after_the_window_are_left_out():
    late = (TODAY + timedelta(days=15),)
    found = demand.campaign_demand(use(booked=late), today=TODAY, days=14)
    assert found.booked_vehicles == 0
    assert found.booked.mean == 0


def test_the_stores_own_record_of_bookings_is_used_when_given():
    all_unbooked = demand.campaign_demand(
        use(unbooked_ahead=(1.0,)), today=TODAY, days=9
    )
    plain = demand.campaign_demand(use(), today=TODAY, days=9)
    assert all_unbooked.unbooked.mean == pytest.approx(plain.unbooked.mean)
    half = demand.campaign_demand(use(unbooked_ahead=(0.5,)), today=TODAY, days=9)
    assert half.unbooked.mean == pytest.approx(plain.unbooked.mean / 2, rel=0.05)


def test_a_campaign_that_ends_wants_nothing_after_its_last_day():
    short = demand.campaign_demand(
        use(last_day=TODAY + timedelta(days=6)), today=TODAY, days=70
    )
    week = demand.campaign_demand(use(), today=TODAY, days=7)
    assert short.total.mean == pytest.approx(week.total.mean)
    over = demand.campaign_demand(
        use(last_day=TODAY - timedelta(days=1), booked=(TODAY,)), today=TODAY, days=7
    )
    assert over.total.mean == 0


def test_letters_still_to_come_want_nothing_before_them():
    planned = use(
        curve=ResponseCurve(first=cold_start_curve(0.6)),
        cohorts=(Cohort(weeks_since_letter=-3, vehicles=50),),
    )
    assert demand.campaign_demand(planned, today=TODAY, days=21).total.mean == 0
    assert demand.campaign_demand(planned, today=TODAY, days=49).total.mean > 5


def test_pieces_and_share_of_a_vehicle():
    found = demand.campaign_demand(
        use(pieces_per_vehicle=2, published_share=0.25, booked=(TODAY,)),
        today=TODAY,
        days=7,
    )
    assert found.booked.mean == pytest.approx(2 * 0.9 * 0.25)
    assert not found.unbooked.chances[1::2].any()


def test_young_campaigns_are_less_certain_than_old_ones():
    young = demand.campaign_demand(use(), today=TODAY, days=14)
    old = demand.campaign_demand(
        use(cohorts=(Cohort(weeks_since_letter=30, vehicles=80),)), today=TODAY, days=14
    )
    assert young.total.mean == pytest.approx(old.total.mean, rel=0.01)
    assert young.total.variance > old.total.variance
    assert use(cohorts=()).mean_age_weeks() == 0
    assert use(booked=(TODAY,)).open_vehicles == 81


def test_scheduled_and_certain_work():
    service = demand.scheduled_demand(
        ScheduledUse(label="Interval", pieces_per_week=1.5), days=14
    )
    assert service.mean == pytest.approx(3)
    certain = demand.certain_demand(
        [
            CertainUse(label="Own stock", day=TODAY + timedelta(days=9), pieces=2),
            CertainUse(label="Own stock", day=TODAY + timedelta(days=10), pieces=4),
            CertainUse(label="Own stock", day=TODAY - timedelta(days=3), pieces=1),
        ],
        today=TODAY,
        days=9,
    )
    assert (certain.mean, certain.variance) == (3, 0)
