"""The open questions of a campaign, worked off as a list."""

import datetime as dt

import pytest
from django.urls import reverse

from campaigns.models import CampaignVehicle
from campaigns.rules.lifecycle import VersionState, WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    CriterionFactory,
)
from tests.factories.dealership import TODAY
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

FACT = [{"code": "build_date_missing", "sentence": "The build date is not known."}]
UNLISTED = [{"code": "criteria_met_not_on_list", "sentence": "Fits, not on the list."}]
DISAGREE = [{"code": "criteria_disagree", "sentence": "The list decides."}]


def asked(store, campaign, reasons):
    waits = reasons is not DISAGREE
    return CampaignVehicleFactory.create(
        campaign=campaign,
        vehicle=VehicleFactory.create(store=store, build_date=None),
        work_state=WorkState.TO_VERIFY if waits else WorkState.OPEN,
        outcome="to_be_verified" if waits else "affected",
        reasons=reasons,
    )


def at(name, *args):
    return reverse(f"campaigns:{name}", args=args)


@pytest.mark.parametrize("reasons", [FACT, UNLISTED, DISAGREE])
def test_a_longer_list_takes_no_more_statements(
    signed_in, django_assert_max_num_queries, reasons
):
    client = signed_in(Role.SERVICE_MANAGER)
    counted = []
    for rows in (1, 3):
        campaign = CampaignFactory.create()
        for _n in range(rows):
            asked(client.store, campaign, reasons)
        url = at("open_questions", campaign.code)
        client.get(url)
        with django_assert_max_num_queries(40) as captured:
            page = client.get(url).content.decode()
        assert page.count(reasons[0]["sentence"]) == rows
        counted.append(len(captured))
    assert counted[0] == counted[1]


def test_a_fact_is_kept_with_its_source_and_the_vehicle_is_open(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    version = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED
    )
    CriterionFactory.create(version=version, build_from=dt.date(2021, 9, 1))
    row = asked(client.store, campaign, FACT)
    url = at("found_out", campaign.code, row.pk)
    given = {f"v{row.pk}-build_date": "2021-09-02", f"v{row.pk}-source": "door plate"}
    page = client.post(url, given, follow=True).content.decode()
    assert f"Kept. Vehicle {row.vehicle.vin} is “open” now." in page
    assert "built on: 2021-09-02" in page
    assert "door plate" in page
    row.refresh_from_db()
    assert row.work_state == WorkState.OPEN


@pytest.mark.parametrize(
    ("day", "source", "said"),
    [
        ("", "door plate", "Enter the fact that was found out."),
        ((TODAY + dt.timedelta(days=1)).isoformat(), "x", "This day is in the future."),
        ("2021-09-02", "", "This field is required."),
    ],
)
def test_a_fact_that_cannot_stand_is_told_beside_it(signed_in, day, source, said):
    client = signed_in(Role.SERVICE_MANAGER)
    row = asked(client.store, CampaignFactory.create(), FACT)
    url = at("found_out", row.campaign.code, row.pk)
    given = {f"v{row.pk}-build_date": day, f"v{row.pk}-source": source}
    response = client.post(url, given)
    assert response.status_code == 400
    assert said in response.content.decode()


@pytest.mark.parametrize(
    ("reasons", "question"), [(UNLISTED, "unlisted"), (DISAGREE, "disagree")]
)
@pytest.mark.parametrize(
    ("belongs", "state"), [("yes", WorkState.OPEN), ("no", WorkState.REMOVED)]
)
def test_chosen_vehicles_are_decided_once(signed_in, reasons, question, belongs, state):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    rows = [asked(client.store, campaign, reasons) for _n in range(2)]
    url = at("decide_questions", campaign.code, question)
    given = {"row": [row.pk for row in rows], "belongs": belongs, "why": "maker asked"}
    page = client.post(url, given, follow=True).content.decode()
    assert set(CampaignVehicle.objects.values_list("work_state", flat=True)) == {state}
    assert page.count("maker asked") == 2
    assert "Nothing is open" in page


def test_a_decision_without_reason_or_vehicle_keeps_what_was_chosen(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    row = asked(client.store, campaign, UNLISTED)
    url = at("decide_questions", campaign.code, "unlisted")
    response = client.post(url, {"row": [row.pk], "belongs": "yes", "why": ""})
    assert response.status_code == 400
    assert f'value="{row.pk}" ' in response.content.decode()
    assert " checked" in response.content.decode()
    response = client.post(url, {"belongs": "yes", "why": "x"})
    assert "Choose at least one vehicle" in response.content.decode()


def test_an_advisor_sees_the_list_and_decides_nothing(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    campaign = CampaignFactory.create()
    row = asked(client.store, campaign, UNLISTED)
    page = client.get(at("open_questions", campaign.code)).content.decode()
    assert "Fits, not on the list." in page
    assert "They belong to the campaign" not in page
    url = at("decide_questions", campaign.code, "unlisted")
    assert client.post(url, {"row": [row.pk], "belongs": "yes"}).status_code == 403
