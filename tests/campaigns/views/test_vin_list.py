"""The manufacturer's list through the pages."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook

from campaigns.models import ListedVin
from campaigns.rules.lifecycle import VersionState
from dealership.models import Job, Upload
from dealership.rules.jobs import JobState
from dealership.rules.roles import Role
from tests.campaigns.views.test_matching import at, work
from tests.factories.campaigns import (
    CampaignFactory,
    CriteriaVersionFactory,
    ListedVinFactory,
)
from tests.factories.dealership import StoreFactory, UploadFactory
from tests.factories.vehicles import (
    VehicleFactory,
    invented_vin,
    vin_with_check_digit,
)


pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("frozen_now", "files"),
]

WRONG_DIGIT = "1U0KTRA40N1000001"


@pytest.fixture
def files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def csv_of(*rows, header="No;VIN;Region"):
    return "\n".join([header, *rows]).encode()


def send(client, campaign, content, name="list.csv"):
    file = SimpleUploadedFile(name, content)
    return client.post(at("vin_list", campaign), {"file": file})


def take(client, campaign, **given):
    """Choose the guessed column of the last file and take the list in."""
    upload = Upload.objects.order_by("at", "id").last()
    url = at("vin_list_choices", campaign, upload.pk)
    form = client.get(url).context["form"]
    told = {"column": form["column"].value() or "", "listed_on": "2026-11-20"}
    return client.post(url, told | given)


def test_the_column_is_guessed_and_shown_and_the_list_taken_in(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    known = VehicleFactory.create(store=client.store)
    unknown = invented_vin(880_001)
    content = csv_of(
        f"1;{known.vin.lower()};North",
        f"2;{unknown};North",
        f"3;{unknown};North",
        f"4;{WRONG_DIGIT};South",
        "5;SHORT;South",
    )
    response = send(client, campaign, content)
    page = client.get(response.url)
    assert page.context["preview"].column == 1
    assert (page.context["preview"].right, page.context["preview"].looked_at) == (3, 5)

    assert take(client, campaign).url == at("vin_list", campaign)
    take(client, campaign)
    assert Job.objects.filter(kind="campaigns.take_list").count() == 1
    work()
    job = Job.objects.get(kind="campaigns.take_list")
    assert job.result == {
        "rows": 5, "new": 2, "known": 0, "twice": 1, "refused": 2, "dropped": 0,
    }  # fmt: skip
    rows = dict(ListedVin.objects.values_list("vin", "row_number"))
    assert rows == {known.vin: 2, unknown: 3}
    version = campaign.versions.get()
    assert version.state == VersionState.DRAFT

    missing = client.get(at("unknown_vins", campaign))
    assert [row.vin for row in missing.context["page_obj"]] == [unknown]
    shown = client.get(at("vin_list", campaign))
    assert shown.context["unknown"] == 1
    refused = client.get(
        at("vin_list_refused", campaign, job.arguments["upload_id"]), {"column": "1"}
    )
    for column, status in (("7", 404), ("x", 400), ("9" * 5_000, 400), ("", 400)):
        address = at("vin_list_refused", campaign, job.arguments["upload_id"])
        assert client.get(address, {"column": column}).status_code == status
    choices = at("vin_list_choices", campaign, job.arguments["upload_id"])
    assert client.get(choices, {"column": "9" * 5_000}).status_code == 200
    text = refused.content.decode("utf-8-sig")
    assert text.splitlines()[0].startswith("No,VIN,Region,Row in the file")
    assert "4,1U0KTRA40N1000001,South,5,VIN" in text
    assert "The VIN has 5 characters instead of 17." in text


def test_a_workbook_is_read_too(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    book = Workbook()
    book.active.append(["Title of the list"])
    book.active.append(["VIN"])
    for number in range(1, 4):
        book.active.append([invented_vin(number)])
    target = io.BytesIO()
    book.save(target)
    send(client, campaign, target.getvalue(), "list.xlsx")
    take(client, campaign)
    work()
    assert ListedVin.objects.count() == 3


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"%PDF-1.7\n%fake", "a PDF document"),
        (b"VIN\n", "no row below"),
        (b"PK\x03\x04nonsense", "list"),
    ],
)
def test_what_is_no_list_is_refused_with_its_reason(signed_in, content, said):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    response = send(client, campaign, content)
    assert response.status_code == 400
    assert said in response.content.decode()
    assert not ListedVin.objects.exists()
    assert not Job.objects.exists()


def test_a_list_of_an_unknown_maker_is_refused_until_somebody_says_it_is_right(
    signed_in,
):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    VehicleFactory.create()
    stranger = vin_with_check_digit("2Z9KTRA4", "N1000001")
    send(client, campaign, csv_of(f"1;{stranger};North"))
    take(client, campaign)
    from django.utils import timezone  # noqa: PLC0415 (the job's clock)

    from dealership.domain.jobs import run_job  # noqa: PLC0415 (fails on purpose)

    run_job(job_id=Job.objects.get().pk, clock=timezone.now)
    job = Job.objects.get()
    assert job.state == JobState.FAILED
    assert "begin with 2Z9" in job.error
    assert not ListedVin.objects.exists()
    page = client.get(at("vin_list", campaign))
    assert "begin with 2Z9" in page.content.decode()

    take(client, campaign, take_unknown_makers="on")
    work()
    assert ListedVin.objects.get().vin == stranger


def test_a_list_without_one_right_vin_changes_nothing(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    send(client, campaign, csv_of("1;nothing", header="No;Remark"))
    upload = Upload.objects.get()
    url = at("vin_list_choices", campaign, upload.pk)
    page = client.get(url)
    assert page.context["preview"].column is None
    assert "No column looks like VINs" in page.content.decode()
    assert client.post(url, {"listed_on": "2026-11-20"}).status_code == 400


def test_a_list_that_replaces_drops_what_this_store_listed_before(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    mine = ListedVinFactory.create(campaign=campaign, store=client.store)
    others = ListedVinFactory.create(campaign=campaign)
    stays = ListedVinFactory.create(campaign=campaign, store=client.store)
    send(client, campaign, csv_of(f"1;{stays.vin};North"))
    take(client, campaign, replaces="on")
    work()
    assert set(ListedVin.objects.values_list("vin", flat=True)) == {
        others.vin,
        stays.vin,
    }
    assert mine.vin not in {others.vin, stays.vin}


def test_a_new_list_makes_a_match_void(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    version = CriteriaVersionFactory.create(state=VersionState.MATCHED)
    send(client, version.campaign, csv_of(f"1;{invented_vin(4)};North"))
    take(client, version.campaign)
    version.refresh_from_db()
    assert version.state == VersionState.DRAFT


def test_a_file_of_another_store_is_not_there(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    upload = UploadFactory.create(store=StoreFactory.create())
    for name in ("vin_list_choices", "vin_list_refused"):
        url = at(name, campaign, upload.pk)
        assert client.get(url, {"column": "0"}).status_code == 404
    assert reverse("campaigns:campaigns") == "/campaigns/"
