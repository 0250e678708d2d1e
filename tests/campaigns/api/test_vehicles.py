import json

import pytest
from django.urls import reverse
from drf_spectacular.generators import SchemaGenerator
from rest_framework.renderers import JSONRenderer
from rest_framework.test import APIClient

from campaigns.api.vehicles import VehicleAnswerSerializer, plain
from campaigns.queries.vehicle_answer import vehicle_answer
from campaigns.rules.lifecycle import CampaignState, WorkState
from dealership.domain.staff import make_token
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    RemedyFactory,
    VariantFactory,
    VariantPartFactory,
)
from tests.factories.dealership import (
    NOW,
    TODAY,
    StaffFactory,
    StoreFactory,
    make_staff,
)
from tests.factories.inventory import BalanceFactory, PartFactory
from tests.factories.vehicles import VehicleFactory, invented_vin


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def program(store):
    client = APIClient()
    client.staff = make_staff(Role.TECHNICIAN, store)
    key = make_token(person=client.staff, at=NOW)
    client.credentials(HTTP_AUTHORIZATION=f"Token {key}")
    return client


def ask(client, vin):
    return client.get(reverse("api_vehicle", args=[vin]))


def test_a_vehicle_is_told_with_what_is_open_on_it(program, store):
    vehicle = VehicleFactory.create(store=store)
    campaign = CampaignFactory.create(stop_sale=True)
    CampaignVehicleFactory.create(vehicle=vehicle, campaign=campaign)
    variant = VariantFactory.create(remedy=RemedyFactory.create(campaign=campaign))
    part = PartFactory.create()
    VariantPartFactory.create(variant=variant, part=part, quantity=2)
    BalanceFactory.create(store=store, part=part, free=1)
    BalanceFactory.create(store=store, part=part, free=4, earmark=campaign.earmark)
    BalanceFactory.create(part=part, free=90)  # another store's

    answer = ask(program, vehicle.vin.lower())

    assert answer.status_code == 200
    assert answer.json() == {
        "vin": vehicle.vin,
        "store": store.code,
        "model_year": 2022,
        "line": "Corvane",
        "engine": "T15",
        "standing": "customer",
        "odometer_miles": 41_500,
        "odometer_on": "2026-06-02",
        "open_campaigns": [
            {
                "code": campaign.code,
                "maker_number": campaign.maker_number,
                "regulator_number": campaign.regulator_number,
                "campaign_class": "safety",
                "title": "Seat rail bolts",
                "state": "open",
                "stop_sale": True,
                "cover": "covered",
                "payer": "manufacturer",
                "remedy": "Replace the bolt kit",
                "parts": [
                    {
                        "number": part.number,
                        "name": "Seat rail bolt kit",
                        "pieces": 2,
                        "free_now": 5,
                    }
                ],
                "parts_free_now": True,
            }
        ],
    }


@pytest.mark.parametrize(
    ("state", "told"),
    [(state, state in {"open", "to_verify", "needs_repair"}) for state in WorkState],
)
def test_only_what_still_wants_work_is_told(program, store, state, told):
    vehicle = VehicleFactory.create(store=store)
    CampaignVehicleFactory.create(vehicle=vehicle, work_state=state)

    open_campaigns = ask(program, vehicle.vin).json()["open_campaigns"]

    assert [one["state"] for one in open_campaigns] == ([state.value] if told else [])


def test_too_few_pieces_are_not_called_free(program, store):
    vehicle = VehicleFactory.create(store=store)
    row = CampaignVehicleFactory.create(vehicle=vehicle)
    variant = VariantFactory.create(remedy=RemedyFactory.create(campaign=row.campaign))
    line = VariantPartFactory.create(variant=variant, quantity=2)
    BalanceFactory.create(store=store, part=line.part, free=1, held=30)

    (one,) = ask(program, vehicle.vin).json()["open_campaigns"]

    assert (one["parts"][0]["free_now"], one["parts_free_now"]) == (1, False)


def test_a_part_under_a_recall_itself_is_never_free(program, store):
    vehicle = VehicleFactory.create(store=store)
    row = CampaignVehicleFactory.create(vehicle=vehicle)
    variant = VariantFactory.create(remedy=RemedyFactory.create(campaign=row.campaign))
    line = VariantPartFactory.create(
        variant=variant, part=PartFactory.create(recalled=True)
    )
    BalanceFactory.create(store=store, part=line.part, free=9)

    (one,) = ask(program, vehicle.vin).json()["open_campaigns"]

    assert not one["parts_free_now"]


def test_the_variant_is_the_one_that_fits_the_vehicle(program, store):
    vehicle = VehicleFactory.create(store=store, model_year=2022)
    row = CampaignVehicleFactory.create(vehicle=vehicle)
    remedy = RemedyFactory.create(campaign=row.campaign)
    for year in (2021, 2022):
        VariantFactory.create(
            remedy=remedy,
            title=f"Kit of {year}",
            conditions=[{"fact": "model_year", "one_of": [str(year)]}],
        )

    (one,) = ask(program, vehicle.vin).json()["open_campaigns"]

    assert one["remedy"] == "Kit of 2022"
    assert (one["parts"], one["parts_free_now"]) == ([], True)


