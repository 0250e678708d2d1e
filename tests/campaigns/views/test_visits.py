"""The day list, one visit and the visits of a campaign."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from campaigns.domain.booking import book_visit
from campaigns.models import CampaignVehicle, Visit
from campaigns.rules.lifecycle import VisitState
from dealership.rules.roles import Role
from inventory.models import Reservation
from tests.factories.campaigns import (
    CampaignVehicleFactory,
    PartRequestFactory,
    VisitFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
)
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


def booked(row: CampaignVehicle, *, on: dt.date = TODAY, **facts: object) -> Visit:
    return book_visit(
        key=f"booked-{row.pk}",
        vehicle=row.vehicle,
        store=row.store,
        on=on,
        jobs=[row],
        by=None,
        at=NOW,
        today=TODAY,
        **facts,
    )


def act(name: str, visit: Visit) -> str:
    return reverse(f"campaigns:{name}", args=[visit.pk])


@pytest.fixture
def advisor(signed_in):
    return signed_in(Role.SERVICE_ADVISOR)


@pytest.fixture
def campaign(advisor):
    part = PartFactory.create()
    put_on_shelf(advisor.store, part, 9)
    return campaign_with_remedy(part)


def test_the_day_list_says_who_comes_and_whether_the_parts_are_there(advisor, campaign):
    part = PartFactory.create()
    announce(advisor.store, part, 1, on=TODAY)
    late = campaign_with_remedy(part)
    visit = booked(open_vehicle(campaign, advisor.store), hour=dt.time(9, 30))
    friday = dt.date(2026, 11, 27)
    booked(open_vehicle(late, advisor.store), on=friday)

    today = advisor.get("/visits/").content.decode()
    then = advisor.get("/visits/", {"day": "2026-11-27"}).content.decode()

    assert (
        "1 vehicle is expected today with 1 job; all their parts are on the shelf."
        in today
    )
    assert ">09:30</a>" in today
    assert "on the shelf" in today
    assert f'href="{act("visit", visit)}"' in today
    assert "the parts of 1 are not on the shelf yet" in then
    assert "with a delivery" in then


def test_a_strange_day_shows_today(advisor):
    page = advisor.get("/visits/", {"day": "31st of never"})

    assert page.status_code == 200
    assert "Nobody is expected today." in page.content.decode()


def test_past_days_want_an_answer_until_they_have_one(advisor, campaign):
    visit = booked(open_vehicle(campaign, advisor.store))
    Visit.objects.filter(pk=visit.pk).update(on=TODAY - dt.timedelta(days=1))
    assert "1 visit of a past day" in advisor.get("/visits/").content.decode()

    answer = advisor.post(act("visit_missed", visit))

    assert answer.status_code == 302
    assert "1 visit of a past day" not in advisor.get("/visits/").content.decode()
    assert Reservation.objects.get().state == "lapsed"


@pytest.mark.parametrize(
    ("name", "state"),
    [
        ("visit_arrived", VisitState.ARRIVED),
        ("visit_missed", VisitState.MISSED),
        ("visit_cancelled", VisitState.CANCELLED),
    ],
)
def test_each_act_changes_the_visit_once(advisor, campaign, name, state):
    visit = booked(open_vehicle(campaign, advisor.store))

    for _ in range(2):
        assert advisor.post(act(name, visit)).status_code == 302

    visit.refresh_from_db()
    assert visit.state == state
    assert advisor.get(act("visit", visit)).status_code == 200


def test_what_the_table_forbids_is_said(advisor, campaign):
    visit = booked(open_vehicle(campaign, advisor.store))
    advisor.post(act("visit_cancelled", visit))

    page = advisor.post(act("visit_arrived", visit), follow=True)

    assert "This visit is “cancelled”" in page.content.decode()
    visit.refresh_from_db()
    assert visit.state == VisitState.CANCELLED


def test_a_visit_moves_and_says_when_it_cannot(advisor, campaign):
    visit = booked(open_vehicle(campaign, advisor.store))
    url = act("visit_moved", visit)

    def sent(**facts: str) -> dict[str, str]:
        return {"key": str(uuid.uuid4()), **facts}

    assert advisor.post(url, sent(on="2026-12-02", hour="10:15")).status_code == 302
    visit.refresh_from_db()
    assert (visit.on, visit.at) == (dt.date(2026, 12, 2), dt.time(10, 15))
    for on, words in (
        ("2026-11-24", "2026-11-24 has passed"),
        ("2060-01-01", "more than a year ahead"),
        ("", "This field is required."),
        ("soon", "Enter a valid date"),
    ):
        page = advisor.post(url, sent(on=on))
        assert page.status_code == 409
        assert words in page.content.decode()
    visit.refresh_from_db()
    assert visit.on == dt.date(2026, 12, 2)
    assert Reservation.objects.live().count() == 1


def test_other_stores_and_roles(signed_in, advisor, campaign):
    mine = booked(open_vehicle(campaign, advisor.store))
    foreign = VisitFactory.create(store=StoreFactory.create())
    technician = signed_in(Role.TECHNICIAN, advisor.store)
    owner = signed_in(Role.OWNER, advisor.store)

    assert advisor.get(act("visit", foreign)).status_code == 404
    assert technician.get(act("visit", mine)).status_code == 200
    assert owner.get("/visits/").status_code == 403
    for name in ("visit_arrived", "visit_missed", "visit_cancelled", "visit_moved"):
        assert advisor.post(act(name, foreign)).status_code == 404
        assert technician.post(act(name, mine)).status_code == 403
    mine.refresh_from_db()
    assert mine.state == VisitState.BOOKED


def test_a_campaign_shows_who_waits_who_comes_and_its_own_stock(advisor, campaign):
    booked(open_vehicle(campaign, advisor.store))
    waits = PartRequestFactory.create(
        campaign_vehicle=open_vehicle(campaign, advisor.store), state="offered"
    )
    own = open_vehicle(campaign, advisor.store)
    own.vehicle.standing = Standing.NEW
    own.vehicle.save()
    url = reverse("campaigns:campaign_visits", args=[campaign.code])

    said = advisor.get(url).content.decode()

    assert (
        "1 vehicle is booked, 1 waits for parts; call the one for whom parts are set"
        " aside." in said
    )
    assert waits.campaign_vehicle.vehicle.vin in said
    assert (
        advisor.post(
            url, {"campaign_vehicle": own.pk, "planned_on": "2026-12-03"}
        ).status_code
        == 302
    )
    own.refresh_from_db()
    assert own.planned_on == dt.date(2026, 12, 3)


def test_a_planned_day_is_for_own_stock_of_this_store(signed_in, advisor, campaign):
    customer = open_vehicle(campaign, advisor.store)
    foreign = open_vehicle(campaign, StoreFactory.create())
    url = reverse("campaigns:campaign_visits", args=[campaign.code])
    sent = {"campaign_vehicle": customer.pk, "planned_on": "2026-12-03"}

    advisor.post(url, sent)
    advisor.post(url, {**sent, "planned_on": "never"})
    customer.refresh_from_db()
    assert customer.planned_on is None
    assert (
        advisor.post(url, {**sent, "campaign_vehicle": foreign.pk}).status_code == 404
    )
    technician = signed_in(Role.TECHNICIAN, advisor.store)
    assert technician.post(url, sent).status_code == 403


def test_one_visit_or_three_take_the_same_queries(
    advisor, campaign, django_assert_num_queries
):
    booked(open_vehicle(campaign, advisor.store))
    url = reverse("campaigns:campaign_visits", args=[campaign.code])
    PartRequestFactory.create(campaign_vehicle=open_vehicle(campaign, advisor.store))
    for more in (0, 2):
        for _ in range(more):
            booked(open_vehicle(campaign, advisor.store))
            PartRequestFactory.create(
                campaign_vehicle=open_vehicle(campaign, advisor.store)
            )
        with django_assert_num_queries(16):
            assert advisor.get("/visits/").status_code == 200
        with django_assert_num_queries(20):
            assert advisor.get(url).status_code == 200


def test_a_visit_with_one_job_or_three_takes_the_same_queries(
    advisor, django_assert_num_queries
):
    store = advisor.store
    for jobs in (1, 3):
        vehicle = VehicleFactory.create(store=store)
        rows = []
        for _job in range(jobs):
            part = PartFactory.create()
            put_on_shelf(store, part, 2)
            rows.append(
                CampaignVehicleFactory.create(
                    campaign=campaign_with_remedy(part), vehicle=vehicle
                )
            )
        visit = book_visit(
            key=f"jobs {jobs}",
            vehicle=vehicle,
            store=store,
            on=TODAY,
            jobs=rows,
            by=None,
            at=NOW,
            today=TODAY,
        )
        with django_assert_num_queries(VISIT_QUERIES):
            assert advisor.get(act("visit", visit)).status_code == 200


VISIT_QUERIES = 18
