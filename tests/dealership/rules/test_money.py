"""Whole-cent money against the published examples and a slow second reading."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dealership.rules import money
from dealership.rules.money import (
    DayCount,
    ExtendedLine,
    RoundedOn,
    Rounding,
    RoundingProfile,
)


CENTS = st.integers(-money.LARGEST_CENTS, money.LARGEST_CENTS)


@pytest.mark.parametrize(
    ("text", "cents"),
    [
        ("1,234.50", 123450),
        ("1234.5", 123450),
        ("$1,234.50", 123450),
        ("USD 1,234.50", 123450),
        ("1,234.50 usd", 123450),
        ("1.234,50", 123450),
        ("1 234,50", 123450),
        ("1'234.50", 123450),
        ("1\u00a0234.50", 123450),
        ("1,234,567", 123456700),
        ("1,234", 123400),
        ("12,5", 1250),
        ("0", 0),
        (".5", 50),
        ("7.", 700),
        ("  42 ", 4200),
        ("18.250", 1825),
        ("+3.00", 300),
    ],
)
def test_reads_what_people_type(text, cents):
    assert money.parse_money(text) == cents


@pytest.mark.parametrize(
    "text", ["-12.00", "(12.00)", "12.00-", "$-12.00", "-$12.00", "\u221212.00"]
)
def test_reads_less_than_zero_where_it_is_allowed(text):
    assert money.parse_money(text, allow_negative=True) == -1200
    with pytest.raises(money.MoneyNegative):
        money.parse_money(text)


@pytest.mark.parametrize(
    ("text", "refusal"),
    [
        ("", money.MoneyMissing),
        ("   ", money.MoneyMissing),
        ("twelve", money.MoneyUnreadable),
        ("1,23,4.00", money.MoneyUnreadable),
        ("1.2.3", money.MoneyUnreadable),
        ("--5", money.MoneyUnreadable),
        ("=1+1", money.MoneyUnreadable),
        ("1e5", money.MoneyUnreadable),
        ("NaN", money.MoneyUnreadable),
        ("\u0661\u0662", money.MoneyUnreadable),
        ("9" * 1_000_000, money.MoneyUnreadable),
        ("1.234", money.MoneyTooFine),
        ("0.005", money.MoneyTooFine),
        ("100,000,000,000.00", money.MoneyTooLarge),
        ("€5.00", money.OtherCurrency),
        ("5 GBP", money.OtherCurrency),
    ],
)
def test_refuses_by_name_and_says_why(text, refusal):
    with pytest.raises(refusal) as caught:
        money.parse_money(text)
    assert len(caught.value.text) <= 40
    assert str(caught.value).endswith(".")


def test_the_stores_mark_decides_where_one_mark_could_be_either():
    assert money.parse_money("1.234", decimal_mark=",", currency="EUR") == 123400
    with pytest.raises(money.MoneyTooFine):
        money.parse_money("1,234", decimal_mark=",", currency="EUR")


def test_a_dollar_sign_serves_every_dollar():
    assert money.parse_money("$5", currency="CAD") == 500


@settings(deadline=None)
@given(CENTS)
def test_what_is_written_reads_back(cents):
    for grouped in (True, False):
        written = money.plain_money(cents, grouped=grouped)
        assert money.parse_money(written, allow_negative=True) == cents


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_by_name(text):
    try:
        cents = money.parse_money(text, allow_negative=True)
    except money.NotMoney:
        cents = 0
    assert abs(cents) <= money.LARGEST_CENTS


def test_line_of_two_parts_with_handling():
    """Worked by hand: 2 x 18.25 x 1.30 = 47.45 exactly; not 2 x 23.73 = 47.46."""
    assert money.line_cents(2, 1825, Decimal("0.30")) == 4745


def test_labour_line():
    """0.7 hours at 142.50: 99.75."""
    assert money.line_cents(Decimal("0.7"), 14250) == 9975


def test_exactly_half_a_cent_is_rounded_up():
    """Regulation (EC) 1103/97, art. 5; 18.25 x 1.30 = 23.725 by hand."""
    assert money.line_cents(1, 1825, Decimal("0.30")) == 2373
    assert money.line_cents(1, 1825, Decimal("0.30"), Rounding.HALF_EVEN) == 2372


@pytest.mark.parametrize(
    ("rounding", "rounded_on", "total", "left"),
    [
        (Rounding.HALF_UP, RoundedOn.LINE, 23730, 0),
        (Rounding.HALF_EVEN, RoundedOn.LINE, 23720, 0),
        (Rounding.HALF_UP, RoundedOn.TOTAL, 23725, -5),
        (Rounding.HALF_EVEN, RoundedOn.TOTAL, 23725, 5),
    ],
)
def test_ten_lines_in_each_profile(rounding, rounded_on, total, left):
    """Ten lines of 23.725 (by hand): sum of rounded lines, EN 16931 BR-CO-10."""
    line = ExtendedLine(quantity=1, unit_cents=1825, markup=Decimal("0.30"))
    profile = money.RoundingProfile(rounding=rounding, rounded_on=rounded_on)
    totals = money.add_lines([line] * 10, profile)
    assert (totals.total_cents, totals.rounding_cents) == (total, left)
    assert sum(totals.line_cents) + totals.rounding_cents == totals.total_cents


def test_lines_add_up_to_a_total_rounded_once():
    """By hand: ten lines of 23.725 are 237.25; five of them get the half cents."""
    line = ExtendedLine(quantity=1, unit_cents=1825, markup=Decimal("0.30"))
    profile = RoundingProfile(rounded_on=RoundedOn.TOTAL)
    assert money.fitted_lines([line] * 10, profile) == (2373,) * 5 + (2372,) * 5
    assert money.fitted_lines([line] * 10) == (2373,) * 10


@given(
    st.lists(
        st.tuples(st.integers(1, 99), st.integers(0, 99_999), st.integers(0, 9_999)),
        max_size=12,
    ),
    st.sampled_from(Rounding),
)
def test_fitted_lines_are_within_a_cent_and_add_up(lines, rounding):
    """Largest remainders (Hamilton's method): nobody is off by a whole cent."""
    extended = [
        ExtendedLine(quantity=n, unit_cents=unit, markup=Decimal(share) / 10_000)
        for n, unit, share in lines
    ]
    profile = RoundingProfile(rounding=rounding, rounded_on=RoundedOn.TOTAL)
    fitted = money.fitted_lines(extended, profile)
    assert sum(fitted) == money.add_lines(extended, profile).total_cents
    for line, cents in zip(extended, fitted, strict=True):
        assert abs(cents - line.exact_cents()) < 1


def test_no_lines_are_nothing():
    assert money.add_lines([]).total_cents == 0


def test_a_float_is_refused():
    with pytest.raises(TypeError):
        money.line_cents(2.675, 100)


@settings(deadline=None)
@given(
    st.decimals(0, 10**7, places=4),
    st.integers(0, 10**11),
    st.decimals(-1, 3, places=6),
    st.sampled_from(Rounding),
)
def test_line_against_exact_fractions(quantity, unit, markup, rounding):
    exact = Fraction(quantity) * unit * (1 + Fraction(markup))
    low = exact.numerator // exact.denominator
    rest = exact - low
    if rest == Fraction(1, 2):
        expected = low + 1 if rounding is Rounding.HALF_UP else low + low % 2
    else:
        expected = low + (rest > Fraction(1, 2))
    assert money.line_cents(quantity, unit, markup, rounding) == expected
    assert money.round_cents(exact, rounding) == expected


@settings(deadline=None)
@given(st.decimals(-1000, 1000, places=1), st.sampled_from(Rounding))
def test_a_credit_undoes_its_bill_to_the_cent(cents, rounding):
    back = money.round_cents(-cents, rounding)
    assert back == -money.round_cents(cents, rounding)
    assert money.round_cents(Fraction(cents), rounding) == -back


def test_basis_points():
    assert money.share_of_basis_points(3000) == Decimal("0.3")
    assert money.share_of_basis_points(1) == Decimal("0.0001")


def test_return_credit():
    """By hand: 14 x 64.10 x .85 = 762.79, less 20.00 freight."""
    assert money.return_credit_cents(14, 6410, Decimal("0.15")) == 76279
    credit = money.return_credit_cents(14, 6410, Decimal("0.15"), freight_cents=2000)
    assert credit == 74279


@pytest.mark.parametrize(
    ("price", "notice", "corrected", "by_count"),
    [
        (3_000_000, date(2026, 1, 10), date(2026, 3, 26), (75484, 75000, 73973)),
        (3_240_000, date(2026, 1, 15), date(2026, 4, 10), (91974, 91800, 90542)),
    ],
)
def test_one_per_cent_a_month_on_unsold_vehicles(price, notice, corrected, by_count):
    """49 USC 30116(b): at least 1 per cent a month of the price, prorated.

    By hand: 2 + 16/31 months, 75/30, 75 x 12/365 of 30,000.00; 2 + 26/31, 85/30,
    85 x 12/365 of 32,400.00. The Act defines no month, hence three counts.
    """
    counts = (
        DayCount.ANNIVERSARY_MONTHS,
        DayCount.ACTUAL_30,
        DayCount.ACTUAL_365_12,
    )
    for day_count, cents in zip(counts, by_count, strict=True):
        found = money.monthly_share_cents(price, notice, corrected, day_count=day_count)
        assert found == cents


def test_grace_days_at_another_rate():
    """By hand: 14 Feb to 10 Apr 2026 is 1 + 27/31 months of 405.00: 757.74."""
    cents = money.monthly_share_cents(
        3_240_000,
        date(2026, 1, 15),
        date(2026, 4, 10),
        monthly_rate=Decimal("0.0125"),
        grace_days=30,
    )
    assert cents == 75774


def test_nothing_is_due_within_the_grace():
    day = date(2026, 1, 15)
    end = day + timedelta(days=30)
    assert money.monthly_share_cents(100, day, end, grace_days=30) == 0


def test_a_period_runs_forwards():
    with pytest.raises(money.PeriodBackwards):
        money.months_between(date(2026, 2, 1), date(2026, 1, 31))
    with pytest.raises(money.PeriodBackwards):
        money.monthly_share_cents(1, date(2026, 2, 1), date(2026, 1, 1), grace_days=9)


@pytest.mark.parametrize(
    ("start", "end", "months"),
    [
        (date(2026, 1, 31), date(2026, 2, 28), Fraction(1)),
        (date(2028, 1, 31), date(2028, 2, 28), Fraction(28, 29)),
        (date(2026, 1, 31), date(2026, 3, 31), Fraction(2)),
        (date(2025, 12, 15), date(2026, 1, 15), Fraction(1)),
        (date(2026, 3, 1), date(2026, 3, 1), Fraction(0)),
    ],
)
def test_anniversary_months_at_the_edges(start, end, months):
    assert money.months_between(start, end) == months


@settings(deadline=None)
@given(
    st.dates(date(2000, 1, 1), date(2040, 1, 1)),
    st.integers(0, 2000),
    st.sampled_from(DayCount),
)
def test_a_longer_period_is_never_fewer_months(start, days, day_count):
    shorter = money.months_between(start, start + timedelta(days=days), day_count)
    longer = money.months_between(start, start + timedelta(days=days + 1), day_count)
    assert shorter < longer
    assert abs(shorter - Fraction(days * 12, 365)) < Fraction(1, 10) + Fraction(
        days, 900
    )
