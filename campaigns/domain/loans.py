"""Loan cars: promised with a visit, handed out, taken back, or not needed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from campaigns.models import Loan
from campaigns.models.words import LOAN_WORDS
from campaigns.queries.room import loan_cars, loans_of
from campaigns.rules.room import LOAN_MOVES, LoanState, day_without_loan_car
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import Visit
    from dealership.models import StaffMember


class NoLoanCar(Refusal):
    """Every loan car of the store is out or promised on a day."""

    field = "loan_car"

    def __init__(self, day: dt.date, there: int) -> None:
        said = ngettext(
            "The store's only loan car is out or promised on %(day)s.",
            "All %(n)s loan cars are out or promised on %(day)s.",
            there,
        )
        none = _("The store has no loan car to promise for %(day)s.")
        super().__init__(
            (said if there else none) % {"n": there, "day": day.isoformat()}
            + " "
            + _("Choose another day, or book without a loan car.")
        )
        self.day = day


class LoanEndsTooSoon(Refusal):
    """A loan car is to come back before it goes out."""

    field = "loan_until"

    def __init__(self, first: dt.date, last: dt.date) -> None:
        super().__init__(
            _(
                "The loan car would be back on %(last)s, before it goes out on"
                " %(first)s. Check the day."
            )
            % {"first": first.isoformat(), "last": last.isoformat()}
        )


class LoanCannotMove(Refusal):
    """The loan stands so that this cannot be done with it."""

    def __init__(self, loan: Loan, to: LoanState) -> None:
        super().__init__(
            _(
                "The loan car of this visit is “%(now)s”, so it cannot become"
                " “%(to)s”. Reload the page to see how it stands."
            )
            % {"now": LOAN_WORDS[LoanState(loan.state)], "to": LOAN_WORDS[to]}
        )
        self.state = LoanState(loan.state)


def promise_loan(
    *, visit: Visit, until: dt.date, by: StaffMember | None, today: dt.date
) -> Loan:
    """Promise one of the store's loan cars for a visit, from its day to another.

    Runs in the transaction of the booking, which holds the store's room. Raises
    LoanEndsTooSoon, NoLoanCar.
    """
    _refuse_without_car(visit, visit.on, until, today)
    return Loan.objects.create(
        store=visit.store,
        visit=visit,
        first_day=visit.on,
        last_day=until,
        booked_by=by,
    )


def move_loan(*, visit: Visit, today: dt.date) -> None:
    """Let a promised loan car follow its visit to another day, for as many days.

    Runs in the transaction of the move. Raises NoLoanCar; then nothing has moved.
    """
    loan = Loan.objects.filter(visit=visit, state=LoanState.BOOKED).first()
    if loan is None:
        return
    until = visit.on + (loan.last_day - loan.first_day)
    _refuse_without_car(visit, visit.on, until, today)
    loan.first_day, loan.last_day = visit.on, until
    loan.save(update_fields=["first_day", "last_day"])


def _refuse_without_car(
    visit: Visit, first: dt.date, last: dt.date, today: dt.date
) -> None:
    if last < first:
        raise LoanEndsTooSoon(first, last)
    there = loan_cars(visit.store)
    without = day_without_loan_car(
        first=first,
        last=last,
        there=there,
        lent=loans_of(visit.store, without=visit),
        today=today,
    )
    if without is not None:
        raise NoLoanCar(without, there)


def drop_loan(*, visit: Visit) -> None:
    """Free the loan car of a visit that does not come; runs in its transaction."""
    Loan.objects.filter(visit=visit, state=LoanState.BOOKED).update(
        state=LoanState.DROPPED
    )


def hand_out_loan(*, loan: Loan, by: StaffMember | None, at: dt.datetime) -> Loan:
    """Note that the customer drives off with it. A repeat changes nothing.

    Raises LoanCannotMove.
    """
    return _move(loan, LoanState.OUT, by=by, at=at)


def take_back_loan(*, loan: Loan, by: StaffMember | None, at: dt.datetime) -> Loan:
    """Note that it is back; others can have it. A repeat changes nothing.

    Raises LoanCannotMove.
    """
    return _move(loan, LoanState.BACK, by=by, at=at)


def _move(
    loan: Loan, to: LoanState, *, by: StaffMember | None, at: dt.datetime
) -> Loan:
    """Change the state by the table of moves, with its line in the trail."""
    with transaction.atomic():
        loan = (
            Loan.objects.select_for_update(of=("self",))
            .select_related("store")
            .get(pk=loan.pk)
        )
        before = LoanState(loan.state)
        if before is to:
            return loan
        if to not in LOAN_MOVES[before]:
            raise LoanCannotMove(loan, to)
        loan.state = to
        if to is LoanState.OUT:
            loan.out_at = at
        else:
            loan.back_at = at
        loan.save(update_fields=["state", "out_at", "back_at"])
        record(
            act=f"loan.{to}",
            subject=loan,
            by=by,
            at=at,
            store=loan.store,
            before={"state": before.value},
            after={"state": to.value, "visit": loan.visit_id},
        )
    return loan
