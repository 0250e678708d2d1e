import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from dealership.documents.tabular import open_table
from dealership.rules.roles import Role
from tests.factories.vehicles import StagedRowFactory, VehicleListFactory, invented_vin
from tests.vehicles.conftest import Counter, csv_of
from vehicles.models import StagedRow, Vehicle, VehicleList


LISTS = "/vehicles/lists/"
CONTENT = csv_of(
    f"{invented_vin(1)},Corvane,2022,,Ada Corrin,1 Elm Row,Tannersby,60000,,",
    f"{invented_vin(2)[:-1]},Helix,2022,,Bram Dunmore,2 Elm Row,Tannersby,60000,,",
)


@pytest.fixture
def office(signed_in):
    return signed_in(Role.OFFICE)


def hand_in(client, content=CONTENT, **facts):
    file = SimpleUploadedFile("list.csv", content)
    told = {
        "key": uuid.uuid4(),
        "file": file,
        "source": "own_customer",
        "kind": "light",
    }
    return client.post(LISTS, told | facts)


def read(client, content=CONTENT, **facts):
    hand_in(client, content, **facts)
    vehicle_list = VehicleList.objects.get()
    Counter(client.store).work(vehicle_list)
    return vehicle_list


def post(client, name, vehicle_list, **facts):
    address = reverse(f"vehicles:{name}", args=[vehicle_list.pk])
    answer = client.post(address, facts)
    vehicle_list.refresh_from_db()
    return answer


def page(client, vehicle_list, query=""):
    address = reverse("vehicles:vehicle_list", args=[vehicle_list.pk])
    return client.get(address + query)


def test_the_walk_of_a_list(office):
    assert office.get(LISTS).status_code == 200
    vehicle_list = read(office)
    text = page(office, vehicle_list).content.decode()
    for words in ("Apply one row", "comma", "the header says so", "16 characters"):
        assert words in text
    post(office, "apply_list", vehicle_list)
    assert vehicle_list.state == "applying"
    assert "being taken in" in page(office, vehicle_list).content.decode()
    Counter(office.store).work(vehicle_list)
    assert vehicle_list.state == "applied"
    assert Vehicle.objects.get().vin == invented_vin(1)
    assert "Applied: 1 new" in page(office, vehicle_list).content.decode()


def test_a_double_press_hands_in_once(office):
    key = uuid.uuid4()
    first, second = hand_in(office, key=key), hand_in(office, key=key)
    assert first.url == second.url
    assert VehicleList.objects.count() == 1


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"file": SimpleUploadedFile("list.csv", b"")}, "is empty"),
        ({"file": ""}, "This field is required"),
        ({"source": "state_records"}, "code of the campaign"),
        ({"kind": "boat"}, "not one of the available choices"),
    ],
)
def test_what_cannot_be_handed_in_is_said(office, facts, words):
    answer = hand_in(office, **facts)
    assert words in answer.content.decode()
    assert VehicleList.objects.count() == 0


def test_refused_rows_come_back_to_be_mended(office):
    vehicle_list = read(office)
    answer = office.get(reverse("vehicles:refused_rows", args=[vehicle_list.pk]))
    table = open_table(answer.content, "refused.csv")
    (row,) = table.rows()
    assert row.cells[0] == invented_vin(2)[:-1]
    assert "16 characters instead of 17" in row.cells[-1]
    mended = answer.content.replace(
        invented_vin(2)[:-1].encode(), invented_vin(2).encode()
    )
    VehicleList.objects.all().update(state="abandoned")
    again = Counter(office.store).read(mended)
    assert again.counts["new"] == 1


def test_rows_are_filtered(office):
    vehicle_list = read(office)
    shown = page(office, vehicle_list, "?state=refused").context["page_obj"]
    assert [row.row_number for row in shown] == [3]
    shown = page(office, vehicle_list, "?q=" + invented_vin(1)[-6:]).context["page_obj"]
    assert [row.row_number for row in shown] == [2]


def test_columns_are_corrected(office):
    vehicle_list = read(office)
    columns = {"column_0": "vin", "column_1": "engine"}
    post(office, "list_columns", vehicle_list, **columns)
    assert (vehicle_list.state, vehicle_list.mapping) == (
        "waiting",
        {"vin": 0, "engine": 1},
    )
    Counter(office.store).work(vehicle_list)
    assert StagedRow.objects.first().record["engine"] == "Corvane"


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"column_1": "line"}, "No column is chosen for the VIN"),
        ({"column_0": "vin", "column_1": "vin"}, "Leave one unused"),
    ],
)
def test_columns_that_cannot_be_meant_are_refused(office, columns, words):
    vehicle_list = read(office)
    answer = post(office, "list_columns", vehicle_list, **columns)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert vehicle_list.state == "staged"


