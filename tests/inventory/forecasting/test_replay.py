"""Closed campaigns played again: no hindsight, books that add up, rules by hand."""

import math
from collections import Counter
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.forecasting.distribution import (
    OpenGroup,
    pace_of,
    window_demand,
)
from inventory.forecasting.reorder import CostTerms
from inventory.forecasting.replay import Conditions, Rule, replay
from inventory.forecasting.response import ClosedCampaign, Seen, built_in


TERMS = CostTerms(
    labour_margin_cents=8_500, second_visit_cents=8_500, lost_share=Decimal("0.25")
)
CONDITIONS = Conditions(
    unit_cost_cents=10_000,
    lead_days=14,
    cost_terms=TERMS,
    returns_day=140,
    first_day=-14,
    planned_days=28,
)
KNOWN = built_in()


def campaign(days, *, still_open=10, end=200, label="A", left=()):
    """Give a campaign in which one vehicle asks on each of these days."""
    rows = [
        Seen(vehicles=n, letters=(0.0,), until=day / 7, asked=True)
        for day, n in sorted(Counter(days).items())
    ]
    rows += [
        Seen(vehicles=n, letters=(0.0,), until=day / 7, asked=False)
        for day, n in sorted(Counter(left).items())
    ]
    if still_open:
        rows.append(
            Seen(vehicles=still_open, letters=(0.0,), until=end / 7, asked=False)
        )
    return ClosedCampaign(label=label, seen=tuple(rows))


def play(one, conditions=CONDITIONS, known=KNOWN):
    return replay([(one, conditions, lambda _day: known)])[0]


days_asked = st.lists(st.integers(0, 199), min_size=1, max_size=40)


@settings(deadline=None, max_examples=12)
@given(days_asked, st.integers(20, 120), st.integers(0, 2**32 - 1))
def test_nothing_is_known_before_its_day(days, border, seed):
    """What happens after a day changes no forecast that was made up to it."""
    others = np.random.default_rng(seed)
    changed = [
        day if day <= border else int(others.integers(border + 1, 200)) for day in days
    ]
    window = CONDITIONS.window_days
    one, other = play(campaign(days)), play(campaign(changed))
    upto = border // 7 + 1
    for mine, theirs in zip(one.said[:upto], other.said[:upto], strict=True):
        assert (mine.mean, mine.level, mine.chance) == (
            theirs.mean,
            theirs.level,
            theirs.chance,
        )
    # and what came is counted until the window's end only
    whole = (border - window) // 7 + 1
    assert [row.came for row in one.said[:whole]] == [
        row.came for row in other.said[:whole]
    ]


@settings(deadline=None, max_examples=12)
@given(days_asked, st.integers(1, 10), st.sampled_from([None, 60, 140]))
def test_every_kit_is_accounted_for(days, pack, returns_day):
    """Bought is used, sent back, or left over, whatever the rule."""
    conditions = replace(CONDITIONS, pack=pack, returns_day=returns_day)
    found = play(campaign(days), conditions)
    for tally in found.tallies:
        assert tally.asked == len(days) == found.asked
        assert 0 <= tally.missed <= tally.asked
        used = tally.bought - tally.sent_back - tally.left_over
        assert 0 <= used <= tally.asked
        assert tally.bought % pack == 0
        if returns_day is None:
            assert tally.sent_back == 0


def test_forecast_is_that_of_the_window_by_hand():
    """One day of one campaign: curve, pace and error put together once more."""
    days = [3, 5, 5, 9, 11, 20, 26]
    found = play(campaign(days, still_open=20))
    day, place = 14, 2
    curve = KNOWN.curve.first
    asked = [one for one in days if one <= day]
    due = sum(curve.at(one / 7) for one in asked) + (27 - len(asked)) * curve.at(2)
    pace = pace_of(len(asked), due, prior=KNOWN.prior)
    hazard = curve.between(2, 5)
    demand = window_demand(
        [OpenGroup(vehicles=27 - len(asked), hazard=hazard)],
        pace.blurred(KNOWN.errors.early),
    )
    said = found.said[place]
    assert said.mean == pytest.approx(demand.mean)
    assert said.level == demand.level(0.98)
    assert said.came == 2  # days 20 and 26 of 15 to 35
    assert said.early


