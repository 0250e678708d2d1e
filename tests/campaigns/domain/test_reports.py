"""A report is made once, adds up, and comes out the same to the digit."""

import csv
import datetime as dt
import io

import openpyxl
import pypdfium2
import pytest

from campaigns.domain.reports import (
    BeforeCampaign,
    DayNotCome,
    ask_report,
    make_report,
)
from campaigns.models import Report
from campaigns.queries.reports import digest_of, figures_of
from campaigns.rules.lifecycle import CampaignClass, Reach, WorkState
from dealership.models import AuditEntry, Job
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    ReachFactFactory,
    StateChangeFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def vehicle(campaign, store, *, done_on=None, reach=None, done=WorkState.REMEDIED_HERE):
    """Add a vehicle; done on a day, out of reach, or still open."""
    row = CampaignVehicleFactory.create(
        campaign=campaign, vehicle=VehicleFactory.create(store=store)
    )
    StateChangeFactory.create(campaign_vehicle=row)
    if done_on:
        StateChangeFactory.create(
            campaign_vehicle=row, before="open", after=done, effective_on=done_on
        )
    if reach:
        ReachFactFactory.create(campaign_vehicle=row, reach=reach, say_which="flood")
    return row


@pytest.fixture
def walked():
    """Ten vehicles: 3 repaired, 1 clear, 2 out of reach, 4 open."""
    store = StoreFactory.create()
    campaign = CampaignFactory.create()
    start = campaign.letters_on
    for weeks in (1, 1, 2):
        vehicle(campaign, store, done_on=start + dt.timedelta(weeks=weeks))
    vehicle(
        campaign,
        store,
        done_on=start + dt.timedelta(weeks=3),
        done=WorkState.INSPECTED_CLEAR,
    )
    vehicle(campaign, store, reach=Reach.SCRAPPED)
    vehicle(campaign, store, reach=Reach.OTHER)
    for _n in range(4):
        vehicle(campaign, store)
    return campaign, store


def asked(campaign, store, key="k", as_of=TODAY):
    return ask_report(
        key=key,
        campaign=campaign,
        store=store,
        as_of=as_of,
        today=TODAY,
        by=make_staff(Role.SERVICE_MANAGER, store),
        at=NOW,
    )


def made(campaign, store, **facts):
    return make_report(report_id=asked(campaign, store, **facts).pk, at=NOW)


def test_asked_twice_makes_one(walked):
    first = asked(*walked)
    assert asked(*walked) == first
    assert Report.objects.count() == 1
    assert Job.objects.filter(kind="campaigns.make_report").count() == 1


def test_refuses_a_day_that_has_not_come(walked):
    with pytest.raises(DayNotCome):
        asked(*walked, as_of=TODAY + dt.timedelta(days=1))
    with pytest.raises(BeforeCampaign):
        asked(*walked, as_of=walked[0].announced_on - dt.timedelta(days=1))
    assert Report.objects.count() == 0


def test_counts_stand_in_the_regulators_order_and_add_up(walked):
    """49 CFR 573.7(b), (c), from memory: involved; repaired; clear; unreachable."""
    report = made(*walked)
    lines = [(one["code"], one["vehicles"]) for one in report.figures["lines"]]
    assert lines == [
        ("involved", 10),
        ("inspected_repaired", 3),
        ("inspected_no_repair", 1),
        ("unreachable", 2),
        ("exported", 0),
        ("stolen", 0),
        ("scrapped", 1),
        ("not_notified", 0),
        ("other_reason", 1),
        ("still_open", 4),
        ("to_verify", 0),
    ]
    stretches = [one[2] for one in report.figures["stretches"]]
    assert sum(stretches) == 10


def test_curve_is_one_minus_kaplan_meier_by_hand(walked):
    """Kaplan and Meier (1958): weeks 1, 1, 2, 3 of ten; the rest are seen to the end.

    S = 8/10, then 7/8 of it, then 6/7 of it.
    """
    report = made(*walked)
    points = [(p["week"], p["at_risk"], p["done"]) for p in report.curve]
    assert points == [(1.0, 10, 2), (2.0, 8, 1), (3.0, 7, 1)]
    assert [p["completed"] for p in report.curve] == pytest.approx([0.2, 0.3, 0.4])


def test_comes_out_the_same_to_the_digit(walked):
    report = made(*walked)
    late = StateChangeFactory.create(
        campaign_vehicle=walked[0].vehicles.last(),
        before="open",
        after=WorkState.REMEDIED_HERE,
        effective_on=TODAY - dt.timedelta(days=5),
        recorded_at=NOW + dt.timedelta(hours=1),
    )
    assert late.pk
    assert digest_of(*figures_of(report)) == report.digest
    assert made(*walked, key="k") == report
    assert AuditEntry.objects.filter(act="report.made").count() == 1


def test_pdf_says_what_it_is_and_numbers_its_pages(walked):
    report = made(*walked)
    paper = pypdfium2.PdfDocument(report.pdf.read())
    text = " ".join(page.get_textpage().get_text_bounded() for page in paper)
    assert "Dealer's count, not a regulatory filing" in text
    assert "4 of 10 vehicles" in text
    assert "40% of all, 50% of those that can be reached" in " ".join(text.split())
    assert f"page 1 of {len(paper)}" in text


def test_csv_and_xlsx_say_the_same(walked):
    report = made(*walked)
    rows = list(csv.reader(io.StringIO(report.csv.read().decode("utf-8-sig"))))
    assert rows[1] == ["Involved", "10", "1.0", ""]
    assert rows[2] == ["Inspected and repaired", "3", "0.3", "0.375"]
    sheet = openpyxl.load_workbook(io.BytesIO(report.xlsx.read())).active
    assert [cell.value for cell in sheet[3]] == [
        "Inspected and repaired",
        3,
        0.3,
        0.375,
    ]


def test_emissions_report_has_its_own_lines(walked):
    """40 CFR 1068.525(b): inspected, needing repair, repaired, unavailable."""
    campaign, store = walked
    campaign.campaign_class = CampaignClass.EMISSIONS
    campaign.save()
    codes = [one["code"] for one in made(campaign, store).figures["lines"]]
    assert codes[:5] == [
        "population",
        "inspected",
        "needing_repair",
        "repaired",
        "unavailable",
    ]


def test_an_empty_campaign_makes_a_report_too():
    report = made(CampaignFactory.create(), StoreFactory.create())
    assert report.figures["involved"] == 0
    assert report.curve_svg == ""
