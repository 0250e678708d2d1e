"""When a reminder pays, against values worked by hand from the hazards."""

import math
from datetime import date, timedelta

import pytest

from inventory.forecasting.demand import CampaignUse, Cohort
from inventory.forecasting.reminding import (
    Costs,
    Judgement,
    PartInHand,
    Verdict,
    has_ebbed,
    judge_reminder,
    shares,
    wanted_in_wave,
)
from inventory.forecasting.response import ResponseCurve, reminder_strength
from inventory.forecasting.takeup import HazardCurve, cold_start_curve


TODAY = date(2026, 3, 2)
FIRST = HazardCurve(weeks=(0, 4, 30), hazards=(0, 0.4, 0.66))
"""0.1 a week for four weeks, then 0.01 a week until week 30."""

CURVE = ResponseCurve(first=FIRST, reminder=0.5)
CENT = Costs(letter_cents=100, visit_cents=5_000)


def use(*, weeks=10.0, vehicles=100, **facts):
    told = {
        "label": "A",
        "curve": CURVE,
        "cohorts": (Cohort(weeks_since_letter=weeks, vehicles=vehicles),),
    }
    return CampaignUse(**told | facts)


def judge(one, **facts):
    told = {
        "letters": 100,
        "rounds": 1,
        "costs": CENT,
        "parts": (),
        "today": TODAY,
    }
    return judge_reminder(one, **told | facts)


def test_the_hazards_add():
    """Ten weeks after the letter, 26 weeks ahead: without H = 0.66 - 0.46 = 0.20; the
    reminder adds 0.5 x H(26) = 0.5 x 0.62 = 0.31."""
    without, reminded = shares(use(), weeks=26)
    assert without == pytest.approx(1 - math.exp(-0.20))  # 0.1813
    assert reminded == pytest.approx(1 - math.exp(-0.51))  # 0.3995


def test_five_points_of_all_by_week_60():
    """The usual strength: a letter in week 20 adds 5 of 100 owners by week 60, so of
    those still open in week 20 it brings 0.05 / (1 - c(20))."""
    curve = cold_start_curve(0.67)
    told = ResponseCurve(first=curve, reminder=reminder_strength(curve))
    without, reminded = shares(use(weeks=20, curve=told), weeks=40)
    assert (reminded - without) * (1 - curve.completed(20)) == pytest.approx(0.05)


def test_a_curve_of_later_letters_takes_over():
    """With its own curve the first one stops: H = 0.3 within 26 weeks, nothing else."""
    later = HazardCurve(weeks=(0, 10), hazards=(0, 0.3))
    _without, reminded = shares(
        use(curve=ResponseCurve(first=FIRST, later=later)), weeks=26
    )
    assert reminded == pytest.approx(1 - math.exp(-0.3))


def test_two_letters_so_far_count_from_the_first_and_the_latest():
    """First 20 weeks ago, again 10 weeks ago; in 26 weeks: first curve 0.66 - 0.56 =
    0.10, the last reminder 0.5 x (0.66 - 0.46) = 0.10, and 0.31 for the new one, which
    ends the last one's: a clock that restarts."""
    twice = Cohort(weeks_since_letter=10, vehicles=10, weeks_since_first=20)
    without, reminded = shares(use(cohorts=(twice,)), weeks=26)
    assert without == pytest.approx(1 - math.exp(-0.20))
    assert reminded == pytest.approx(1 - math.exp(-0.41))


def test_it_pays_and_what_it_brings():
    """100 letters: 39.95 - 18.13 = 21.82 visits more at 50.00, against 100.00."""
    found = judge(use())
    assert found.verdict is Verdict.PAYS
    assert found.without == pytest.approx(18.1269, abs=1e-4)
    assert found.extra == pytest.approx(21.8235, abs=1e-4)
    assert (found.extra_cents, found.cost_cents) == (109_118, 10_000)
    assert found.weeks == 26