def test_one_for_every_vehicle_by_hand():
    """30 vehicles, 6 there on day 0, 24 ordered on day -14 come on day 0 as well."""
    found = play(campaign([10] * 12 + [150] * 2, still_open=16))
    tally = found.tally(Rule.EVERY_VEHICLE)
    # 18 are left; all go back on day 140, the last for it; two who ask later find none
    assert (tally.bought, tally.sent_back, tally.left_over) == (32, 18, 0)
    assert (tally.asked, tally.missed) == (14, 2)
    # evenings: 30 on days 0 to 9, 18 on 10 to 139; sent back after the evening of 140
    assert tally.kit_days == 30 * 10 + 18 * 131
    missing = 2 * 8_500
    keeping = tally.kit_days * 10_000 * 0.24 / 365
    assert tally.cost_cents(CONDITIONS) == pytest.approx(missing + keeping + 18 * 1_500)


def test_last_weeks_by_hand():
    """Ten asked in the first eight days: 10 x 21 / 8 is 27 to have; 6 come first."""
    found = play(campaign([1] * 10, still_open=20, end=70))
    tally = found.tally(Rule.LAST_WEEKS)
    # 6 served at once, 4 wait until day 21; 27 to have and 4 who wait are 31
    assert (tally.asked, tally.missed) == (10, 4)
    assert tally.bought == 6 + 31
    # nobody asks again: 27 too many at the end, none may go back before day 140
    assert tally.left_over == 27


def test_without_costs_pieces_are_told_and_no_money():
    conditions = replace(CONDITIONS, cost_terms=None)
    found = play(campaign([3, 9, 30]), conditions)
    for tally in found.tallies:
        assert tally.cost_cents(conditions) is None
        assert tally.asked == 3


def test_many_side_by_side_are_each_as_alone():
    one, other = campaign([3, 9, 30, 64]), campaign([1, 2, 90], end=120, label="B")
    conditions = replace(CONDITIONS, lead_days=5, review_days=14, first_day=0)
    both = replay(
        [(one, CONDITIONS, lambda _d: KNOWN), (other, conditions, lambda _d: KNOWN)]
    )
    assert both == [play(one), play(other, conditions)]


def test_a_planned_reminder_is_in_the_forecast_before_it_is_posted():
    late = Seen(vehicles=30, letters=(0.0, 12.0), until=20.0, asked=False)
    one = ClosedCampaign(label="A", seen=(late,))
    week = 11  # a week before it is posted
    told = play(one).said[week].mean
    surprise = play(one, replace(CONDITIONS, planned_days=0)).said[week].mean
    assert told > surprise
    # too far off: the same
    assert play(one).said[5].mean == pytest.approx(
        play(one, replace(CONDITIONS, planned_days=0)).said[5].mean
    )


def test_progress_counts_to_the_end():
    told = []
    replay(
        [(campaign([3], end=21), CONDITIONS, lambda _day: KNOWN)],
        progress=lambda done, total: told.append((done, total)),
    )
    assert told == [(0, 36), (7, 36), (14, 36), (21, 36), (28, 36), (35, 36), (36, 36)]
    assert replay([]) == []


def test_served_share_and_empty_campaign():
    quiet = play(campaign([], still_open=5, end=30))
    assert quiet.asked == 0
    assert quiet.tally(Rule.PROPOSALS).served is None
    assert play(campaign([0], end=30)).tally(Rule.PROPOSALS).served == 1.0
    assert math.isclose(
        play(campaign([1] * 10, still_open=20, end=70)).tally(Rule.LAST_WEEKS).served,
        0.6,
    )
