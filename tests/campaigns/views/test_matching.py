"""Criteria, match and application through the pages, with the work done for real."""

import pytest
from django.urls import reverse
from django.utils import timezone

from campaigns.models import CampaignVehicle, Criterion, MatchedChange
from campaigns.rules.lifecycle import CampaignState, VersionState
from dealership.domain.jobs import run_job
from dealership.models import Job
from dealership.rules.jobs import JobState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    MatchedChangeFactory,
    VisitJobFactory,
)
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


def work():
    """Do what waits."""
    for job in Job.objects.filter(state=JobState.WAITING):
        run_job(job_id=job.pk, clock=timezone.now)
        job.refresh_from_db()
        assert job.state == JobState.DONE, job.error_detail or job.error


def at(name, campaign, *more):
    return reverse(f"campaigns:{name}", args=[campaign.code, *more])


def test_from_criteria_to_population(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create(state=CampaignState.DRAFT)
    CriteriaVersionFactory.create(campaign=campaign)
    here = VehicleFactory.create(store=client.store)
    unsure = VehicleFactory.create(store=client.store, build_date=None)
    elsewhere = VehicleFactory.create()

    given = {"include": "yes", "lines": "Corvane", "build_to": "2021-09-14"}
    response = client.post(at("new_criterion", campaign), given)
    assert response.url == at("criteria", campaign)
    assert "built up to and including 2021-09-14" in (
        client.get(response.url).content.decode()
    )
    assert client.post(at("start_match", campaign)).url == at("match", campaign)
    assert client.get(at("match", campaign)).context["card"] is not None
    work()

    page = client.get(at("match", campaign))
    assert {row.vehicle for row, _why in page.context["rows"]} == {here, unsure}
    assert page.context["told"] | {"seen": 0} == {
        "add": 2, "to_verify": 1, "confirm": 0, "remove": 0, "restore": 0,
        "kept": 0, "seen": 0,
    }  # fmt: skip
    assert not CampaignVehicle.objects.exists()
    only = client.get(at("match", campaign), {"change": "to_verify"})
    assert [row.vehicle for row, _why in only.context["rows"]] == [unsure]

    assert client.post(at("match", campaign), {"why": ""}).status_code == 400
    client.post(at("match", campaign), {"why": "Bulletin A"})
    client.post(at("match", campaign), {"why": "Bulletin A"})
    work()
    campaign.refresh_from_db()
    assert campaign.state == CampaignState.RUNNING
    assert set(CampaignVehicle.objects.values_list("vehicle", "work_state")) == {
        (here.pk, "open"),
        (unsure.pk, "to_verify"),
        (elsewhere.pk, "open"),
    }
    assert Job.objects.filter(kind="campaigns.apply").count() == 1
    applied = client.get(at("match", campaign))
    assert applied.context["version"].state == VersionState.APPLIED


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"include": "yes"}, None),
        ({"include": "yes", "model_years": "next year"}, "model_years"),
        ({"include": "yes", "model_years": "2025-2023"}, "model_years"),
        ({"include": "yes", "model_years": "1850"}, "model_years"),
        (
            {"include": "yes", "build_from": "2021-09-02", "build_to": "2021-09-01"},
            "build_to",
        ),
        ({"include": "yes", "serial_from": "200", "serial_to": "100"}, None),
    ],
)
def test_a_criterion_that_cannot_stand_is_told(signed_in, given, field):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    response = client.post(at("new_criterion", campaign), given)
    assert response.status_code == 400
    assert list(response.context["form"].errors) == [field or "__all__"]
    assert not Criterion.objects.exists()


