"""The job that makes a completion report makes it once."""

import html
import sys

import pytest
from django.urls import reverse
from django.utils import timezone

from campaigns.domain.reports import REPORT_KIND, ask_report
from campaigns.rules.lifecycle import ReportState
from dealership.domain.jobs import enqueue, run_job
from dealership.models import Job
from dealership.rules.jobs import JobState
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignVehicleFactory, StateChangeFactory
from tests.factories.dealership import NOW, TODAY, make_staff
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def test_what_was_asked_for_is_made_and_made_again_stays_the_same():
    row = CampaignVehicleFactory.create()
    StateChangeFactory.create(campaign_vehicle=row)
    report = ask_report(
        key="r1",
        campaign=row.campaign,
        store=row.store,
        as_of=TODAY,
        by=make_staff(Role.SERVICE_MANAGER, row.store),
        at=NOW,
        today=TODAY,
    )
    job = Job.objects.get(kind=REPORT_KIND)

    done = run_job(job_id=job.pk, clock=timezone.now)

    report.refresh_from_db()
    assert done.state == JobState.DONE, done.error_detail
    assert report.state == ReportState.MADE
    assert done.result == {"digest": report.digest}
    again = enqueue(
        kind=REPORT_KIND,
        arguments={"report_id": report.pk},
        by=None,
        store=row.store,
        now=NOW,
    )
    assert run_job(job_id=again.pk, clock=timezone.now).result == done.result


def test_a_report_that_cannot_be_made_says_so_and_may_be_tried_again(
    signed_in, monkeypatch, settings
):
    """The layout engine is gone, which is a refusal; then it is there again."""
    client = signed_in(Role.SERVICE_MANAGER)
    row = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=client.store)
    )
    StateChangeFactory.create(campaign_vehicle=row)
    report = ask_report(
        key="r1",
        campaign=row.campaign,
        store=client.store,
        as_of=TODAY,
        by=client.staff,
        at=NOW,
        today=TODAY,
    )
    job = Job.objects.get(kind=REPORT_KIND)
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "weasyprint", None)
        failed = run_job(job_id=job.pk, clock=timezone.now)
    report.refresh_from_db()
    assert (failed.state, report.state) == (JobState.FAILED, ReportState.FAILED)
    page = client.get(reverse("campaigns:report", args=[report.pk])).content.decode()
    assert "This report could not be made. Read why below, then try again." in page
    assert failed.error in html.unescape(page)
    assert reverse("dealership:job_requeue", args=[job.pk]) in page
    client.post(reverse("dealership:job_requeue", args=[job.pk]))
    page = client.get(reverse("campaigns:report", args=[report.pk])).content.decode()
    assert "This report is being made" in page
    run_job(job_id=job.pk, clock=timezone.now)
    report.refresh_from_db()
    assert report.state == ReportState.MADE
    page = client.get(reverse("dealership:job", args=[job.pk])).content.decode()
    assert f'href="{reverse("campaigns:report", args=[report.pk])}"' in page
