"""The promise line of the books against the published example.

Stevenson, Operations Management, 14th ed., ch. 11, industrial pumps: on hand 64,
customer orders 33, 20, 10, 4, 2, 0, 0, 0 a week, lots of 70 in weeks 3, 5, 7 and 8;
available to promise in week 1 is 11. The rest is worked out by the same rule.
"""

import datetime as dt

import pytest

from inventory.queries.stock import promise_line
from inventory.rules.accounts import ReservationState
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import PartFactory, ReservationFactory
from tests.inventory.books import deliver, expect


MONDAY = dt.date(2026, 6, 1)


@pytest.mark.django_db
def test_published_example():
    store, part = StoreFactory.create(), PartFactory.create()
    deliver(store, part, 64)
    for week, pieces in enumerate([33, 20, 10, 4, 2]):
        ReservationFactory.create(
            store=store,
            part=part,
            quantity=pieces,
            state=ReservationState.PROMISED,
            needed_on=MONDAY + dt.timedelta(weeks=week),
        )
    for week in (3, 5, 7, 8):
        # due on the Friday before, so at hand when the week opens
        friday = MONDAY + dt.timedelta(weeks=week - 1, days=-3)
        expect(store, part, 70, on=friday, number=f"LOT-{week}")
    picture = promise_line(store=store, part=part, earmarks=[None], today=MONDAY)
    weeks = [picture.balance[7 * week] for week in range(8)]
    assert weeks == [31, 11, 71, 67, 135, 135, 205, 275]
    promised = [picture.promise[7 * week] for week in range(8)]
    assert promised == [11, 11, 67, 67, 135, 135, 205, 275]
    assert picture.free_now == 11
    assert picture.earliest(12) == MONDAY + dt.timedelta(weeks=2)
    assert picture.earliest(276) is None
