"""The worked screen in words: 84 open, 9 booked, six there, packs of five.

Mean 14.015 and deviation 2.980 of the window, levels 18, 19, 21 for 90, 95 and 98 of
100, order 15 with a chance of .013 to run out: worked out apart with enumeration.
"""

import datetime as dt

import pytest

from inventory.forecasting import distribution, reorder
from inventory.forecasting.proposal import Because, Fact, Proposal, ProposalKind
from inventory.forecasting.wording import sentence


def the_window():
    """Nine booked at .9; 75 others with the mean and spread that the screen has."""
    others = 5.915
    spread = 2.980**2 - 9 * 0.9 * 0.1 - others * (1 - others / 75)
    share = others / 75
    second = share**2 + spread / (75 * 74)
    size = (share - second) / (second - share**2)
    return distribution.binomial(9, 0.9).plus(
        distribution.beta_binomial(75, share * size, (1 - share) * size)
    )


def test_the_screen_says_what_to_order_and_what_less_would_do():
    window = the_window()
    pace = distribution.pace_of(36, 30)
    order = reorder.in_packs(window.level(0.98) - 6, pack=5)
    choices = reorder.weigh(
        reorder.quantities_around(order, pack=5, minimum=0, limit=None),
        window=window,
        rest=distribution.beta_binomial(84, 12, 10),
        have_in_window=6,
        have_in_rest=6,
    )
    chosen = next(row for row in choices if row.quantity == order)
    assert chosen.run_out == pytest.approx(0.013, abs=0.0005)

    def of_campaign(code, value, unit):
        return Fact(code=code, value=value, unit=unit, label="OW-31")

    proposal = Proposal(
        kind=ProposalKind.ORDER,
        quantity=order,
        act_by=dt.date(2026, 3, 9),
        because=Because.SHORT,
        facts=(
            of_campaign("open_vehicles", "84", "vehicles"),
            of_campaign("pace", f"{pace.mean:.2f}", "times"),
            of_campaign("asked", "36", "requests"),
            of_campaign("expected", "30.0", "requests"),
            of_campaign("booked_vehicles", "9", "vehicles"),
            of_campaign("unbooked_pieces", "5.9", "pieces"),
            Fact(code="free", value="6", unit="pieces"),
            Fact(code="held", value="0", unit="pieces"),
            Fact(code="window_days", value="9", unit="days"),
        ),
        choices=choices,
        fingerprint="0" * 64,
    )
    assert sentence(proposal) == (
        "Order 15 today. That covers 99 of 100 outcomes until the delivery after next"
        " (9 days); about 7 will be left then, for the next customers. Ordering 10"
        " would run out about 1 time in 5; ordering nothing would run out almost"
        " surely. OW-31: 84 vehicles open, 1.17 times the usual pace (36 asked, 30"
        " expected); 9 booked, about 6 more pieces likely. On the shelf: 6."
    )
