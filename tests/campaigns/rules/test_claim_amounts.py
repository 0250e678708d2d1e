"""Claim lines against sums worked by hand."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from campaigns.rules import claim_amounts
from campaigns.rules.lifecycle import ClaimLineKind
from dealership.rules.money import RoundedOn, Rounding, RoundingProfile


PART = claim_amounts.part_line(
    "bracket", pieces=2, unit_cost_cents=1825, handling=Decimal("0.30")
)
LABOUR = claim_amounts.labour_line("fit", hundredths=70, rate_cents=14250)


def test_parts_with_handling_and_labour():
    """By hand: 2 x 18.25 x 1.30 = 47.45; 0.7 h x 142.50 = 99.75; total 147.20."""
    claim = claim_amounts.price_claim([PART, LABOUR])
    assert [line.claimed_cents for line in claim.lines] == [4745, 9975]
    assert claim.total_cents == 14720
    assert claim.cost_cents == 3650
    assert claim.total_of(ClaimLineKind.LABOUR) == 9975
    assert claim.total_of(ClaimLineKind.SUBLET) == 0


@pytest.mark.parametrize(
    ("rounding", "rounded_on", "total"),
    [
        (Rounding.HALF_UP, RoundedOn.LINE, 23730),
        (Rounding.HALF_EVEN, RoundedOn.LINE, 23720),
        (Rounding.HALF_UP, RoundedOn.TOTAL, 23725),
    ],
)
def test_ten_lines_by_the_payers_profile(rounding, rounded_on, total):
    """Ten lines of 23.725, by hand; EN 16931 BR-CO-10 adds the rounded lines."""
    line = claim_amounts.part_line(
        "seal", pieces=1, unit_cost_cents=1825, handling=Decimal("0.30")
    )
    profile = RoundingProfile(rounding=rounding, rounded_on=rounded_on)
    claim = claim_amounts.price_claim([line] * 10, profile)
    assert claim.total_cents == total
    assert {one.claimed_cents for one in claim.lines} <= {2372, 2373}
    assert claim.lines[0].claimed_cents == (2372 if total == 23720 else 2373)


def test_work_by_others_is_claimed_at_its_bill():
    claim = claim_amounts.price_claim(
        [PART, LABOUR, claim_amounts.sublet_line("towing", bill_cents=8900)]
    )
    assert claim.total_cents == 14720 + 8900
    assert claim_amounts.price_claim([]).total_cents == 0


@pytest.mark.parametrize(
    "line",
    [
        claim_amounts.part_line("a", pieces=0, unit_cost_cents=1, handling=Decimal(0)),
        claim_amounts.part_line("a", pieces=-1, unit_cost_cents=1, handling=Decimal(0)),
        claim_amounts.part_line("a", pieces=1, unit_cost_cents=-1, handling=Decimal(0)),
        claim_amounts.part_line("a", pieces=1, unit_cost_cents=1, handling=Decimal(-1)),
        claim_amounts.labour_line("a", hundredths=0, rate_cents=1),
    ],
)
def test_refuses_lines_with_nothing_on_them(line):
    with pytest.raises(claim_amounts.NotClaimable) as caught:
        claim_amounts.price_claim([line])
    assert caught.value.title == "a"


@settings(deadline=None)
@given(st.integers(0, 10_000), st.lists(st.integers(0, 5_000), min_size=1, max_size=6))
def test_payments_cover_cost_first(cost, payments):
    before = at_cost = income = 0
    for cents in payments:
        settled = claim_amounts.settle_payment(
            cost_cents=cost, paid_before=before, cents=cents
        )
        assert settled.at_cost_cents + settled.income_cents == cents
        at_cost += settled.at_cost_cents
        income += settled.income_cents
        before += cents
    assert at_cost == min(cost, sum(payments))
    assert income == max(0, sum(payments) - cost)
