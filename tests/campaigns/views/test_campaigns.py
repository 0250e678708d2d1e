"""The pages of campaigns: list, overview, entering, amending, closing."""

import datetime as dt

import pytest
from django.urls import reverse

from campaigns.models import Campaign, CriteriaVersion
from campaigns.rules.lifecycle import CampaignState, Reach, VersionState, WorkState
from dealership.models import AuditEntry
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    ClaimFactory,
    CriteriaVersionFactory,
    CriterionFactory,
    ReachFactFactory,
    VariantFactory,
    VariantPartFactory,
    VisitJobFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

GIVEN = {
    "code": "C-77",
    "maker": "Ostby Works",
    "maker_number": "OW26-077",
    "title": "Seat rail bolts",
    "campaign_class": "safety",
    "announced_on": "2026-11-20",
    "restocking_basis_points": "15",
    "stop_sale": "on",
}
LIST_QUERIES = 9


@pytest.mark.parametrize("rows", [1, 3])
def test_a_longer_list_takes_no_more_statements(
    signed_in, rows, django_assert_num_queries
):
    client = signed_in(Role.SERVICE_MANAGER)
    for _ in range(rows):
        CampaignVehicleFactory.create(vehicle=VehicleFactory.create(store=client.store))
    url = reverse("campaigns:campaigns")
    client.get(url)
    with django_assert_num_queries(LIST_QUERIES):
        response = client.get(url)
    assert len(response.context["rows"]) == rows


def test_the_list_is_filtered_by_words_and_state(signed_in):
    client = signed_in(Role.TECHNICIAN)
    first = CampaignFactory.create(title="Seat rail bolts")
    CampaignFactory.create(title="Washer hose")
    closed = CampaignFactory.create(
        title="Seat heater", state=CampaignState.CLOSED, closed_at=NOW
    )
    url = reverse("campaigns:campaigns")

    def shown(**query):
        return {one.campaign for one in client.get(url, query).context["rows"]}

    assert shown(q="seat") == {first, closed}
    assert shown(q="seat", state="closed") == {closed}
    assert shown(q="nothing like it") == set()


def test_a_campaign_is_entered_and_its_criteria_come_next(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    assert client.get(reverse("campaigns:new_campaign")).status_code == 200
    response = client.post(reverse("campaigns:new_campaign"), GIVEN)
    assert response.url == reverse("campaigns:criteria", args=["C-77"])
    campaign = Campaign.objects.get()
    assert (campaign.state, campaign.restocking_basis_points) == ("draft", 1_500)
    assert (campaign.stop_sale, campaign.made_by) == (True, client.staff)
    again = client.post(reverse("campaigns:new_campaign"), GIVEN)
    assert again.url == response.url
    assert Campaign.objects.count() == 1
    other = client.post(reverse("campaigns:new_campaign"), GIVEN | {"code": "C-78"})
    assert other.status_code == 400
    assert "already here as C-77" in other.content.decode()


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"odometer_limit": "60000"}, "odometer_limit"),
        ({"claims_until": "2026-11-19"}, "claims_until"),
        ({"code": "a/b"}, "code"),
        ({"code": "new"}, "code"),
        ({"odometer_limit": "-1"}, "odometer_limit"),
        ({"restocking_basis_points": "101"}, "restocking_basis_points"),
        ({"announced_on": "soon"}, "announced_on"),
    ],
)
def test_what_cannot_stand_is_told_beside_its_field(signed_in, changed, field):
    client = signed_in(Role.SERVICE_MANAGER)
    response = client.post(reverse("campaigns:new_campaign"), GIVEN | changed)
    assert response.status_code == 400
    assert list(response.context["form"].errors) == [field]
    assert not Campaign.objects.exists()