def test_dates_that_can_mean_two_days_are_asked(office):
    content = csv_of(f"{invented_vin(1)},03/09/2021", headers="VIN,Build date")
    vehicle_list = read(office, content)
    assert "03/09/2021" in page(office, vehicle_list).content.decode()
    columns = {"column_0": "vin", "column_1": "build_date", "order_build_date": "day"}
    post(office, "list_columns", vehicle_list, **columns)
    Counter(office.store).work(vehicle_list)
    assert StagedRow.objects.get().record["build_date"] == "2021-09-03"


def test_the_headers_are_corrected(office):
    vehicle_list = read(office)
    answer = post(office, "list_sheet", vehicle_list, header_row="x")
    assert answer.status_code == 422
    post(office, "list_sheet", vehicle_list, header_row="0")
    assert vehicle_list.choices["header_row"] == 0


def test_model_years_are_settled_on_the_page(office):
    content = csv_of(invented_vin(1), invented_vin(2), headers="VIN")
    vehicle_list = read(office, content, kind="trailer")
    shown = page(office, vehicle_list)
    assert shown.context["two_years"] == 2
    assert "It is 1992" in shown.content.decode()
    post(office, "decide_row", vehicle_list, row=2, year=2022)
    assert vehicle_list.counts["new"] == 1
    refused = post(office, "decide_row", vehicle_list, row=3, year=2000)
    assert "1992 or 2022" in office.get(refused.url).content.decode()
    post(office, "decide_row", vehicle_list, row="x")
    post(office, "decide_all", vehicle_list, pick="x")
    assert vehicle_list.state == "staged"
    post(office, "decide_all", vehicle_list, pick="light")
    Counter(office.store).work(vehicle_list)
    assert vehicle_list.counts["new"] == 2


def test_nothing_to_apply_is_said(office):
    vehicle_list = read(office, csv_of("short", "shorter", headers="VIN"))
    answer = post(office, "apply_list", vehicle_list)
    assert "nothing to apply" in office.get(answer.url).content.decode()


def test_a_list_is_put_aside(office):
    vehicle_list = read(office)
    post(office, "abandon_list", vehicle_list)
    assert vehicle_list.state == "abandoned"
    assert "put aside" in page(office, vehicle_list).content.decode()


def test_a_list_of_another_store_is_not_there(office):
    vehicle_list = VehicleListFactory.create(state="staged")
    assert page(office, vehicle_list).status_code == 404
    for name in (
        "apply_list",
        "abandon_list",
        "list_columns",
        "decide_row",
        "decide_all",
    ):
        assert post(office, name, vehicle_list).status_code == 404
    refused = reverse("vehicles:refused_rows", args=[vehicle_list.pk])
    assert office.get(refused).status_code == 404


@pytest.mark.parametrize("role", [Role.SERVICE_ADVISOR, Role.TECHNICIAN, Role.OWNER])
def test_only_some_roles_take_lists_in(signed_in, role):
    client = signed_in(role)
    vehicle_list = VehicleListFactory.create(store=client.store, state="staged")
    assert client.get(LISTS).status_code == 403
    assert page(client, vehicle_list).status_code == 403
    assert post(client, "apply_list", vehicle_list).status_code == 403


def test_pages_ask_the_same_with_one_row_and_three(office, django_assert_num_queries):
    vehicle_list = VehicleListFactory.create(store=office.store, state="staged")
    address = reverse("vehicles:vehicle_list", args=[vehicle_list.pk])
    office.get(address)
    for rows in (1, 2):
        StagedRowFactory.create_batch(rows, vehicle_list=vehicle_list)
        VehicleListFactory.create_batch(rows, store=office.store, state="applied")
        with django_assert_num_queries(9):
            office.get(address)
        with django_assert_num_queries(7):
            office.get(LISTS)


def test_a_long_list_says_that_not_all_rows_are_shown(office):
    vehicle_list = read(office)
    words = "the first 1,000 are shown"
    assert words not in page(office, vehicle_list).content.decode()
    vehicle_list.reading["plain"] = {"new": 1_000, "same": 1}
    vehicle_list.save()
    assert words in page(office, vehicle_list).content.decode()
