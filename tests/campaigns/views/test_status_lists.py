"""The pages of the manufacturer's status lists."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from campaigns.models import StatusDifference, StatusList
from campaigns.rules.lifecycle import WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    StatusDifferenceFactory,
    StatusListFactory,
)
from tests.factories.dealership import TODAY
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

LISTS = "campaigns:status_lists"


@pytest.fixture(autouse=True)
def _uploads(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def sent(client, text, campaign=None, listed_on=None):
    file = SimpleUploadedFile("status.csv", text.encode())
    given = {
        "file": file,
        "listed_on": (listed_on or TODAY).isoformat(),
        "campaign": campaign.pk if campaign else "",
        "date_order": "",
    }
    return client.post(reverse(LISTS), given, follow=True)


def test_a_list_is_taken_in_looked_at_and_applied(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=client.store)
    )
    text = f"VIN,Status\n{row.vehicle.vin},done\nNOVIN,done\n"
    page = sent(client, text, row.campaign).content.decode()
    assert "closed as done elsewhere" in page
    assert "Rows that cannot be read" in page
    row.refresh_from_db()
    assert row.work_state == WorkState.OPEN
    kept = StatusList.objects.get()
    url = reverse("campaigns:apply_status_list", args=[kept.pk])
    page = client.post(url, follow=True).content.decode()
    assert "1 closed, 0 opened again, 0 to be decided." in page
    row.refresh_from_db()
    assert row.work_state == WorkState.REMEDIED_ELSEWHERE
    faults = client.get(reverse("campaigns:status_faults", args=[kept.pk]))
    assert b"NOVIN" in faults.content


def test_a_file_that_is_none_is_told_on_the_form(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    response = sent(client, "VIN,Owner\nx,y\n", CampaignFactory.create())
    assert response.status_code == 400
    assert "No column is headed like one of: status" in response.content.decode()
    assert (
        "Choose it on the form" in sent(client, "VIN,Status\nx,done").content.decode()
    )


def test_a_difference_is_settled_with_its_reason(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    difference = StatusDifferenceFactory.create(status_list__store=client.store)
    page = client.get(reverse(LISTS)).content.decode()
    assert "1 vehicle stands otherwise" in page
    url = reverse("campaigns:settle_status_difference", args=[difference.pk])
    refused = client.post(url, {"ours_stands": "yes", "why": ""}, follow=True)
    assert "Say why" in refused.content.decode()
    client.post(url, {"ours_stands": "yes", "why": "claim paid"})
    difference.refresh_from_db()
    assert (difference.ours_stands, difference.why) == (True, "claim paid")
    assert difference.settled_by == client.staff


@pytest.mark.parametrize("rows", [1, 3])
def test_longer_lists_take_no_more_statements(
    signed_in, rows, django_assert_num_queries
):
    client = signed_in(Role.SERVICE_MANAGER)
    for _n in range(rows):
        StatusDifferenceFactory.create(status_list__store=client.store)
    client.get(reverse(LISTS))
    with django_assert_num_queries(QUERIES):
        page = client.get(reverse(LISTS)).content.decode()
    assert page.count("Ours stands") == rows
    assert StatusDifference.objects.count() == rows


QUERIES = 9


def test_an_advisor_looks_and_takes_nothing_in(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    kept = StatusListFactory.create(store=client.store)
    assert "Take a list in" not in client.get(reverse(LISTS)).content.decode()
    url = reverse("campaigns:apply_status_list", args=[kept.pk])
    assert client.post(url).status_code == 403
