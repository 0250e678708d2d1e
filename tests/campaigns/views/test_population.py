"""The population's pages."""

import datetime as dt

import pytest
from django.urls import reverse

from campaigns.models import CampaignVehicle, ReachFact, StateChange
from campaigns.rules.lifecycle import CampaignClass, Reach, VersionState, WorkState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    CriterionFactory,
    StateChangeFactory,
    VisitJobFactory,
)
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

MISSING = [{"code": "build_date_missing", "sentence": "The build date is not known."}]
YESTERDAY = (TODAY - dt.timedelta(days=1)).isoformat()


def unsure(store, **facts):
    vehicle = VehicleFactory.create(store=store, build_date=None)
    return CampaignVehicleFactory.create(
        vehicle=vehicle,
        work_state=WorkState.TO_VERIFY,
        outcome="to_be_verified",
        reasons=MISSING,
        **facts,
    )


def act(client, row, name, **given):
    url = reverse("campaigns:population_act", args=[row.campaign.code, row.pk, name])
    return client.post(url, {f"{name}-{key}": value for key, value in given.items()})


@pytest.mark.parametrize("rows", [1, 3])
def test_a_longer_list_takes_no_more_statements(
    signed_in, rows, django_assert_num_queries
):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    for _ in range(rows):
        row = unsure(client.store, campaign=campaign)
        StateChangeFactory.create(campaign_vehicle=row)
    url = reverse("campaigns:population", args=[campaign.code])
    client.get(url)
    with django_assert_num_queries(QUERIES):
        response = client.get(url)
    assert response.content.decode().count("build date is not known") == rows


QUERIES = 12


def test_it_lists_by_part_and_by_search(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    job = VisitJobFactory.create(
        visit__vehicle=VehicleFactory.create(store=client.store)
    )
    campaign = job.campaign_vehicle.campaign
    open_one = CampaignVehicleFactory.create(
        campaign=campaign, vehicle=VehicleFactory.create(store=client.store)
    )
    other_store = CampaignVehicleFactory.create(campaign=campaign)
    url = reverse("campaigns:population", args=[campaign.code])

    def shown(**query):
        return [one.row.pk for one in client.get(url, query).context["rows"]]

    assert shown(stretch="booked") == [job.campaign_vehicle.pk]
    assert shown(stretch="open") == [open_one.pk]
    assert shown(q=open_one.vehicle.vin[-8:].lower()) == [open_one.pk]
    assert shown(q=open_one.vehicle.plate) == [open_one.pk]
    assert shown(q=other_store.vehicle.vin) == []
    assert shown(stretch="nonsense", sort="nonsense", page="99") != []


def test_each_row_to_be_verified_says_what_is_missing_and_the_acts(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = unsure(client.store)
    page = client.get(
        reverse("campaigns:population_vehicle", args=[row.campaign.code, row.pk])
    )
    assert page.status_code == 200
    forms = set(page.context["forms"])
    assert forms == {"confirm", "rule_out", "judge", "reach", "elsewhere"}
    assert page.context["shown"].missing == ("The build date is not known.",)


def test_a_person_confirms_with_a_reason(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = unsure(client.store)
    assert act(client, row, "confirm", why="").status_code == 400
    assert CampaignVehicle.objects.get().work_state == WorkState.TO_VERIFY

    response = act(client, row, "confirm", why="Door plate says 14 September 2021")

    assert response.status_code == 302
    row.refresh_from_db()
    assert (row.work_state, row.outcome) == (WorkState.OPEN, "confirmed")
    change = StateChange.objects.get()
    assert (change.by, change.why) == (
        client.staff,
        "Door plate says 14 September 2021",
    )
    assert act(client, row, "confirm", why="again").status_code == 400
    assert StateChange.objects.count() == 1


def test_a_person_takes_out_with_a_reason(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = unsure(client.store)
    act(client, row, "rule-out", why="Built in March by its papers")
    row.refresh_from_db()
    assert (row.work_state, row.outcome) == (WorkState.REMOVED, "ruled_out")


def test_a_corrected_fact_is_matched_again(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = unsure(client.store)
    version = CriteriaVersionFactory.create(
        campaign=row.campaign, state=VersionState.APPLIED
    )
    day = dt.date(2021, 9, 30)
    CriterionFactory.create(
        version=version, lines=[], model_years=[], build_from=day, build_to=day
    )
    act(client, row, "judge")
    row.refresh_from_db()
    assert row.work_state == WorkState.TO_VERIFY
    assert [r["code"] for r in row.reasons] == ["build_date_missing"]

    row.vehicle.build_date = day
    row.vehicle.save()
    act(client, row, "judge")
    row.refresh_from_db()
    assert row.work_state == WorkState.OPEN

    row.vehicle.build_date = day + dt.timedelta(days=1)
    row.vehicle.save()
    act(client, row, "judge")
    row.refresh_from_db()
    assert row.work_state == WorkState.REMOVED


def test_without_criteria_in_force_nothing_is_matched_again(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    response = act(client, unsure(client.store), "judge")
    assert response.status_code == 400
    assert "No criteria are in force yet" in response.content.decode()


def test_reach_is_noted_with_day_and_source(signed_in):
    client = signed_in(Role.OFFICE)
    row = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=client.store)
    )
    given = {"reach": "other", "effective_on": YESTERDAY, "source": "the post"}
    response = act(client, row, "reach", **given)
    assert response.status_code == 400
    assert "Say which other reason" in response.content.decode()
    act(client, row, "reach", **given, say_which="owner in care")
    row.refresh_from_db()
    assert row.reach == Reach.OTHER
    fact = ReachFact.objects.get()
    assert (fact.effective_on.isoformat(), fact.say_which) == (
        YESTERDAY,
        "owner in care",
    )


def test_work_elsewhere_is_noted_with_day_and_source(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    row = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=client.store)
    )
    tomorrow = (TODAY + dt.timedelta(days=1)).isoformat()
    refused = act(client, row, "elsewhere", done_on=tomorrow, source="invoice")
    assert refused.status_code == 400
    act(client, row, "elsewhere", done_on=YESTERDAY, source="invoice 4411")
    row.refresh_from_db()
    assert row.work_state == WorkState.REMEDIED_ELSEWHERE
    change = StateChange.objects.get()
    assert (change.effective_on.isoformat(), change.source) == (
        YESTERDAY,
        "invoice 4411",
    )


def test_own_stock_gets_a_planned_day_and_a_customers_vehicle_does_not(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    own = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=client.store, standing=Standing.NEW)
    )
    act(client, own, "plan", planned_on="2026-12-01")
    own.refresh_from_db()
    assert own.planned_on == dt.date(2026, 12, 1)
    act(client, own, "plan", planned_on="")
    own.refresh_from_db()
    assert own.planned_on is None

    theirs = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=client.store)
    )
    assert act(client, theirs, "plan", planned_on="2026-12-01").status_code == 400


