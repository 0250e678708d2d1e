"""What differs between the facts of two proposals."""

import datetime as dt

from campaigns.rules.movers import inputs_of, what_moved
from inventory.forecasting.promise import Receipt
from inventory.forecasting.proposal import PartPosition


DAY = dt.date(2026, 11, 25)


def position(**facts):
    plain = {
        "today": DAY, "free": 6, "held": 2, "waiting": 0, "unit_cost_cents": 4_250,
        "lead_days": 10,
    }  # fmt: skip
    return PartPosition(**plain | facts)


def moved(**facts):
    return what_moved(
        inputs_of(position()), inputs_of(position(**facts)), before=DAY, after=DAY
    )


def test_each_changed_fact_is_named_with_both_values():
    assert moved(waiting=3, unit_cost_cents=4_900) == [
        {"mover": "requests", "fact": "waiting", "before": "0", "after": "3"},
        {"mover": "price", "fact": "unit_cost", "before": "4250", "after": "4900"},
    ]


def test_a_delivery_is_told_by_its_pieces_and_its_day():
    receipt = Receipt(day=dt.date(2026, 12, 1), pieces=5)
    assert moved(receipts=(receipt,)) == [
        {"mover": "receipt", "fact": "coming", "before": "0", "after": "5"},
        {
            "mover": "receipt", "fact": "receipts", "before": "",
            "after": "2026-12-01:5",
        },
    ]  # fmt: skip


def test_what_no_kept_fact_shows_is_said_as_other():
    assert [entry["mover"] for entry in moved()] == ["other"]
