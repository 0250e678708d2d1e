"""Geometry of the pictures: shares add up, order is kept, nothing leaves the picture."""

from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dealership.rules.pictures import (
    LEAST_STRETCH,
    FlagKind,
    PopulationCategory,
    RunwayFlag,
    RunwayPicture,
    population_stretches,
    runway_drawing,
    spread_apart,
)


MONDAY = date(2026, 3, 9)
KEYS = [category.value for category in PopulationCategory]


def test_stretches_stand_in_the_fixed_order_and_skip_what_is_empty():
    placed = population_stretches(
        [("open", 50), ("remedied", 25), ("booked", 0), ("to_be_verified", 25)]
    )

    assert [(s.category.value, s.start, s.width) for s in placed] == [
        ("remedied", 0.0, 0.25),
        ("open", 0.25, 0.5),
        ("to_be_verified", 0.75, 0.25),
    ]


def test_no_vehicle_gives_no_stretch():
    assert population_stretches([("open", 0)]) == ()


def test_a_single_vehicle_among_thousands_is_still_seen_and_its_count_stands_above():
    placed = population_stretches([("remedied", 9_999), ("open", 1)])

    assert [(s.width, s.inside) for s in placed] == [
        (1 - LEAST_STRETCH, True),
        (LEAST_STRETCH, False),
    ]


@pytest.mark.parametrize(
    "counts",
    [
        pytest.param([("mended", 3)], id="unknown"),
        pytest.param([("open", 3), ("open", 4)], id="twice"),
        pytest.param([("open", -1)], id="below-zero"),
    ],
)
def test_counts_that_make_no_sense_are_refused(counts):
    with pytest.raises(ValueError, match=r"mended|twice|zero or more"):
        population_stretches(counts)


@given(st.lists(st.integers(0, 100_000), min_size=6, max_size=6))
def test_stretches_fill_the_bar_without_gap_and_counts_stay_within(numbers):
    placed = population_stretches(zip(KEYS, numbers, strict=True))

    assert sum(s.count for s in placed) == sum(numbers)
    end = 0.0
    for stretch in placed:
        assert stretch.start == pytest.approx(end)
        assert stretch.width >= LEAST_STRETCH * 0.999
        assert 0 <= stretch.count_at <= 1
        end = stretch.start + stretch.width
    assert end == pytest.approx(1.0 if sum(numbers) else 0.0)


@given(st.lists(st.floats(0, 1), max_size=8).map(sorted))
def test_spreading_keeps_order_and_gap(places):
    moved = spread_apart(places, 0.06)

    assert all(0 <= place <= 1 for place in moved)
    gaps = [b - a for a, b in pairwise(moved)]
    assert all(gap >= 0.06 - 1e-9 for gap in gaps)


def test_more_places_than_fit_stand_evenly():
    assert spread_apart([0.1, 0.1, 0.1, 0.1], 0.3) == [0.125, 0.375, 0.625, 0.875]


def picture(balance, **others):
    days = len(balance)
    facts = {
        "first_day": MONDAY,
        "today": MONDAY,
        "balance": tuple(balance),
        "bookings": (0,) * days,
        "deliveries": (0,) * days,
    }
    return RunwayPicture(**(facts | others))


def test_equal_days_are_joined_into_levels():
    drawing = runway_drawing(picture([10, 10, 5, 0]))

    assert [(v.start, v.width, v.height, v.pieces) for v in drawing.levels] == [
        (0.0, 0.5, 0.0, 10),
        (0.5, 0.25, 0.5, 5),
        (0.75, 0.25, 1.0, 0),
    ]
    assert drawing.zero == 1.0


def test_zero_lies_within_when_stock_falls_below_it():
    drawing = runway_drawing(picture([6, -2]))

    assert (drawing.highest, drawing.lowest, drawing.zero) == (6, -2, 0.75)


def test_an_empty_shelf_is_drawn_without_dividing_by_zero():
    assert [v.height for v in runway_drawing(picture([0, 0])).levels] == [1.0]


def test_bookings_and_deliveries_stand_in_the_middle_of_their_day():
    drawing = runway_drawing(
        picture([3, 3, 3, 3], bookings=(0, 2, 0, 0), deliveries=(0, 0, 0, 40))
    )

    assert [(m.day, m.place, m.pieces) for m in drawing.bookings] == [
        (MONDAY + timedelta(days=1), 0.375, 2)
    ]
    assert [(m.day, m.place, m.pieces) for m in drawing.deliveries] == [
        (MONDAY + timedelta(days=3), 0.875, 40)
    ]


def test_flags_outside_the_days_are_left_out_and_each_has_its_row():
    flags = tuple(
        RunwayFlag(day=MONDAY + timedelta(days=n), kind=FlagKind.CLAIM, words=str(n))
        for n in (8, 2, 40)
    )

    drawing = runway_drawing(picture([1] * 10, flags=flags))

    assert [(m.flag.words, m.row, m.words_before) for m in drawing.flags] == [
        ("2", 0, False),
        ("8", 1, True),
    ]


@pytest.mark.parametrize(
    ("offset", "place"),
    [
        pytest.param(-3, 0.0, id="began-before"),
        pytest.param(5, 0.5, id="within"),
        pytest.param(99, None, id="after-the-last-day"),
    ],
)
def test_risk_zone_begins_where_the_risk_begins(offset, place):
    risk = MONDAY + timedelta(days=offset)

    assert runway_drawing(picture([1] * 10, risk_from=risk)).risk_from == place


def test_dates_are_few_and_whole_weeks_apart():
    drawing = runway_drawing(picture([1] * 42))

    assert [(mark.day - MONDAY).days for mark in drawing.dates] == [0, 14, 28]


def test_series_of_other_lengths_are_refused():
    with pytest.raises(ValueError, match="bookings has 1 days, balance 2"):
        picture([1, 2], bookings=(0,))


def test_a_runway_without_a_day_is_refused():
    with pytest.raises(ValueError, match="at least one day"):
        picture([])


def test_a_negative_delivery_is_refused():
    with pytest.raises(ValueError, match="zero or more"):
        picture([1], deliveries=(-1,))
