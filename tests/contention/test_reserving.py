"""Real threads on the real database: nobody gets a piece that somebody else has."""

import threading

import pytest
from django.db import connection, connections
from django.db.models import Sum

from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
)
from inventory.domain.reserving import NothingFree, release, reserve, settle
from inventory.models import Movement, Reservation
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import ReservationState
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, expect, later, stand


pytestmark = [
    pytest.mark.committing,
    pytest.mark.usefixtures("committing_db"),
]

THREADS = 16


def at_once(*acts):
    """Let each act run in a thread of its own, all at one moment; give what came."""
    gate = threading.Barrier(len(acts))
    results = [None] * len(acts)

    def run(place, act):
        try:
            connection.ensure_connection()
            gate.wait(timeout=30)
            results[place] = act()
        except Exception as error:  # noqa: BLE001 (the test looks at every outcome)
            results[place] = error
        finally:
            connections.close_all()

    threads = [
        threading.Thread(target=run, args=(place, act))
        for place, act in enumerate(acts)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    assert not any(thread.is_alive() for thread in threads)
    return results


def ask(store, part, pieces, key, *, earmarks=(None,), needed_on=TODAY):
    return reserve(
        key=key,
        store=store,
        part=part,
        quantity=pieces,
        earmarks=list(earmarks),
        subject=f"visit_job:{key}",
        needed_on=needed_on,
        today=TODAY,
        by=None,
        at=NOW,
    )


def many(store, part, pieces, **how):
    return at_once(
        *(
            lambda n=n: ask(store, part, pieces, str(n), **how)
            for n in range(1, THREADS + 1)
        )
    )


def check_forty_pieces():
    store, part = StoreFactory.create(), PartFactory.create()
    deliver(store, part, 40)
    results = many(store, part, 3)
    refused = [one for one in results if isinstance(one, NothingFree)]
    # 13 x 3 = 39 pieces; the fourteenth would need two more
    assert (len(refused), len(results) - len(refused)) == (3, 13)
    assert all(isinstance(one, (tuple, NothingFree)) for one in results)
    assert stand(store, part) == (1, 39, 0, 0)
    assert faults_of_the_books() == []


def check_two_pockets():
    store, part, earmark = (
        StoreFactory.create(),
        PartFactory.create(),
        EarmarkFactory.create(),
    )
    deliver(store, part, 20, earmark=earmark)
    deliver(store, part, 20)
    results = many(store, part, 3, earmarks=(earmark, None))
    assert sum(isinstance(one, tuple) for one in results) == 13
    assert stand(store, part, earmark)[:2] == (0, 20)
    assert stand(store, part)[:2] == (1, 19)
    assert faults_of_the_books() == []


def check_coming_delivery():
    store, part = StoreFactory.create(), PartFactory.create()
    expect(store, part, 10, on=later(2))
    results = many(store, part, 3, needed_on=later(9))
    assert sum(isinstance(one, tuple) for one in results) == 3
    promised = Reservation.objects.aggregate(Sum("quantity"))["quantity__sum"]
    assert promised == 9
    assert {r.state for r in Reservation.objects.all()} == {ReservationState.PROMISED}


def check_same_key():
    store, part = StoreFactory.create(), PartFactory.create()
    deliver(store, part, 3)
    results = at_once(*[lambda: ask(store, part, 3, "one")] * THREADS)
    assert {one[0].pk for one in results} == {Reservation.objects.get().pk}
    assert stand(store, part) == (0, 3, 0, 0)


def check_double_submit_of_a_delivery():
    store, part = StoreFactory.create(), PartFactory.create()
    shipment = announce_shipment(
        store=store,
        supplier=part.supplier,
        number="PS-1",
        lines=[SentLine(part=part, quantity=40)],
        announced_on=TODAY,
        expected_on=TODAY,
        by=None,
        at=NOW,
    )
    counts = {shipment.lines.get().pk: Counted(good=38, damaged=2)}

    def receive():
        return receive_shipment(
            key="one", shipment=shipment, counts=counts, by=None, at=NOW
        )

    results = at_once(*[receive] * 8)
    assert [one.pk for one in results] == [shipment.pk] * 8
    assert stand(store, part) == (38, 0, 2, 0)
    assert Movement.objects.count() == 1
    assert faults_of_the_books() == []


def check_settle_against_release():
    store = StoreFactory.create()
    parts = PartFactory.create_batch(3)
    for part in parts:
        deliver(store, part, 16)
    for number in range(1, 9):
        for part in parts:
            reserve(
                key=f"{number}-{part.pk}",
                store=store,
                part=part,
                quantity=2,
                earmarks=[None],
                subject=f"visit_job:{number}",
                needed_on=TODAY,
                today=TODAY,
                by=None,
                at=NOW,
            )

    def finish(number):
        # parts in an order of their own, to provoke a deadlock
        used = dict.fromkeys(parts if number % 2 else reversed(parts), 1)
        return settle(
            subject=f"visit_job:{number}",
            store=store,
            used=used,
            earmarks=[None],
            key=f"settle {number}",
            effective_on=TODAY,
            by=None,
            at=NOW,
        )

    def let_go(number):
        return release(subject=f"visit_job:{number}", by=None, at=NOW, why="no show")

    settled = [lambda n=n: finish(n) for n in range(1, 9)]
    let = [lambda n=n: let_go(n) for n in range(1, 9)]
    results = at_once(*settled, *let)
    assert [one for one in results if isinstance(one, Exception)] == []
    for part in parts:
        free, held, _quarantine, used = stand(store, part)
        assert (free + used, held, used) == (16, 0, 8)
    assert faults_of_the_books() == []


CHECKS = [
    check_forty_pieces,
    check_two_pockets,
    check_coming_delivery,
    check_same_key,
    check_double_submit_of_a_delivery,
    check_settle_against_release,
]


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_with_threads(check):
    check()


@pytest.mark.postgres
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_with_threads_on_postgres(check):
    assert connection.vendor == "postgresql"
    check()
