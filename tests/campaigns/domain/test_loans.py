"""Loan cars: promised with a visit, out, back, and free again when nobody comes."""

import datetime as dt

import pytest

from campaigns.domain.booking import (
    book_visit,
    cancel_visit,
    lapse_missed,
    mark_missed,
    move_visit,
)
from campaigns.domain.loans import (
    LoanCannotMove,
    LoanEndsTooSoon,
    NoLoanCar,
    hand_out_loan,
    take_back_loan,
)
from campaigns.models import Loan, Visit
from campaigns.rules.room import LoanState
from dealership.models import AuditEntry
from tests.campaigns.domain.shop import KEYS, Shop
from tests.factories.campaigns import LoanFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory


pytestmark = pytest.mark.django_db

FRIDAY = TODAY + dt.timedelta(days=2)
MONDAY = TODAY + dt.timedelta(days=5)


@pytest.fixture
def shop():
    """A store with one loan car."""
    made = Shop(store=StoreFactory.create(loan_cars=1))
    made.shelf(8)
    return made


def book(shop, on=TODAY, **facts):
    row = shop.row()
    return book_visit(
        key=next(KEYS),
        vehicle=row.vehicle,
        store=shop.store,
        on=on,
        jobs=[row],
        by=shop.staff,
        at=NOW,
        today=TODAY,
        **facts,
    )


def test_the_last_loan_car_is_promised_once(shop):
    visit = book(shop, loan_until=FRIDAY)

    with pytest.raises(NoLoanCar) as refused:
        book(shop, on=FRIDAY, loan_until=FRIDAY)

    assert refused.value.sentence == (
        "The store's only loan car is out or promised on 2026-11-27. Choose another"
        " day, or book without a loan car."
    )
    assert (visit.loan.first_day, visit.loan.last_day) == (TODAY, FRIDAY)
    assert Visit.objects.count() == 1
    assert book(shop, on=MONDAY, loan_until=MONDAY).loan.state == LoanState.BOOKED


def test_a_store_without_loan_cars_says_so():
    shop = Shop(store=StoreFactory.create(loan_cars=0))
    shop.shelf(2)

    with pytest.raises(NoLoanCar, match="The store has no loan car to promise"):
        book(shop, loan_until=TODAY)


def test_a_loan_car_cannot_be_back_before_it_goes(shop):
    with pytest.raises(LoanEndsTooSoon):
        book(shop, on=FRIDAY, loan_until=TODAY)

    assert not Visit.objects.exists()


@pytest.mark.parametrize("how", ["missed", "cancelled", "lapsed"])
def test_who_does_not_come_frees_the_loan_car(shop, how):
    visit = book(shop, loan_until=FRIDAY)
    if how == "missed":
        mark_missed(visit=visit, by=None, at=NOW, today=TODAY)
    elif how == "cancelled":
        cancel_visit(visit=visit, by=None, at=NOW, today=TODAY)
    else:
        late = NOW + dt.timedelta(days=shop.store.no_show_grace_days + 1)
        lapse_missed(store=shop.store, by=None, at=late)

    assert Loan.objects.get(visit=visit).state == LoanState.DROPPED
    assert book(shop, on=FRIDAY, loan_until=FRIDAY).pk


def test_the_loan_car_follows_its_visit_or_the_old_day_stands(shop):
    visit = book(shop, loan_until=FRIDAY)
    other = book(shop, on=MONDAY, loan_until=MONDAY)

    def move(to):
        return move_visit(
            key=next(KEYS), visit=visit, to=to, by=None, at=NOW, today=TODAY
        )

    with pytest.raises(NoLoanCar):
        move(MONDAY)
    visit.refresh_from_db()
    assert visit.on == TODAY
    cancel_visit(visit=other, by=None, at=NOW, today=TODAY)
    move(MONDAY)
    loan = Loan.objects.get(visit=visit)
    assert (loan.first_day, loan.last_day) == (MONDAY, MONDAY + dt.timedelta(days=2))


def test_out_and_back_once_each(shop):
    loan = book(shop, loan_until=FRIDAY).loan

    for _twice in range(2):
        hand_out_loan(loan=loan, by=shop.staff, at=NOW)
    loan.refresh_from_db()
    assert (loan.state, loan.out_at) == (LoanState.OUT, NOW)
    back_at = NOW + dt.timedelta(hours=5)
    for _twice in range(2):
        take_back_loan(loan=loan, by=shop.staff, at=back_at)
    loan.refresh_from_db()
    assert (loan.state, loan.back_at) == (LoanState.BACK, back_at)
    acts = AuditEntry.objects.filter(act__startswith="loan.").order_by("pk")
    assert list(acts.values_list("act", flat=True)) == ["loan.out", "loan.back"]
    assert book(shop, loan_until=TODAY).pk  # the car is there again


def test_a_car_that_never_went_out_cannot_come_back():
    loan = LoanFactory.create()

    with pytest.raises(LoanCannotMove, match=r"“promised”.*cannot become “back”"):
        take_back_loan(loan=loan, by=None, at=NOW)


def test_a_car_that_is_out_stays_out_when_its_visit_is_cancelled(shop):
    visit = book(shop, loan_until=FRIDAY)
    hand_out_loan(loan=visit.loan, by=None, at=NOW)

    cancel_visit(visit=visit, by=None, at=NOW, today=TODAY)

    assert Loan.objects.get(visit=visit).state == LoanState.OUT
    with pytest.raises(NoLoanCar):
        book(shop, loan_until=TODAY)
