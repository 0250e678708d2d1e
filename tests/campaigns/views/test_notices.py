"""The customer is told, and takes a paper along."""

import uuid

import pypdfium2
import pytest
from django.urls import reverse

from campaigns.models import NoticeGiven
from campaigns.rules.lifecycle import Outcome, RepairState, WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignVehicleFactory, RepairFactory
from tests.factories.dealership import TODAY
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


def words_of(response):
    with pypdfium2.PdfDocument(response.content) as paper:
        texts = [page.get_textpage().get_text_bounded() for page in paper]
    return " ".join(" ".join(texts).split())


def tell(client, vehicle, **facts):
    return client.post(
        reverse("campaigns:customer_told", args=[vehicle.vin]),
        {"key": str(uuid.uuid4()), "how": "spoken", **facts},
        follow=True,
    )


@pytest.fixture
def row(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    row = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=client.store),
        store=client.store,
        campaign__risk="The seat may move in a crash.",
    )
    row.client = client
    return row


def test_one_press_keeps_that_the_customer_was_told(row):
    page = tell(row.client, row.vehicle)

    said = page.content.decode()
    assert NoticeGiven.objects.get().campaigns == [row.campaign.code]
    assert f"the customer was told of {row.campaign.code}." in said
    assert "told today" in said
    assert "Notices given" in said


def test_the_printed_notice_names_each_campaign_and_its_risk(row):
    paper = tell(row.client, row.vehicle, how="printed")

    said = words_of(paper)
    assert paper.headers["Content-Type"] == "application/pdf"
    for words in (
        "The manufacturer has announced 1 campaign for your vehicle",
        row.campaign.title,
        row.campaign.maker_number,
        "The seat may move in a crash.",
        "letter and instructions come before this paper",
    ):
        assert words in said


def test_a_double_press_is_one_notice(row):
    key = str(uuid.uuid4())

    tell(row.client, row.vehicle, key=key)
    tell(row.client, row.vehicle, key=key)

    assert NoticeGiven.objects.count() == 1


def test_nothing_open_is_told_in_words(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    vehicle = VehicleFactory.create(store=client.store)

    page = tell(client, vehicle)

    assert f"No campaign is open on vehicle {vehicle.vin}" in page.content.decode()
    assert "Tell the customer" not in page.content.decode()


def test_the_proof_names_vehicle_campaign_day_and_order(row):
    row.work_state = WorkState.REMEDIED_HERE
    row.save()
    repair = RepairFactory.create(
        vehicle=row.vehicle,
        store=row.store,
        campaign_vehicle=row,
        state=RepairState.COMPLETED,
        outcome=Outcome.REMEDIED,
        odometer=12_345,
        done_on=TODAY,
    )
    link = reverse("campaigns:proof_paper", args=[repair.pk])

    page = row.client.get(reverse("campaigns:repair", args=[repair.pk]))
    assert link in page.content.decode()
    said = words_of(row.client.get(link))

    # What an inspection programme has to be shown: 40 CFR 51.370.
    for words in (
        "Proof of correction",
        row.campaign.maker_number,
        TODAY.isoformat(),
        "12,345",
        repair.repair_order,
    ):
        assert words in said
    assert row.vehicle.vin in said.replace(" ", "")


def test_a_repair_in_the_workshop_has_no_proof(row):
    repair = RepairFactory.create(
        vehicle=row.vehicle, store=row.store, campaign_vehicle=row
    )
    link = reverse("campaigns:proof_paper", args=[repair.pk])

    assert row.client.get(link).status_code == 404
