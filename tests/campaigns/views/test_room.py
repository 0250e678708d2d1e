"""The page of the workshop's hours, and what the calendar and the counter show of it."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from campaigns.models import DifferingDay, Loan, Visit
from campaigns.queries.room import usual_week
from campaigns.rules.room import LoanState, Skill
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    DifferingDayFactory,
    LoanFactory,
    WorkshopHoursFactory,
)
from tests.factories.dealership import NOW, TODAY
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

HOURS = "/visits/hours/"
DAY = "/visits/hours/day/"


@pytest.fixture
def manager(signed_in):
    return signed_in(Role.SERVICE_MANAGER)


@pytest.fixture
def row(manager):
    """A vehicle whose remedy takes 0.80 h, with its part on the shelf."""
    part = PartFactory.create()
    put_on_shelf(manager.store, part, 9)
    return open_vehicle(campaign_with_remedy(part), manager.store)


def test_the_week_and_the_loan_cars_are_kept(manager):
    sent = {f"mechanical_{day}": "16" for day in range(1, 6)}
    sent |= {"electrical_3": "4.5", "loan_cars": "3"}

    answer = manager.post(HOURS, sent)

    assert answer.status_code == 302
    week = usual_week(manager.store)
    assert week[Skill.MECHANICAL, 5] == 1_600
    assert week[Skill.ELECTRICAL, 3] == 450
    assert {skill for skill, _day in week} == {Skill.MECHANICAL, Skill.ELECTRICAL}
    manager.store.refresh_from_db()
    assert manager.store.loan_cars == 3
    page = manager.get(HOURS).content.decode()
    assert "84.50 hours in a usual week and 3 loan cars can be booked." in page
    assert 'value="4.5"' in page


def test_a_week_that_is_no_number_is_said_beside_its_box(manager):
    page = manager.post(HOURS, {"mechanical_1": "-2", "body_2": "many"})

    said = page.content.decode()
    assert page.status_code == 400
    assert "Ensure this value is greater than or equal to 0." in said
    assert "Enter a number." in said
    assert usual_week(manager.store) == {}


def test_a_day_that_differs_is_set_and_forgotten(manager):
    sent = {"day": "2026-12-24", "skill": "mechanical", "hours": "3.5", "why": "Leave"}

    assert manager.post(DAY, sent).status_code == 302
    found = DifferingDay.objects.get()
    assert (found.day, found.hundredths_of_hour) == (dt.date(2026, 12, 24), 350)
    assert "2026-12-24" in manager.get(HOURS).content.decode()
    assert manager.post(DAY, {**sent, "hours": ""}).status_code == 400
    forget = reverse("campaigns:forget_day_hours", args=[found.pk])
    assert manager.post(forget).status_code == 302
    assert not DifferingDay.objects.exists()


def test_another_store_and_another_post(signed_in, manager):
    foreign = DifferingDayFactory.create()
    advisor = signed_in(Role.SERVICE_ADVISOR, manager.store)

    forget = reverse("campaigns:forget_day_hours", args=[foreign.pk])
    assert manager.post(forget).status_code == 404
    assert advisor.get(HOURS).status_code == 403
    assert "Workshop hours" not in advisor.get("/visits/").content.decode()
    assert "Workshop hours" in manager.get("/visits/").content.decode()


@pytest.mark.parametrize("days", [1, 3])
def test_one_day_or_three_take_the_same_queries(
    manager, days, django_assert_num_queries
):
    for number in range(days):
        DifferingDayFactory.create(
            store=manager.store, day=TODAY + dt.timedelta(days=number)
        )
        WorkshopHoursFactory.create(store=manager.store, weekday=number + 1)

    with django_assert_num_queries(9):
        assert manager.get(HOURS).status_code == 200


def book(client, row, **facts):
    url = reverse("campaigns:book", args=[row.vehicle.vin])
    sent = {
        "key": str(uuid.uuid4()),
        "jobs": [f"campaign-{row.pk}"],
        "day": TODAY.isoformat(),
        **facts,
    }
    return client.post(url, sent)


def test_a_full_day_warns_and_is_booked_only_on_purpose(manager, row):
    WorkshopHoursFactory.create(store=manager.store, weekday=3, hundredths_of_hour=50)
    first = manager.get(reverse("campaigns:book", args=[row.vehicle.vin]))
    assert "Book it although the hours are used up" not in first.content.decode()

    page = book(manager, row)

    said = page.content.decode()
    assert page.status_code == 409
    assert "0.00 of 0.50 h mechanical are planned, and this work takes 0.80 h" in said
    assert "Book it although the hours are used up" in said
    assert book(manager, row, over_hours="on").status_code == 302
    week = manager.get("/visits/").content.decode()
    assert "More hours planned than there are: Wed 25 Nov 2026 (mechanical)." in week
    assert Visit.objects.count() == 1


def test_a_loan_car_is_booked_handed_out_and_taken_back(manager, row):
    manager.store.loan_cars = 1
    manager.store.save()

    book(manager, row, loan_car="on", loan_until="2026-11-27")

    visit = Visit.objects.get()
    url = reverse("campaigns:visit", args=[visit.pk])
    assert "Hand the loan car out" in manager.get(url).content.decode()
    assert "1 there, 0 out, 1 promised" in manager.get("/visits/").content.decode()
    manager.post(reverse("campaigns:loan_out", args=[visit.pk]))
    assert "The loan car is back" in manager.get(url).content.decode()
    assert "1 there, 1 out, 0 promised" in manager.get("/visits/").content.decode()
    manager.post(reverse("campaigns:loan_back", args=[visit.pk]))
    assert Loan.objects.get().state == LoanState.BACK
    assert "1 there, 0 out, 0 promised" in manager.get("/visits/").content.decode()


def test_without_a_loan_car_the_form_says_so_and_nothing_is_booked(manager, row):
    manager.store.loan_cars = 0
    manager.store.save()

    page = book(manager, row, loan_car="on")

    assert page.status_code == 409
    assert "The store has no loan car to promise" in page.content.decode()
    assert not Visit.objects.exists()


def test_a_loan_that_cannot_move_says_why(manager):
    loan = LoanFactory.create(visit__vehicle=VehicleFactory.create(store=manager.store))

    back = reverse("campaigns:loan_back", args=[loan.visit_id])
    page = manager.post(back, follow=True)

    assert "The loan car of this visit is “promised”" in page.content.decode()
    foreign = LoanFactory.create()
    back = reverse("campaigns:loan_back", args=[foreign.visit_id])
    assert manager.post(back).status_code == 404


def test_a_visit_moves_over_full_hours_only_on_purpose(manager, row):
    book(manager, row)
    visit = Visit.objects.get()
    DifferingDayFactory.create(
        store=manager.store, day=dt.date(2026, 12, 2), hundredths_of_hour=0
    )
    url = reverse("campaigns:visit_moved", args=[visit.pk])
    sent = {"key": str(uuid.uuid4()), "on": "2026-12-02"}

    page = manager.post(url, sent)

    assert page.status_code == 409
    assert "Move it although the hours are used up" in page.content.decode()
    assert manager.post(url, {**sent, "over_hours": "on"}).status_code == 302
    visit.refresh_from_db()
    assert visit.on == dt.date(2026, 12, 2)


def test_a_late_loan_car_can_be_taken_back_after_the_visit(manager):
    loan = LoanFactory.create(
        visit__vehicle=VehicleFactory.create(store=manager.store),
        visit__state="done",
        state=LoanState.OUT,
        out_at=NOW,
    )

    url = reverse("campaigns:visit", args=[loan.visit_id])

    assert "The loan car is back" in manager.get(url).content.decode()