def test_only_an_emissions_recall_disqualifies(signed_in):
    """40 CFR 1068.525(b): disqualified for poor maintenance or use."""
    client = signed_in(Role.SERVICE_MANAGER)
    rows = [
        CampaignVehicleFactory.create(
            campaign=CampaignFactory.create(campaign_class=one),
            vehicle=VehicleFactory.create(store=client.store),
        )
        for one in (CampaignClass.SAFETY, CampaignClass.EMISSIONS)
    ]
    assert act(client, rows[0], "disqualify", why="no oil").status_code == 400
    assert act(client, rows[1], "disqualify", why="no oil").status_code == 302
    rows[1].refresh_from_db()
    assert rows[1].work_state == WorkState.DISQUALIFIED
    act(client, rows[1], "reopen", why="records came in")
    rows[1].refresh_from_db()
    assert rows[1].work_state == WorkState.OPEN


def test_a_vehicle_remedied_here_is_not_opened_by_hand(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = CampaignVehicleFactory.create(
        vehicle=VehicleFactory.create(store=client.store),
        work_state=WorkState.REMEDIED_HERE,
    )
    assert act(client, row, "reopen", why="wrong").status_code == 400
    row.refresh_from_db()
    assert row.work_state == WorkState.REMEDIED_HERE


def test_a_row_of_another_store_is_not_there(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    row = unsure(StoreFactory.create())
    url = reverse("campaigns:population_vehicle", args=[row.campaign.code, row.pk])
    assert client.get(url).status_code == 404
    assert act(client, row, "confirm", why="mine").status_code == 404
    row.refresh_from_db()
    assert row.work_state == WorkState.TO_VERIFY


def test_who_may_only_look_decides_nothing(signed_in):
    client = signed_in(Role.TECHNICIAN)
    row = unsure(client.store)
    url = reverse("campaigns:population_vehicle", args=[row.campaign.code, row.pk])
    assert set(client.get(url).context["forms"]) == {"elsewhere"}
    assert act(client, row, "confirm", why="sure").status_code == 403
    assert act(client, row, "nonsense").status_code == 404