@pytest.mark.parametrize(
    ("weeks", "ebbed"),
    [
        (2.0, False),  # 2 to 6: 0.22 against half of 0.4
        (3.9, False),  # the first four weeks are not over
        (4.0, True),  # 4 to 8: 0.04
        (10.0, True),
    ],
)
def test_the_wave_ebbs(weeks, ebbed):
    assert has_ebbed(use(weeks=weeks)) is ebbed
    verdict = Verdict.PAYS if ebbed else Verdict.STILL_COMING
    assert judge(use(weeks=weeks)).verdict is verdict


def test_a_wave_that_never_ebbs_counts_as_over_after_half_a_year():
    steady = ResponseCurve(first=HazardCurve(weeks=(0, 90), hazards=(0, 0.9)))
    assert not has_ebbed(use(weeks=25.9, curve=steady))
    assert has_ebbed(use(weeks=26, curve=steady))


def test_the_visits_must_be_worth_the_letters():
    """21.82 visits of 4.58 are 99.95 and of 4.59 are 100.17, against 100.00."""
    for cents, verdict in ((458, Verdict.TOO_LITTLE), (459, Verdict.PAYS)):
        told = judge(use(), costs=Costs(letter_cents=100, visit_cents=cents))
        assert told.verdict is verdict


def test_without_a_margin_one_visit_in_fifty_letters():
    """A strength of 0.04 adds 0.04 x 0.62 = 0.0248: e^-.20 - e^-.2248 = 0.0201; of
    0.039 0.0196."""
    unknown = Costs(letter_cents=100, visit_cents=None)
    for strength, verdict in ((0.04, Verdict.PAYS), (0.039, Verdict.TOO_LITTLE)):
        weak = ResponseCurve(first=FIRST, reminder=strength)
        found = judge(use(curve=weak), costs=unknown)
        assert found.verdict is verdict
        assert found.extra_cents is None


def test_parts_must_be_in_hand():
    enough = PartInHand(part_id=1, spare=9, wanted=9)
    short = PartInHand(part_id=2, spare=8, wanted=9)
    assert judge(use(), parts=[enough]).verdict is Verdict.PAYS
    found = judge(use(), parts=[enough, short])
    assert (found.verdict, found.short) == (Verdict.NO_PARTS, (short,))


def test_nine_in_ten_outcomes_of_the_wave():
    """Certain pace: 100 vehicles, H = 0.04 + 0.5 x 0.4 = 0.24 in four weeks, so about
    21 of 100 come; the level of 90 in 100 lies above, and two each take double."""
    sure = {"prior": 1e9, "expected": 0.0}
    pieces = wanted_in_wave(use(**sure), today=TODAY)
    assert 100 * (1 - math.exp(-0.24)) == pytest.approx(21.34, abs=0.01)
    assert 26 <= pieces <= 34  # 21.3 and the error of an early forecast, 0.4
    assert wanted_in_wave(use(**sure, pieces_per_vehicle=2), today=TODAY) == 2 * pieces


def test_a_campaign_that_ends_soon_looks_no_further():
    """Six weeks: without 0.06, with 0.06 + 0.5 x 0.42."""
    found = judge(use(last_day=TODAY + timedelta(weeks=6)))
    assert found.weeks == 6
    assert found.extra == pytest.approx(
        100 * (math.exp(-0.06) - math.exp(-0.27)), abs=1e-6
    )
    over = judge(use(last_day=TODAY - timedelta(days=1)))
    assert over == Judgement(verdict=Verdict.NOBODY, letters=100, weeks=0)


def test_nobody_and_enough():
    assert judge(None).verdict is Verdict.NOBODY
    assert judge(use(cohorts=())).verdict is Verdict.NOBODY
    assert judge(use(), letters=0).verdict is Verdict.NOBODY
    assert judge(use(), rounds=4).verdict is Verdict.PAYS
    assert judge(use(), rounds=5).verdict is Verdict.ENOUGH_LETTERS


def test_pace_and_exits_count():
    """Twice the pace doubles the hazards; who leaves cannot come."""
    quick = use(asked=10**9, expected=5.0 * 10**8, prior=1.0)
    without, _reminded = shares(quick, weeks=26)
    assert without == pytest.approx(1 - math.exp(-0.40), rel=1e-6)
    leaving, _reminded = shares(use(exits=0.02), weeks=26)
    assert leaving < 1 - math.exp(-0.20)
