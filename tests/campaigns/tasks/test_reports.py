"""The job that makes a completion report makes it once."""

import pytest
from django.utils import timezone

from campaigns.domain.reports import REPORT_KIND, ask_report
from campaigns.rules.lifecycle import ReportState
from dealership.domain.jobs import enqueue, run_job
from dealership.models import Job
from dealership.rules.jobs import JobState
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignVehicleFactory, StateChangeFactory
from tests.factories.dealership import NOW, TODAY, make_staff


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
