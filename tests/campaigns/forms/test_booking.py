"""The booking form reads the day that is meant."""

import datetime as dt

import pytest

from campaigns.forms.booking import OTHER_DAY, BookForm


JOBS = [("campaign-1", "C-101 Seat rail bolts")]
DAYS = [("2026-11-25", "Wed 25 Nov 2026")]


def form(**facts):
    sent = {
        "key": "7d3f2f0e-37a0-4f4e-9f7b-0a37b36f1c55",
        "jobs": ["campaign-1"],
        "day": "2026-11-25",
        **facts,
    }
    return BookForm(sent, jobs=JOBS, days=DAYS)


def test_the_offered_day_and_another_day():
    offered = form(other_day="2026-12-24")
    other = form(day=OTHER_DAY, other_day="2026-12-24")

    assert (offered.is_valid(), offered.chosen_day()) == (True, dt.date(2026, 11, 25))
    assert (other.is_valid(), other.chosen_day()) == (True, dt.date(2026, 12, 24))


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"jobs": ["campaign-2"]}, "jobs"),
        ({"jobs": []}, "jobs"),
        ({"day": "2026-11-26"}, "day"),
        ({"day": OTHER_DAY}, "other_day"),
        ({"day": OTHER_DAY, "other_day": "2026-02-30"}, "other_day"),
        ({"who": "x" * 121}, "who"),
    ],
)
def test_what_cannot_be_is_said_at_its_field(facts, field):
    assert list(form(**facts).errors) == [field]


def test_without_a_day_to_offer_another_day_is_asked():
    empty = BookForm(jobs=JOBS, days=[])

    assert empty["day"].value() == OTHER_DAY
