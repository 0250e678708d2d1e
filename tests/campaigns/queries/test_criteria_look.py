"""What a criterion would do, while it is being written."""

import datetime as dt

import pytest

from campaigns.models import Criterion
from campaigns.queries.criteria_look import look_at
from tests.factories.dealership import StoreFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.queries.verdicts import Counted
from vehicles.rules.criteria import CriterionAsksNothing, WindowBackToFront


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    store = StoreFactory()
    for day, engine in (
        ("2021-08-31", "T15"),
        ("2021-09-01", "T15"),
        ("2021-09-02", "M30"),
        ("2021-09-30", "T15"),
        (None, "T15"),
    ):
        VehicleFactory(
            store=store, build_date=day and dt.date.fromisoformat(day), engine=engine
        )
    return store


def window(**facts):
    return Criterion(
        lines=["Corvane"],
        build_from=dt.date(2021, 9, 1),
        build_to=dt.date(2021, 9, 30),
        **facts,
    )


def test_a_criterion_is_counted_alone_and_with_the_others(store):
    other = Criterion(include=False, engines=["M30"])
    look = look_at(window(), others=[other], store_ids=[store.pk])
    assert look.alone == Counted(3, 1)
    assert look.together == Counted(2, 1)
    assert look.sentence == (
        "Takes in: line Corvane, and built from 2021-09-01 to 2021-09-30, both inside."
    )


def test_one_that_leaves_out_is_counted_by_what_it_would_leave_out(store):
    barred = Criterion(include=False, engines=["M30"])
    look = look_at(barred, others=[], store_ids=[store.pk])
    assert look.alone == Counted(1, 0)
    assert look.together is None
    look = look_at(barred, others=[window()], store_ids=[store.pk])
    assert look.together == Counted(2, 1)


def test_the_ends_of_its_window_show_the_vehicles_next_to_them(store):
    look = look_at(window(engines=["T15"]), others=[], store_ids=[store.pk])
    days = [
        (edge.words, [one.build_date for one in edge.inside], len(edge.outside))
        for edge in look.edges
    ]
    assert days == [
        ("Built from", [dt.date(2021, 9, 1), dt.date(2021, 9, 30)], 1),
        ("Built to", [dt.date(2021, 9, 30), dt.date(2021, 9, 1)], 0),
    ]
    (left_out,) = look.left_out
    assert (left_out.words, left_out.values) == ("Engine", [("M30", 1)])


def test_one_that_asks_nothing_or_ends_before_it_begins_is_refused(store):
    with pytest.raises(CriterionAsksNothing):
        look_at(Criterion(), others=[], store_ids=[store.pk])
    with pytest.raises(WindowBackToFront):
        look_at(Criterion(serial_from="200", serial_to="100"), others=[], store_ids=[1])