def test_an_amendment_keeps_the_version_and_asks_for_the_reason(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    url = reverse("campaigns:edit_campaign", args=[campaign.code])
    form = client.get(url).context["form"]
    given = {
        name: form.initial.get(name) or ""
        for name in form.fields
        if form.initial.get(name)
    } | {"restocking_basis_points": "15", "claims_until": "2027-12-31"}
    response = client.post(url, given)
    assert response.status_code == 400
    assert "Say why it is changed" in response.content.decode()

    client.post(url, given | {"why": "Bulletin B"})
    campaign.refresh_from_db()
    assert campaign.claims_until == dt.date(2027, 12, 31)
    assert CriteriaVersion.objects.get().why == "Bulletin B"
    page = client.get(reverse("campaigns:amendments", args=[campaign.code]))
    assert "Bulletin B" in page.content.decode()


def test_the_overview_says_how_it_stands_and_what_is_next(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    job = VisitJobFactory.create(
        visit__vehicle=VehicleFactory.create(store=client.store)
    )
    campaign = job.campaign_vehicle.campaign
    CampaignVehicleFactory.create(
        campaign=campaign,
        vehicle=VehicleFactory.create(store=client.store),
        work_state=WorkState.TO_VERIFY,
        on_list=True,
    )
    VariantPartFactory.create(variant=job.variant)
    page = client.get(reverse("campaigns:campaign", args=[campaign.code]))
    assert page.context["sentence"] == (
        "2 of 2 vehicles still open; 1 to be verified first."
    )
    assert [n for _k, _w, n, _u in page.context["stretches"]] == [0, 0, 1, 0, 1, 0]
    reasons = [entry.reason for entry in page.context["entries"]]
    assert reasons[0] == "1 vehicle to be verified"
    labels = [str(one.label) for one in page.context["places_of_campaign"]]
    assert labels[:3] == ["Overview", "Population", "Remedy"]
    assert page.context["places_of_campaign"][0].current


def test_another_stores_vehicles_are_not_counted(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = CampaignVehicleFactory.create()
    page = client.get(reverse("campaigns:campaign", args=[row.campaign.code]))
    assert page.context["counts"].involved == 0


def test_it_is_not_closed_while_something_is_left(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = CampaignVehicleFactory.create()
    campaign = row.campaign
    ClaimFactory.create(
        repair__campaign_vehicle=CampaignVehicleFactory.create(
            campaign=campaign, work_state=WorkState.REMEDIED_HERE
        )
    )
    url = reverse("campaigns:close_campaign", args=[campaign.code])
    assert [one.kind for one, _url in client.get(url).context["left"]] == [
        "open_vehicles",
        "claims",
    ]
    response = client.post(url)
    assert response.status_code == 409
    assert "1 claim is not paid" in response.content.decode()
    campaign.refresh_from_db()
    assert campaign.state == CampaignState.RUNNING


def test_it_is_closed_with_its_counts_and_opened_again_with_a_reason(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = CampaignVehicleFactory.create(reach=Reach.SCRAPPED)
    ReachFactFactory.create(campaign_vehicle=row, reach=Reach.SCRAPPED)
    campaign = row.campaign
    url = reverse("campaigns:close_campaign", args=[campaign.code])
    assert client.post(url).status_code == 302
    campaign.refresh_from_db()
    assert (campaign.state, campaign.closed_at) == (CampaignState.CLOSED, NOW)
    kept = AuditEntry.objects.get(act="campaign.closed").after
    assert (kept["involved"], kept["by_category"]["scrapped"]) == (1, 1)
    client.post(url)
    assert AuditEntry.objects.filter(act="campaign.closed").count() == 1

    again = reverse("campaigns:reopen_campaign", args=[campaign.code])
    client.post(again, {"why": ""})
    campaign.refresh_from_db()
    assert campaign.state == CampaignState.CLOSED
    client.post(again, {"why": "The vehicle was found"})
    campaign.refresh_from_db()
    assert campaign.state == CampaignState.RUNNING


def test_a_draft_is_not_closed(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create(state=CampaignState.DRAFT)
    url = reverse("campaigns:close_campaign", args=[campaign.code])
    assert client.post(url).status_code == 409


def test_who_may_not_edit_may_look(signed_in):
    client = signed_in(Role.TECHNICIAN)
    campaign = CampaignFactory.create()
    VariantFactory.create(remedy__campaign=campaign)
    version = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED, applied_at=NOW
    )
    CriterionFactory.create(version=version)
    for name in ("campaign", "population", "criteria", "match", "remedy", "amendments"):
        page = client.get(reverse(f"campaigns:{name}", args=[campaign.code]))
        assert (name, page.status_code) == (name, 200)
    for name in ("edit_campaign", "close_campaign", "vin_list", "new_criterion"):
        page = client.get(reverse(f"campaigns:{name}", args=[campaign.code]))
        assert (name, page.status_code) == (name, 403)
    assert client.get(reverse("campaigns:campaign", args=["C-0"])).status_code == 404


def test_nobody_signed_in_sees_nothing(client):
    campaign = CampaignFactory.create()
    page = client.get(reverse("campaigns:campaign", args=[campaign.code]))
    assert page.status_code == 302
    assert "/accounts/login" in page.url or "login" in page.url
    assert StaffFactory.create().posts.count() == 0
    assert campaign.announced_on < TODAY