def test_years_are_read_as_people_write_them(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    client.post(
        at("new_criterion", campaign),
        {"include": "no", "model_years": "2021-2023, 2025", "plants": "Ostby , Tallow"},
    )
    row = Criterion.objects.get()
    assert (row.include, row.model_years) == (False, [2021, 2022, 2023, 2025])
    assert row.plants == ["Ostby", "Tallow"]
    form = client.get(at("edit_criterion", campaign, row.pk)).context["form"]
    assert form["model_years"].value() == "2021, 2022, 2023, 2025"
    client.post(
        at("edit_criterion", campaign, row.pk),
        {"include": "yes", "plants": "X", "model_years": ""},
    )
    row.refresh_from_db()
    assert (row.include, row.plants, row.model_years) == (True, ["X"], [])


def test_a_criterion_in_force_is_changed_in_a_new_version(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    ruling = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED
    )
    old = Criterion.objects.create(version=ruling, lines=["Corvane"])
    other = Criterion.objects.create(version=ruling, lines=["Halden"])
    client.post(
        at("edit_criterion", campaign, other.pk), {"include": "yes", "lines": "Tarn"}
    )
    version = campaign.versions.get(number=2)
    assert [row.lines for row in version.criteria.order_by("pk")] == [
        ["Corvane"],
        ["Tarn"],
    ]
    assert [row.lines for row in ruling.criteria.order_by("pk")] == [
        ["Corvane"],
        ["Halden"],
    ]
    client.post(at("drop_criterion", campaign, old.pk))
    assert [row.lines for row in version.criteria.all()] == [["Tarn"]]
    assert ruling.criteria.count() == 2
    client.post(at("abandon_amendment", campaign))
    version.refresh_from_db()
    assert version.state == VersionState.ABANDONED


def test_nothing_to_match_by_is_said(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    page = client.post(at("start_match", campaign), follow=True)
    assert "includes nothing yet" in page.content.decode()
    assert not Job.objects.exists()


@pytest.mark.parametrize("rows", [1, 3])
def test_a_longer_list_takes_no_more_statements(
    signed_in, rows, django_assert_num_queries
):
    client = signed_in(Role.SERVICE_MANAGER)
    version = CriteriaVersionFactory.create(state=VersionState.MATCHED)
    for _ in range(rows):
        MatchedChangeFactory.create(
            version=version, vehicle=VehicleFactory.create(store=client.store)
        )
    url = at("match", version.campaign)
    client.get(url)
    with django_assert_num_queries(MATCH_QUERIES):
        response = client.get(url)
    assert len(response.context["rows"]) == rows


MATCH_QUERIES = 16


def test_a_booked_vehicle_that_goes_out_is_told(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    job = VisitJobFactory.create()
    row = job.campaign_vehicle
    version = CriteriaVersionFactory.create(
        campaign=row.campaign, state=VersionState.MATCHED
    )
    MatchedChangeFactory.create(version=version, vehicle=row.vehicle, change="remove")
    page = client.get(at("match", row.campaign))
    assert page.context["effects"]["remove"].visits == 1
    assert "What hangs on them" in page.content.decode()
    assert page.context["rows"] == []


def test_five_thousand_vehicles_are_matched_and_applied_by_sets(
    signed_in, django_assert_max_num_queries
):
    client = signed_in(Role.SERVICE_MANAGER)
    first = VehicleFactory.create(store=client.store)
    facts = {
        field.attname: getattr(first, field.attname)
        for field in type(first)._meta.concrete_fields
        if field.attname not in {"id", "vin", "vin_tail", "serial"}
    }
    type(first).objects.bulk_create(
        [
            type(first)(**facts, vin=f"1U0KTRA40N1{number:06}", serial=f"{number:06}")
            for number in range(100_000, 104_999)
        ],
        batch_size=1_000,
    )
    campaign = CampaignFactory.create(state=CampaignState.DRAFT)
    CriteriaVersionFactory.create(campaign=campaign)
    CampaignVehicleFactory.create()
    client.post(at("new_criterion", campaign), {"include": "yes", "lines": "corvane"})
    client.post(at("start_match", campaign))
    with django_assert_max_num_queries(100):
        work()
    assert MatchedChange.objects.count() == 5_001
    client.post(at("match", campaign), {"why": "Bulletin A"})
    with django_assert_max_num_queries(250):
        work()
    assert CampaignVehicle.objects.filter(campaign=campaign).count() == 5_001
