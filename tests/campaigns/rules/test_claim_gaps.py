"""What a claim lacks, and what a campaign pays of an extra."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules.claim_gaps import (
    ClaimFacts,
    ExtraClaimed,
    ExtraLimits,
    Gap,
    GapKind,
    PartWanted,
    gaps_of,
    split_extra,
)
from campaigns.rules.lifecycle import Outcome


TODAY = date(2026, 3, 9)
WHOLE = ClaimFacts(
    outcome=Outcome.REMEDIED,
    odometer=41_500,
    done_on=TODAY,
    parts=(PartWanted(number="P-1", wanted=2, fitted=2),),
    checks=(("Torque", True), ("Gap", True)),
    extras=(ExtraClaimed(title="Loan car", evidence="LA-77", dated=TODAY),),
    claims_until=TODAY,
)


def test_a_whole_claim_lacks_nothing_on_its_last_day():
    assert gaps_of(WHOLE, today=TODAY) == []


@pytest.mark.parametrize(
    ("change", "gap"),
    [
        ({"odometer": None}, Gap(kind=GapKind.ODOMETER)),
        ({"done_on": None}, Gap(kind=GapKind.DONE_ON)),
        (
            {"parts": (PartWanted(number="P-1", wanted=2, fitted=1),)},
            Gap(kind=GapKind.PART, about="P-1"),
        ),
        (
            {"checks": (("Torque", True), ("Gap", False))},
            Gap(kind=GapKind.CHECK, about="Gap"),
        ),
        (
            {"extras": (ExtraClaimed(title="Towing", evidence=" ", dated=TODAY),)},
            Gap(kind=GapKind.EVIDENCE, about="Towing"),
        ),
        (
            {"extras": (ExtraClaimed(title="Towing", evidence="B-1", dated=None),)},
            Gap(kind=GapKind.EVIDENCE, about="Towing"),
        ),
        (
            {"claims_until": date(2026, 3, 8)},
            Gap(kind=GapKind.PAST_DATE, about="2026-03-08"),
        ),
    ],
)
def test_each_gap_is_named(change, gap):
    assert gaps_of(replace(WHOLE, **change), today=TODAY) == [gap]


def test_parts_count_only_for_a_remedy_and_checks_only_for_a_sign_off():
    nothing = replace(WHOLE, parts=(PartWanted(number="P", wanted=1, fitted=0),))
    clear = replace(nothing, outcome=Outcome.INSPECTED_CLEAR)
    assert gaps_of(clear, today=TODAY) == []
    open_check = replace(clear, checks=(("Gap", False),))
    assert gaps_of(open_check, today=TODAY) == [Gap(kind=GapKind.CHECK, about="Gap")]
    stopped = replace(open_check, outcome=Outcome.STOPPED)
    assert gaps_of(stopped, today=TODAY) == []


@pytest.mark.parametrize(
    ("limits", "cents", "days", "claimed"),
    [
        (None, 9_000, 2, 0),
        (ExtraLimits(), 9_000, 2, 9_000),
        (ExtraLimits(most_cents=5_000), 9_000, None, 5_000),
        (ExtraLimits(day_cents=3_500), 9_000, 2, 7_000),
        (ExtraLimits(day_cents=3_500), 3_000, 2, 3_000),
        (ExtraLimits(day_cents=3_500), 9_000, None, 3_500),
        (ExtraLimits(most_days=3), 10_000, 4, 7_500),
        (ExtraLimits(day_cents=2_000, most_days=3), 10_000, 4, 6_000),
        (ExtraLimits(day_cents=4_000, most_days=3, most_cents=7_000), 12_000, 4, 7_000),
    ],
)
def test_what_the_campaign_pays_by_hand(limits, cents, days, claimed):
    split = split_extra(limits, cents=cents, days=days)
    assert split.claimed_cents == claimed
    assert split.over_cents == cents - claimed


AMOUNT = st.none() | st.integers(0, 100_000)


@given(
    st.none()
    | st.builds(
        ExtraLimits,
        most_cents=AMOUNT,
        day_cents=AMOUNT,
        most_days=st.none() | st.integers(1, 30),
    ),
    st.integers(0, 500_000),
    st.none() | st.integers(1, 60),
)
def test_no_cent_is_lost_and_no_limit_passed(limits, cents, days):
    split = split_extra(limits, cents=cents, days=days)
    assert split.claimed_cents + split.over_cents == cents
    assert split.claimed_cents >= 0
    assert split.over_cents >= 0
    if limits and limits.most_cents is not None:
        assert split.claimed_cents <= limits.most_cents
