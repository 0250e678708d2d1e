"""The money identity against a worked example and random histories."""

from dataclasses import fields
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from campaigns.rules import exposure
from campaigns.rules.exposure import Account, AgeBand, Dated, Held, Owed


TODAY = date(2026, 3, 2)


def test_worked_example():
    """By hand, 120 pieces at 64.10: 18 credited, 52 paid; 50 pieces are somewhere."""
    unit = 6410
    owed = Owed(billed=120 * unit, credited=18 * unit, paid=52 * unit)
    held = Held(
        on_hand=22 * unit,
        used_not_claimed=10 * unit,
        claimed_not_paid=8 * unit,
        returned_not_credited=7 * unit,
        lost=3 * unit,
    )
    account = Account(owed=owed, held=held)
    assert (owed.billed, owed.credited, owed.paid) == (769_200, 115_380, 333_320)
    assert owed.total == held.total == 320_500
    assert account.balances
    exposure.require_balance(account)


def test_a_missing_cent_is_told():
    account = Account(owed=Owed(billed=100, paid=40), held=Held(on_hand=59))
    assert not account.balances
    with pytest.raises(exposure.DoesNotBalance, match=r"0\.01") as caught:
        exposure.require_balance(account)
    assert caught.value.difference_cents == 1


STATES = [
    *("not_yet_arrived", "in_dispute", "on_hand", "used_not_claimed"),
    *("claimed_not_paid", "returned_not_credited", "in_transit", "lost"),
    *("credited", "paid", "charged_to_customers", "charged_to_store"),
    *("charged_to_other_campaigns", "written_off"),
]


OWED_TOO = {"received_before_bill", "from_other_stock", "moved_in", "moved_out"}


def test_pieces_without_a_bill_and_from_other_shelves_are_owed_too():
    owed = Owed(
        billed=100,
        received_before_bill=20,
        from_other_stock=3,
        moved_in=9,
        moved_out=9,
        paid=50,
    )
    assert owed.total == 73
    assert Account(owed=owed, held=Held(on_hand=73)).balances


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 90_000), st.sampled_from(STATES)), max_size=80)
)
def test_every_piece_is_somewhere(pieces):
    """Each piece is billed once and is in one state: then both sides are equal."""
    sums = dict.fromkeys(STATES, 0)
    for cents, state in pieces:
        sums[state] += cents
    left = {one.name for one in fields(Owed)} - OWED_TOO - {"billed"}
    right = {one.name for one in fields(Held)}
    assert left | right == set(STATES)
    account = Account(
        owed=Owed(
            billed=sum(cents for cents, _ in pieces),
            **{name: sums[name] for name in left},
        ),
        held=Held(**{name: sums[name] for name in right}),
    )
    assert account.difference_cents == 0
    assert account.held.total == sum(sums[name] for name in right)
    twice = exposure.add_accounts([account, account])
    assert twice.held.total == 2 * account.held.total
    assert twice.balances


def test_no_accounts_add_up_to_nothing():
    assert exposure.add_accounts([]) == Account(owed=Owed(), held=Held())


@pytest.mark.parametrize(
    ("days", "band"),
    [
        (-5, AgeBand.UP_TO_30),
        (0, AgeBand.UP_TO_30),
        (30, AgeBand.UP_TO_30),
        (31, AgeBand.UP_TO_60),
        (60, AgeBand.UP_TO_60),
        (61, AgeBand.UP_TO_90),
        (90, AgeBand.UP_TO_90),
        (91, AgeBand.OVER_90),
    ],
)
def test_bands(days, band):
    assert exposure.age_band(TODAY - timedelta(days=days), TODAY) is band


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(-5, 400), st.integers(0, 10_000))))
def test_the_bands_add_up(entries):
    dated = [
        Dated(since=TODAY - timedelta(days=days), cents=cents)
        for days, cents in entries
    ]
    totals = exposure.age_cents(dated, today=TODAY)
    assert list(totals) == list(AgeBand)
    assert sum(totals.values()) == sum(cents for _, cents in entries)
    assert totals[AgeBand.OVER_90] == sum(c for days, c in entries if days > 90)
