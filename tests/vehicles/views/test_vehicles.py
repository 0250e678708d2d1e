import pytest
from django.urls import reverse

from dealership.rules.roles import Role
from tests.factories.vehicles import (
    AddressFactory,
    TenureFactory,
    VehicleChangeFactory,
    VehicleFactory,
    invented_vin,
)
from vehicles.models import Vehicle


LIST = "/vehicles/"


@pytest.fixture
def advisor(signed_in):
    return signed_in(Role.SERVICE_ADVISOR)


def owned(store, **facts):
    vehicle = VehicleFactory.create(store=store, **facts)
    tenure = TenureFactory.create(vehicle=vehicle)
    AddressFactory.create(party=tenure.party)
    VehicleChangeFactory.create(vehicle=vehicle)
    return vehicle


def test_the_list_asks_the_same_with_one_row_and_three(
    advisor, django_assert_num_queries
):
    owned(advisor.store)
    advisor.get(LIST)
    for rows in (1, 3):
        while Vehicle.objects.count() < rows:
            owned(advisor.store)
        with django_assert_num_queries(8):
            page = advisor.get(LIST)
        assert len(page.context["page_obj"]) == rows


def test_the_list_shows_the_store_only(advisor):
    mine, other = owned(advisor.store), VehicleFactory.create()
    page = advisor.get(LIST)
    assert list(page.context["page_obj"]) == [mine]
    assert other.vin not in page.content.decode()


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("q=" + invented_vin(501), [501]),
        ("q=" + invented_vin(501)[-8:], [501]),
        ("q=klr 501", [501]),
        ("q=00050&sort=plate", [501, 502]),
        ("line=helix", [502]),
        ("model_year=2021", [502]),
        ("standing=new", [502]),
        ("sort=-vin", [502, 501]),
        ("sort=plate", [501, 502]),
        ("q=nobody", []),
    ],
)
def test_search_filter_and_order(advisor, query, found):
    VehicleFactory.create(store=advisor.store, vin=invented_vin(501), plate="KLR 501")
    VehicleFactory.create(
        store=advisor.store,
        vin=invented_vin(502),
        line="Helix",
        model_year=2021,
        standing="new",
        plate="KLR 502",
    )
    page = advisor.get(f"{LIST}?{query}")
    vins = [vehicle.vin for vehicle in page.context["page_obj"]]
    assert vins == [invented_vin(n) for n in found]


def test_an_empty_file_says_where_vehicles_come_from(advisor):
    assert "list of vehicles and owners" in advisor.get(LIST).content.decode()


def test_the_card_shows_people_addresses_and_history(advisor):
    vehicle = owned(advisor.store)
    page = advisor.get(reverse("vehicles:vehicle", args=[vehicle.vin]))
    text = page.content.decode()
    tenure = vehicle.tenures.get()
    for words in (
        tenure.party.name,
        tenure.party.addresses.get().street,
        "own customer file",
        "41400",
        reverse("campaigns:counter", args=[vehicle.vin]),
    ):
        assert words in text


@pytest.mark.parametrize("name", ["vehicle", "edit_vehicle", "new_owner"])
def test_a_vehicle_of_another_store_is_not_there(advisor, name):
    vehicle = VehicleFactory.create()
    address = reverse(f"vehicles:{name}", args=[vehicle.vin])
    assert advisor.get(address).status_code == 404


@pytest.mark.parametrize("name", ["edit_vehicle", "new_owner", "new_vehicle"])
def test_a_technician_changes_nothing(signed_in, name):
    technician = signed_in(Role.TECHNICIAN)
    vehicle = VehicleFactory.create(store=technician.store)
    args = [] if name == "new_vehicle" else [vehicle.vin]
    address = reverse(f"vehicles:{name}", args=args)
    assert technician.get(address).status_code == 403
    assert technician.post(address).status_code == 403


FACTS = {"vin": invented_vin(600), "kind": "light", "standing": "customer"}


def test_a_vehicle_is_entered(advisor):
    address = reverse("vehicles:new_vehicle")
    assert advisor.get(address).status_code == 200
    answer = advisor.post(address, FACTS | {"owner_name": "Ada Corrin"})
    assert answer.url == reverse("vehicles:vehicle", args=[invented_vin(600)])
    assert Vehicle.objects.get().model_year == 2022


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"vin": "1J9RP1A35A1644345"}, "check digit"),
        ({"vin": "short"}, "17"),
        ({"kind": "trailer"}, "1992 or 2022"),
        ({"build_date": "2099-01-01"}, "in the future"),
        ({"build_date": "2022-02-01", "first_use_date": "2022-01-01"}, "One is wrong"),
        ({"odometer_on": "2022-01-01"}, "reading of that day"),
    ],
)
def test_a_wrong_vehicle_is_refused_and_nothing_typed_is_lost(advisor, facts, words):
    answer = advisor.post(
        reverse("vehicles:new_vehicle"), FACTS | facts | {"line": "Corvane"}
    )
    text = answer.content.decode()
    assert answer.status_code == 200
    assert words in text
    assert 'value="Corvane"' in text
    assert Vehicle.objects.count() == 0


def test_facts_are_mended(advisor):
    vehicle = VehicleFactory.create(store=advisor.store)
    address = reverse("vehicles:edit_vehicle", args=[vehicle.vin])
    assert advisor.get(address).status_code == 200
    facts = {"line": "Helix", "kind": "light", "standing": "used"}
    assert advisor.post(address, facts).status_code == 302
    vehicle.refresh_from_db()
    assert (vehicle.line, vehicle.standing, vehicle.plate) == ("Helix", "used", "")
    assert vehicle.changes.filter(field="line", after="Helix").count() == 1


def test_the_owner_is_changed(advisor):
    vehicle = owned(advisor.store)
    address = reverse("vehicles:new_owner", args=[vehicle.vin])
    assert advisor.get(address).status_code == 200
    facts = {
        "owner_name": "Bram Dunmore",
        "owner_kind": "person",
        "role": "owner",
        "tenure_from": "2026-03-09",
        "street": "9 Oak Row",
        "country": "us",
        "source": "own_customer",
    }
    early = advisor.post(address, facts | {"tenure_from": "2001-01-01"})
    assert "Choose a later day" in early.content.decode()
    assert advisor.post(address, facts).status_code == 302
    present = vehicle.tenures.get(until__isnull=True)
    assert present.party.addresses.get().country == "US"
