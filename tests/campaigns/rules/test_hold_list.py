"""May it go out, and what has changed: 49 USC 30120(i) for new stock and rentals."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules.deadlines import judge_hand_over
from campaigns.rules.hold_list import Stand, changed, stand_of, strictest
from campaigns.rules.lifecycle import CampaignClass, WorkState
from vehicles.rules.standing import Standing


NOTICE = dt.datetime(2026, 11, 25, tzinfo=dt.UTC)


def stand(stands, *, hours=0, **facts):
    asked = {
        "work": WorkState.OPEN,
        "campaign_class": CampaignClass.SAFETY,
        "stop_sale": False,
        "noticed_at": NOTICE,
        **facts,
    }
    verdict = judge_hand_over(stands=stands, **asked)
    return stand_of(verdict, now=NOTICE + dt.timedelta(hours=hours))


@pytest.mark.parametrize(
    ("standing", "facts", "expected"),
    [
        # 49 USC 30120(i)(1), (2): a new vehicle is not delivered before the remedy
        (Standing.NEW, {}, Stand.HOLD),
        (Standing.NEW, {"campaign_class": CampaignClass.SERVICE_ACTION}, Stand.TELL),
        (
            Standing.NEW,
            {"campaign_class": CampaignClass.SERVICE_ACTION, "stop_sale": True},
            Stand.HOLD,
        ),
        (Standing.NEW, {"work": WorkState.REMEDIED_HERE}, Stand.CLEAR),
        (Standing.USED, {}, Stand.ASK_LAW),
        (Standing.RENTAL, {"rental_fleet": 34}, Stand.ASK_LAW),
        # 30102(a)(1), (11): 35 are a covered fleet; 30120(i)(3): 24 or 48 hours
        (Standing.RENTAL, {"rental_fleet": 35, "hours": 23}, Stand.HOLD_FROM),
        (Standing.RENTAL, {"rental_fleet": 35, "hours": 24}, Stand.HOLD),
        (
            Standing.LOANER,
            {"rental_fleet": 6_000, "vehicles_in_notice": 5_001, "hours": 47},
            Stand.HOLD_FROM,
        ),
        (
            Standing.LOANER,
            {"rental_fleet": 6_000, "vehicles_in_notice": 5_000, "hours": 47},
            Stand.HOLD,
        ),
    ],
)
def test_how_a_vehicle_stands_by_one_campaign(standing, facts, expected):
    assert stand(standing, **facts) is expected


def test_the_strictest_campaign_decides():
    assert strictest([Stand.TELL, Stand.HOLD_FROM, Stand.ASK_LAW]) is Stand.HOLD_FROM
    assert strictest([]) is Stand.CLEAR


LISTED = [Stand.HOLD, Stand.HOLD_FROM, Stand.ASK_LAW, Stand.TELL]
STANDS = st.dictionaries(st.integers(1, 6), st.sampled_from(LISTED))


@given(before=STANDS, now=STANDS, stock=st.sets(st.integers(1, 6)))
def test_applying_what_changed_to_before_gives_now(before, now, stock):
    found = changed(before, now, stock | set(now))

    after = {**before, **{one: stands for one, (_was, stands) in found.items()}}
    off = {Stand.CLEAR, Stand.GONE}
    assert {one: it for one, it in after.items() if it not in off} == now
    assert all(before.get(one) is was for one, (was, _now) in found.items())
    assert all(was is not stands for was, stands in found.values())
    for one, (_was, stands) in found.items():
        if stands in off:
            assert (stands is Stand.CLEAR) is (one in stock)


def test_a_vehicle_that_left_the_list_comes_back_as_new():
    found = changed({1: Stand.CLEAR, 2: Stand.GONE}, {1: Stand.HOLD}, [1])

    assert found == {1: (None, Stand.HOLD)}
