"""The one box: whatever is typed or scanned leads to its page."""

import pytest
from django.urls import reverse

from campaigns.rules.lifecycle import CampaignState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    LetterFactory,
    RepairFactory,
)
from tests.factories.dealership import StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle
from tests.factories.vehicles import (
    PartyFactory,
    TenureFactory,
    VehicleFactory,
    invented_vin,
)


pytestmark = pytest.mark.django_db

FIND = "/find/"


def counter(vin: str) -> str:
    return reverse("campaigns:counter", args=[vin])


@pytest.mark.parametrize(
    "typed",
    [
        "{vin}",
        "*{vin}*",  # a door-jamb bar code
        "*I{vin}*",  # the same on an imported vehicle
        "i{vin_low}",
        " {vin_low} ",
        "{tail}",
        "KLR 7781",
        "klr 7781",
        "Runa Fjelstad",
        "runa",
    ],
)
def test_enter_goes_to_the_vehicle(signed_in, typed):
    client = signed_in(Role.SERVICE_ADVISOR)
    vehicle = VehicleFactory.create(store=client.store, plate="KLR 7781")
    VehicleFactory.create(store=client.store)
    party = PartyFactory.create(store=client.store, name="Runa Fjelstad")
    TenureFactory.create(vehicle=vehicle, party=party)
    text = typed.format(
        vin=vehicle.vin, vin_low=vehicle.vin.lower(), tail=vehicle.vin_tail
    )

    answer = client.get(FIND, {"q": text})

    assert (answer.status_code, answer.headers.get("Location")) == (
        302,
        counter(vehicle.vin),
    )


