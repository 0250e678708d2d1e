"""The hold list, its paper, the check on demand, and the alert on the first page."""

import datetime as dt

import pytest

from campaigns.models import StockCheck
from campaigns.rules.lifecycle import CampaignState, WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    StockCheckFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

PAGE, PAPER, CHECK = "/hold-list/", "/hold-list/hold-list.pdf", "/hold-list/check/"


@pytest.fixture
def advisor(signed_in):
    return signed_in(Role.SERVICE_ADVISOR)


def own(store, standing="new", **facts):
    vehicle = VehicleFactory.create(store=store, standing=standing)
    return CampaignVehicleFactory.create(
        vehicle=vehicle,
        campaign=CampaignFactory.create(state=CampaignState.RUNNING, **facts),
    )


def test_the_page_says_which_must_stay_and_why(advisor):
    held = own(advisor.store)
    own(advisor.store, "used")
    foreign = own(StoreFactory.create())

    page = advisor.get(PAGE)

    said = page.content.decode()
    assert (
        "1 of 2 own vehicles must not go out before its remedy; set a day for the 1"
        " that have none." in said
    )
    assert "Do not deliver: a new vehicle in a safety recall" in said
    assert f'href="/counter/{held.vehicle.vin}/"' in said
    assert foreign.vehicle.vin not in said
    assert page.context["lines"][0].vehicle == held.vehicle


def test_nothing_open_and_nothing_there(advisor):
    assert "The store has no vehicle of its own on file." in (
        advisor.get(PAGE).content.decode()
    )
    VehicleFactory.create(store=advisor.store, standing="new")
    assert "1 own vehicle may go out" in advisor.get(PAGE).content.decode()


def test_a_check_on_demand_shows_what_changed_since_yesterday(advisor):
    yesterday = TODAY - dt.timedelta(days=1)
    StockCheckFactory.create(
        store=advisor.store, on=yesterday, made_at=NOW - dt.timedelta(days=1)
    )
    row = own(advisor.store)
    before = advisor.get(PAGE).content.decode()
    assert "Since then 1 vehicle stands otherwise" in before
    assert "No vehicle stands otherwise than yesterday." in before

    page = advisor.post(CHECK, follow=True)

    said = page.content.decode()
    assert "1 vehicles checked; 1 stands otherwise than at the check before." in said
    assert [one.vehicle for one in page.context["changes"]] == [row.vehicle]
    assert page.context["pending"] == 0
    row.work_state = WorkState.REMEDIED_HERE
    row.save()
    page = advisor.post(CHECK, follow=True)
    assert "nothing open any more" in page.content.decode()
    assert StockCheck.objects.in_store(advisor.store).count() == 3


def test_the_paper_is_a_pdf(advisor):
    own(advisor.store)

    answer = advisor.get(PAPER)

    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_who_hands_nothing_over_sees_neither_list_nor_alert(signed_in, advisor):
    own(advisor.store)
    owner = signed_in(Role.OWNER, advisor.store)

    assert "must not be handed over" in advisor.get("/").content.decode()
    assert owner.get(PAGE).status_code == 403
    assert owner.post(CHECK).status_code == 403
    assert "must not be handed over" not in owner.get("/").content.decode()


def test_the_alert_goes_when_nothing_must_stay(advisor):
    row = own(advisor.store)
    assert "Open the hold list" in advisor.get("/").content.decode()

    row.work_state = WorkState.REMEDIED_HERE
    row.save()

    assert "Open the hold list" not in advisor.get("/").content.decode()


@pytest.mark.parametrize("rows", [1, 3])
def test_one_vehicle_or_three_take_the_same_queries(
    advisor, rows, django_assert_num_queries
):
    StockCheckFactory.create(store=advisor.store, on=TODAY - dt.timedelta(days=1))
    for _number in range(rows):
        own(advisor.store, "rental")
    advisor.post(CHECK)

    with django_assert_num_queries(13):
        assert advisor.get(PAGE).status_code == 200
