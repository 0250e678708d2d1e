"""The words of a proposal."""

import pytest

from inventory.forecasting import proposal as proposing
from inventory.forecasting import wording
from inventory.forecasting.promise import Receipt
from inventory.forecasting.proposal import ReturnTerms
from inventory.forecasting.reorder import Costs
from tests.inventory.forecasting.test_proposal import TODAY, position


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (1.0, "almost surely"),
        (0.95, "almost surely"),
        (0.7, "about 7 times in 10"),
        (0.2, "about 1 time in 5"),
        (0.013, "about 1 time in 77"),
        (0.001, "hardly ever"),
        (0.0, "hardly ever"),
    ],
)
def test_chances_in_words(chance, words):
    assert wording.chance_words(chance) == words


def test_an_order_in_words():
    found = proposing.propose(position(free=2))
    quantity = found.quantity
    text = wording.sentence(found)
    assert text.startswith(f"Order {quantity} today. That covers ")
    assert "of 100 outcomes until the delivery after next (9 days)" in text
    assert "rdering nothing would run out " in text
    assert "A: 84 vehicles open, 1.17 times the usual pace (36 asked, 30" in text
    assert text.endswith("On the shelf: 2.")


def test_a_return_in_words():
    terms = ReturnTerms(last_day=TODAY)
    found = proposing.propose(position(free=90, returns=terms))
    text = wording.sentence(found)
    credit = found.quantity * 6410 * 85 // 100 / 100
    assert text.startswith(
        f"Return {found.quantity} by 2026-03-02: they bring {credit:,.2f}. The {90 - found.quantity} that"
    )


def test_nothing_in_words():
    text = wording.sentence(proposing.propose(position(free=60)))
    assert text.startswith("Nothing to order. What is on the shelf is enough. A: 84")


def test_waiting_and_late_pieces_are_named():
    late = Receipt(day=TODAY.replace(day=1), pieces=4)
    found = proposing.propose(position(waiting=2, receipts=(late,)))
    ending = "On the shelf: 6; 2 wanted by people who wait; 4 late."
    assert wording.sentence(found).endswith(ending)


def test_every_fact_has_words():
    found = proposing.propose(
        position(
            order_limit=50,
            costs=Costs(short_cents=1, hold_cents=1, loss_cents=1),
            returns=ReturnTerms(last_day=TODAY),
        )
    )
    codes = {fact.code for fact in found.facts}
    of_some = {"service_pieces_a_week", "certain_pieces"}
    of_some |= {"unbooked_ahead", "reminder_in"}
    assert codes | of_some == set(wording.FACT_WORDS)
