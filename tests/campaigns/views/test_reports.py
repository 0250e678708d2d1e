"""Report pages: asked for, shown, handed out, and closed to other stores."""

import pytest

from campaigns.domain.reports import make_report
from campaigns.models import Report
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    ReportFactory,
    StateChangeFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def made(settings, tmp_path, signed_in):
    """Give somebody of the store, and a report of it that is made."""
    settings.MEDIA_ROOT = tmp_path
    client = signed_in(Role.OFFICE)
    campaign = CampaignFactory.create()
    row = CampaignVehicleFactory.create(
        campaign=campaign, vehicle=VehicleFactory.create(store=client.store)
    )
    StateChangeFactory.create(campaign_vehicle=row)
    StateChangeFactory.create(
        campaign_vehicle=row, after="remedied_here", effective_on=TODAY
    )
    report = ReportFactory.create(campaign=campaign, store=client.store)
    return client, make_report(report_id=report.pk, at=NOW)


def test_page_shows_both_shares_and_the_curve(made):
    client, report = made
    page = client.get(f"/reports/{report.pk}/").content.decode()
    assert "1 of 1 vehicles are done: 100% of all" in page
    assert "not a regulatory filing" in page
    assert 'stroke="currentColor"' in page
    assert "style=" not in page


def test_files_are_handed_out_as_files(made):
    client, report = made
    for kind in ("pdf", "csv", "xlsx"):
        answer = client.get(f"/reports/{report.pk}/report.{kind}")
        assert answer.status_code == 200
        assert answer["Content-Disposition"].startswith("attachment")
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert b"".join(answer.streaming_content)


def test_another_store_finds_nothing(made, signed_in):
    _client, report = made
    other = signed_in(Role.OFFICE, StoreFactory.create())
    assert other.get(f"/reports/{report.pk}/").status_code == 404
    assert other.get(f"/reports/{report.pk}/report.pdf").status_code == 404
    assert other.get("/reports/").content.decode().count(report.campaign.code) == 0


def test_asks_for_a_report_once(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    url = f"/campaigns/{CampaignFactory.create().code}/report/"
    form = {"as_of": "2026-11-25", "key": "one"}
    first = client.post(url, form)
    assert first.status_code == 302
    assert client.post(url, form).url == first.url
    assert Report.objects.get().as_of == TODAY
    assert client.get(first.url).status_code == 200


def test_a_day_to_come_is_told_at_the_field(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    url = f"/campaigns/{CampaignFactory.create().code}/report/"
    page = client.post(url, {"as_of": "2026-11-26", "key": "one"})
    assert "2026-11-26 has not come yet" in page.content.decode()
    assert Report.objects.count() == 0


def test_campaign_page_shows_the_laws_dates(signed_in):
    """30118(f): a campaign from 26 October 2026 reports first on 30 January 2027.

    That is a Saturday, so Monday 1 February (49 CFR 573.7(d), from memory).
    """
    client = signed_in(Role.OFFICE)
    page = client.get(f"/campaigns/{CampaignFactory.create().code}/report/")
    assert "2027-02-01" in page.content.decode()


def test_roles(signed_in):
    for role, status in ((Role.TECHNICIAN, 403), (Role.OWNER, 200)):
        assert signed_in(role).get("/reports/").status_code == status


@pytest.mark.parametrize("rows", [1, 3])
def test_list_asks_the_same_number_of_questions(
    rows, signed_in, django_assert_num_queries
):
    client = signed_in(Role.OFFICE)
    ReportFactory.create_batch(rows, store=client.store)
    with django_assert_num_queries(QUERIES):
        assert client.get("/reports/").status_code == 200


QUERIES = 7