def test_a_variant_that_cannot_be_told_is_not_guessed(program, store):
    vehicle = VehicleFactory.create(store=store)
    CampaignVehicleFactory.create(vehicle=vehicle)

    (one,) = ask(program, vehicle.vin).json()["open_campaigns"]

    assert (one["remedy"], one["parts"], one["parts_free_now"]) == (None, None, None)


@pytest.mark.parametrize("count", [0, 1, 3])
def test_it_takes_one_query_and_two_for_the_key(
    program, store, count, django_assert_num_queries
):
    vehicle = VehicleFactory.create(store=store)
    for row in CampaignVehicleFactory.create_batch(count, vehicle=vehicle):
        variant = VariantFactory.create(
            remedy=RemedyFactory.create(campaign=row.campaign)
        )
        VariantPartFactory.create_batch(2, variant=variant)

    with django_assert_num_queries(3):
        answer = ask(program, vehicle.vin)

    assert len(answer.json()["open_campaigns"]) == count


def test_the_answer_is_what_the_schema_says(store):
    vehicle = VehicleFactory.create(store=store, odometer_on=TODAY)
    row = CampaignVehicleFactory.create(vehicle=vehicle)
    variant = VariantFactory.create(remedy=RemedyFactory.create(campaign=row.campaign))
    VariantPartFactory.create_batch(2, variant=variant)
    staff = make_staff(Role.TECHNICIAN, store)

    answer = vehicle_answer(vin=vehicle.vin, staff=staff, today=TODAY)

    told = json.loads(JSONRenderer().render(plain(answer)))
    assert told == json.loads(
        JSONRenderer().render(VehicleAnswerSerializer(answer).data)
    )
    assert told["open_campaigns"][0]["parts"]


def test_a_draft_is_nobodys_news(program, store):
    vehicle = VehicleFactory.create(store=store)
    draft = CampaignFactory.create(state=CampaignState.DRAFT)
    CampaignVehicleFactory.create(vehicle=vehicle, campaign=draft)

    assert ask(program, vehicle.vin).json()["open_campaigns"] == []


def test_somebody_of_every_store_sees_every_vehicle(store):
    owner = make_staff(Role.OWNER, store, in_all_stores=True)
    vehicle = VehicleFactory.create()

    answer = vehicle_answer(vin=vehicle.vin, staff=owner, today=TODAY)

    assert answer is not None
    assert answer.store == vehicle.store.code


def test_a_vehicle_of_another_store_is_not_there(program):
    vehicle = VehicleFactory.create()

    answer = ask(program, vehicle.vin)

    assert answer.status_code == 404
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json() == ask(program, invented_vin(999_999)).json()


@pytest.mark.parametrize(
    ("vin", "why"),
    [
        ("1U0KTRA4", "has 8"),
        ("1M8GDM9AXKP04278O", "O"),  # the letter, not the digit: 49 CFR 565.13(g)
        ("1M8GDM9A1KP042788", "X"),  # the right digit is X: 49 CFR 565.15(c)
    ],
)
def test_what_is_no_vin_is_refused_with_its_reason(program, vin, why):
    answer = ask(program, vin)

    assert answer.status_code == 400
    assert why in answer.json()["detail"]


def test_without_a_key_nothing_is_told(db):
    answer = ask(APIClient(), invented_vin(1))

    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == "Token"
    assert answer.json()["status"] == 401


def test_somebody_without_a_post_may_not_ask(db):
    staff = StaffFactory.create()
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {make_token(person=staff, at=NOW)}")

    assert ask(client, invented_vin(1)).status_code == 403


def test_a_browser_that_is_signed_in_may_ask_too(signed_in, store):
    client = signed_in(Role.SERVICE_ADVISOR, store)
    vehicle = VehicleFactory.create(store=store)

    assert ask(client, vehicle.vin).status_code == 200


def test_the_page_for_programmers_relaxes_the_policy_for_itself_alone(signed_in):
    client = signed_in(Role.TECHNICIAN)

    docs = client.get(reverse("api_docs"))
    other = client.get(reverse("dealership:token"))

    assert docs.status_code == 200
    assert "'unsafe-inline'" in docs.headers["Content-Security-Policy"]
    assert "script-src 'self'" in docs.headers["Content-Security-Policy"]
    assert "unsafe-inline" not in other.headers["Content-Security-Policy"]
    assert b"cdn" not in docs.content


def test_nobody_reads_the_schema_or_its_page(client):
    assert client.get(reverse("api_docs")).status_code == 302
    assert client.get(reverse("api_schema")).status_code == 401


def schema_of():
    return SchemaGenerator().get_schema(request=None, public=True)


def test_the_schema_names_the_question_and_each_answer():
    question = schema_of()["paths"]["/api/v1/vehicles/{vin}/"]["get"]

    assert question["operationId"] == "vehicle"
    assert sorted(question["responses"]) == ["200", "400", "401", "403", "404", "429"]
