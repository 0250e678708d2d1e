import pytest
from django.urls import reverse

from inventory.queries.subjects import words_of_subjects
from tests.factories.campaigns import RepairFactory, VisitJobFactory


pytestmark = pytest.mark.django_db


def test_a_booked_job_is_said_by_its_campaign_and_vehicle_and_opens_its_visit():
    job = VisitJobFactory.create()
    said = words_of_subjects([job.subject])[job.subject]
    code = job.campaign_vehicle.campaign.code
    assert said.words == (
        f"{code} on …{job.visit.vehicle.vin[-8:]}, visit of {job.visit.on}"
    )
    assert reverse(said.page, args=[said.pk]) == f"/visits/{job.visit_id}/"


def test_a_repair_is_said_by_its_order():
    repair = RepairFactory.create()
    subject = f"repair:{repair.pk}"
    said = words_of_subjects([subject])[subject]
    assert said.words == f"repair order {repair.repair_order}"
    assert said.page == "campaigns:repair"


@pytest.mark.parametrize("rows", [1, 3])
def test_many_are_said_in_one_question(rows, django_assert_num_queries):
    jobs = VisitJobFactory.create_batch(rows)
    with django_assert_num_queries(1):
        said = words_of_subjects([job.subject for job in jobs])
    assert len(said) == rows