def test_enter_goes_to_campaign_part_repair_and_letter(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create(code="C-917", maker_number="OW26-917")
    part = PartFactory.create(number="OW-88110")
    row = open_vehicle(campaign_with_remedy(), client.store)
    repair = RepairFactory.create(
        repair_order="RO77123",
        campaign_vehicle=row,
        variant=row.campaign.remedy.variants.get(),
    )
    letter = LetterFactory.create(letter_round__store=client.store, code="LK4R77Q2")
    for typed, url in (
        ("c-917", reverse("campaigns:campaign", args=["C-917"])),
        ("OW26-917", reverse("campaigns:campaign", args=[campaign.code])),
        ("ow-88110", reverse("inventory:part", args=[part.pk])),
        ("RO77123", reverse("campaigns:repair", args=[repair.pk])),
        ("LK4R77Q2", counter(letter.campaign_vehicle.vehicle.vin)),
    ):
        assert client.get(FIND, {"q": typed}).headers.get("Location") == url


@pytest.mark.parametrize("typed", ["{tail}", "nel 442", "aldous f", "NEL"])
def test_answers_come_while_one_types(signed_in, typed):
    client = signed_in(Role.SERVICE_ADVISOR)
    vehicle = VehicleFactory.create(store=client.store, plate="NEL 442")
    party = PartyFactory.create(store=client.store, name="Aldous Fennmark")
    TenureFactory.create(vehicle=vehicle, party=party)
    row = open_vehicle(campaign_with_remedy(), client.store)
    repair = RepairFactory.create(
        repair_order="NEL-RO-9",
        campaign_vehicle=row,
        variant=row.campaign.remedy.variants.get(),
    )

    answer = client.get(
        FIND,
        {"q": typed.format(tail=vehicle.vin_tail)},
        headers={"HX-Request": "true"},
    )

    said = answer.content.decode()
    expected = {
        "NEL": reverse("campaigns:repair", args=[repair.pk]),
    }.get(typed, counter(vehicle.vin))
    assert f'class="answer" href="{expected}"' in said
    assert said.count('class="answer"') == 1


def test_several_equal_answers_are_listed_and_a_person_chooses(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    vehicles = VehicleFactory.create_batch(2, store=client.store)
    for vehicle in vehicles:
        party = PartyFactory.create(store=client.store, name="Odd Bergmark")
        TenureFactory.create(vehicle=vehicle, party=party)

    page = client.get(FIND, {"q": "odd bergmark"})

    said = page.content.decode()
    assert page.status_code == 200
    assert "2 answers for “odd bergmark”: choose one." in said
    for vehicle in vehicles:
        assert f'href="{counter(vehicle.vin)}"' in said


def test_live_answers_are_a_fragment_that_says_what_is_open(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    campaign = campaign_with_remedy()
    row = open_vehicle(campaign, client.store)
    draft = campaign_with_remedy(state=CampaignState.DRAFT)
    row_in_draft = open_vehicle(draft, client.store)
    assert row_in_draft.pk

    answer = client.get(
        FIND, {"q": row.vehicle.vin_tail}, headers={"HX-Request": "true"}
    )

    said = answer.content.decode()
    assert answer.status_code == 200
    assert said.startswith('<div id="answers"')
    assert f"open: {campaign.code}" in said
    assert draft.code not in said
    assert "<html" not in said


def test_an_unknown_vin_says_what_the_check_digit_tells(signed_in):
    advisor, technician = signed_in(Role.SERVICE_ADVISOR), signed_in(Role.TECHNICIAN)
    # 49 CFR 565.15(c): 1M8GDM9AXKP042788 has the right check digit (published example)
    right, wrong = "1M8GDM9AXKP042788", "1M8GDM9A1KP042788"
    register = f"{reverse('vehicles:new_vehicle')}?vin={right}"

    said = advisor.get(FIND, {"q": right}).content.decode()
    assert (
        f"No vehicle with the VIN {right} is known here; compare it with the papers."
        in said
    )
    assert "The check digit is right" in said
    assert register in said
    assert "Choose one." not in said
    assert register not in technician.get(FIND, {"q": right}).content.decode()
    refused = advisor.get(FIND, {"q": wrong}).content.decode()
    assert "The check digit at position 9 is “1” where" in refused
    assert "new/?vin=" not in refused


def test_other_stores_stay_out_of_sight(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    other = StoreFactory.create()
    vehicle = VehicleFactory.create(store=other, plate="ZZZ 999")
    party = PartyFactory.create(store=other, name="Halvard Nyqvist")
    TenureFactory.create(vehicle=vehicle, party=party)

    for typed in (vehicle.vin_tail, "ZZZ 999", "Halvard Nyqvist"):
        page = client.get(FIND, {"q": typed})
        assert page.status_code == 200
        assert counter(vehicle.vin) not in page.content.decode()
    said = client.get(FIND, {"q": vehicle.vin}).content.decode()
    assert "looked after by another store of the group" in said
    assert "vin=" not in said
    assert other.name not in said


@pytest.mark.parametrize("typed", ["", "   ", "%", "' OR 1=1 --", "\x00", "é" * 5000])
def test_strange_text_finds_nothing_and_breaks_nothing(signed_in, typed):
    client = signed_in(Role.SERVICE_ADVISOR)
    VehicleFactory.create(store=client.store)

    page = client.get(FIND, {"q": typed})

    assert page.status_code == 200
    assert "Find" in page.content.decode()


def test_a_short_text_finds_only_a_whole_number(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    CampaignFactory.create(code="Q7")
    CampaignFactory.create(code="Q71")

    assert client.get(FIND, {"q": "q7"}).headers["Location"] == reverse(
        "campaigns:campaign", args=["Q7"]
    )


def test_one_answer_or_three_take_the_same_queries(
    signed_in, django_assert_num_queries
):
    client = signed_in(Role.SERVICE_ADVISOR)
    one = open_vehicle(campaign_with_remedy(), client.store).vehicle
    lone = PartyFactory.create(store=client.store, name="Solveig Thrane")
    TenureFactory.create(vehicle=one, party=lone)
    for serial in range(3):
        row = open_vehicle(campaign_with_remedy(), client.store)
        party = PartyFactory.create(store=client.store, name=f"Aksel Thrane-{serial}")
        TenureFactory.create(vehicle=row.vehicle, party=party)
    assert invented_vin(1) != one.vin
    live = {"HX-Request": "true"}

    for typed in ("Solveig", "Aksel"):
        with django_assert_num_queries(13):
            assert client.get(FIND, {"q": typed}, headers=live).status_code == 200
