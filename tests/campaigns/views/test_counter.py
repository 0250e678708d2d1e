"""The counter and the booking form, as an advisor meets them."""

import datetime as dt
import re
import uuid

import pytest
from django.urls import reverse

from campaigns.models import PartRequest, Visit
from campaigns.rules.lifecycle import CampaignClass, CampaignState, WorkState
from dealership.rules.roles import Role
from inventory.models import Reservation
from tests.factories.campaigns import (
    CampaignVehicleFactory,
    NoticeGivenFactory,
    PartRequestFactory,
    RemedyFactory,
    ScheduledItemFactory,
    StateChangeFactory,
    VisitFactory,
)
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
    variant_with_parts,
)
from tests.factories.vehicles import PartyFactory, TenureFactory, VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


def counter_of(row: object) -> str:
    return reverse("campaigns:counter", args=[row.vehicle.vin])


def book_url(row: object) -> str:
    return reverse("campaigns:book", args=[row.vehicle.vin])


def booking(row: object, **facts: object) -> dict[str, object]:
    return {
        "key": str(uuid.uuid4()),
        "jobs": [f"campaign-{row.pk}"],
        "day": TODAY.isoformat(),
        "who": "Pernille Ashdown",
        **facts,
    }


def asking(row: object, **facts: object) -> dict[str, object]:
    named = {
        "key": str(uuid.uuid4()),
        "campaign_vehicle": row.pk,
        "who": "P. A.",
        **facts,
    }
    return {f"c{row.pk}-{name}": value for name, value in named.items()}


def test_what_is_open_comes_before_what_was(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    announce(client.store, part, 3, on=TODAY)
    row = open_vehicle(campaign_with_remedy(part, stop_sale=True), client.store)
    row.vehicle.standing = Standing.NEW
    row.vehicle.save()
    VisitFactory.create(vehicle=row.vehicle, state="missed")
    StateChangeFactory.create(campaign_vehicle=row)
    NoticeGivenFactory.create(vehicle=row.vehicle)

    said = client.get(counter_of(row)).content.decode()

    in_order = [
        "Do not deliver; 1 campaign is open",
        "Safety recall: ",
        "Do not deliver: a new vehicle in a safety recall",
        "Safety: tell the customer now",
        "What is done",
        "0.80 h",
        "from Fri 27 Nov 2026",  # Thursday is Thanksgiving Day, 5 USC 6103(a)
        "Visits</caption>",
        "Notices given</caption>",
        "Changes</caption>",
    ]
    places = [said.find(words) for words in in_order]
    assert -1 not in places
    assert places == sorted(places)


def test_the_page_says_first_what_matters(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(client.store, part, 3)
    row = open_vehicle(campaign, client.store)
    owner = PartyFactory.create(store=client.store)
    TenureFactory.create(vehicle=row.vehicle, party=owner)

    page = client.get(counter_of(row))

    said = page.content.decode()
    assert page.status_code == 200
    assert f"1 campaign is open: book {campaign.code} for Wed 25 Nov 2026." in said
    for words in (
        "Safety recall",
        "Safety: tell the customer now",
        "Covered: the manufacturer pays (the vehicle is within the limits)",
        "here, 3 free",
        "0.80 h",
        owner.name,
        "Support the seat before the last bolt is out.",
        "instructions come before anything said here",
        f"Book {campaign.code} for Wed 25 Nov 2026",
    ):
        assert words in said


@pytest.mark.parametrize(
    ("facts", "standing", "words"),
    [
        ({}, Standing.NEW, "Do not deliver: a new vehicle in a safety recall"),
        (
            {"campaign_class": CampaignClass.SATISFACTION, "stop_sale": True},
            Standing.NEW,
            "Do not deliver: the manufacturer has stopped the sale",
        ),
        ({}, Standing.USED, "Check state law and your agreements"),
    ],
)
def test_stock_says_whether_it_may_be_delivered(signed_in, facts, standing, words):
    client = signed_in(Role.SERVICE_ADVISOR)
    row = open_vehicle(campaign_with_remedy(**facts), client.store)
    row.vehicle.standing = standing
    row.vehicle.save()

    said = client.get(counter_of(row)).content.decode()

    assert words in said


def test_to_be_verified_is_said_as_such_and_not_booked(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    put_on_shelf(client.store, part, 1)
    row = open_vehicle(
        campaign_with_remedy(part), client.store, work_state=WorkState.TO_VERIFY
    )

    said = client.get(counter_of(row)).content.decode()
    answer = client.post(book_url(row), booking(row))

    assert "To be verified: nobody knows yet" in said
    assert "Put on the waiting list" not in said
    assert answer.status_code == 409
    assert "still to be verified" in answer.content.decode().replace("\n", " ")
    assert Visit.objects.count() == 0


def test_one_press_records_the_request_and_shows_the_place(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    campaign = campaign_with_remedy()
    PartRequestFactory.create(
        campaign_vehicle=open_vehicle(campaign, client.store),
        asked_on=TODAY - dt.timedelta(days=4),
    )
    row = open_vehicle(campaign, client.store)
    sent = asking(row, contact="+1 217 555 0134")

    for _ in range(2):
        answer = client.post(
            reverse("campaigns:request_remedy", args=[row.vehicle.vin]), sent
        )

    assert answer.status_code == 302
    request = PartRequest.objects.get(campaign_vehicle=row)
    assert (request.who, request.contact) == ("P. A.", "+1 217 555 0134")
    row.refresh_from_db()
    assert row.first_asked_on == TODAY
    assert "place 2 of 2" in client.get(counter_of(row)).content.decode()


def test_a_second_request_is_refused_in_words(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    row = open_vehicle(campaign_with_remedy(), client.store)
    PartRequestFactory.create(campaign_vehicle=row)

    answer = client.post(
        reverse("campaigns:request_remedy", args=[row.vehicle.vin]), asking(row)
    )

    assert answer.status_code == 409
    assert "on the waiting list since 2026-11-25" in answer.content.decode()
    assert PartRequest.objects.count() == 1


def test_booking_holds_the_parts_and_a_double_submit_makes_one_visit(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    put_on_shelf(client.store, part, 2)
    row = open_vehicle(campaign_with_remedy(part), client.store)
    form = client.get(book_url(row))
    assert "Wed 25 Nov 2026 · 0.00 of 40.00 h" in form.content.decode()
    sent = booking(row, hour="09:30")

    answers = [client.post(book_url(row), sent) for _ in range(2)]

    visit = Visit.objects.get()
    assert [answer["Location"] for answer in answers] == [
        reverse("campaigns:visit", args=[visit.pk])
    ] * 2
    assert (visit.on, visit.at) == (TODAY, dt.time(9, 30))
    assert Reservation.objects.get().quantity == 1


def test_the_counter_and_the_visit_say_which_number_it_is(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    store = client.store
    new = PartFactory.create()
    old = PartFactory.create(superseded_by=new)
    campaign = campaign_with_remedy(new)
    put_on_shelf(store, old, 1, campaign.earmark)
    put_on_shelf(store, new, 2)
    row = open_vehicle(campaign, store)

    page = client.get(counter_of(row)).content.decode()
    assert "here, 3 free" in page
    assert f"1 of them {old.number}, which serves too" in page

    client.post(book_url(row), booking(row))
    visit = Visit.objects.get()
    page = client.get(reverse("campaigns:visit", args=[visit.pk])).content.decode()
    assert f"{old.number} · held on the shelf" in page


def test_who_comes_second_learns_the_earliest_day(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    put_on_shelf(client.store, part, 1)
    announce(client.store, part, 1, on=TODAY + dt.timedelta(days=5))
    campaign = campaign_with_remedy(part)
    first, second = (open_vehicle(campaign, client.store) for _ in range(2))
    client.post(book_url(first), booking(first))

    answer = client.post(book_url(second), booking(second))

    assert answer.status_code == 409
    assert "The earliest day is 2026-12-01." in answer.content.decode()
    assert Visit.objects.count() == 1


def test_a_remedied_vehicle_is_refused_by_name(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    campaign = campaign_with_remedy()
    row = open_vehicle(campaign, client.store, work_state=WorkState.REMEDIED_HERE)

    answer = client.post(book_url(row), booking(row))

    assert answer.status_code == 409
    said = answer.content.decode()
    assert f"Campaign {campaign.code} is “remedied here”" in said
    assert row.vehicle.vin in said


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"jobs": []}, "Choose at least one job."),
        ({"day": "2026-11-24"}, "2026-11-24 has passed"),
        ({"day": "32nd of May"}, "Select a valid choice"),
        ({"day": "other"}, "Enter the day."),
        ({"day": "other", "other_day": "2062-11-25"}, "more than a year ahead"),
        ({"day": "other", "other_day": "tomorrow"}, "Enter a valid date"),
        ({"key": "not a key"}, "Enter a valid UUID"),
        ({"hour": "25:00"}, "Enter a valid time"),
    ],
)
def test_bad_input_is_said_and_nothing_is_booked(signed_in, facts, words):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    put_on_shelf(client.store, part, 1)
    row = open_vehicle(campaign_with_remedy(part), client.store)

    answer = client.post(book_url(row), booking(row, **facts))

    assert answer.status_code == 409
    said = answer.content.decode()
    assert words in said
    assert "Pernille Ashdown" in said
    assert (Visit.objects.count(), Reservation.objects.count()) == (0, 0)


def test_a_due_item_is_shown_and_booked_with_the_campaign(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    put_on_shelf(client.store, part, 2)
    item = ScheduledItemFactory.create(due_after_months=24)
    variant_with_parts(RemedyFactory.create(campaign=None, scheduled_item=item), part)
    row = open_vehicle(campaign_with_remedy(part), client.store)

    said = client.get(counter_of(row)).content.decode()
    # first used on 2022-01-20: due 24 months later
    assert "Scheduled work that is due; the customer pays" in said
    assert "2024-01-20" in said
    client.post(
        book_url(row), booking(row, jobs=[f"campaign-{row.pk}", f"item-{item.pk}"])
    )

    assert Visit.objects.get().jobs.count() == 2
    assert Reservation.objects.count() == 2


def test_drafts_are_nobodys_news(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    row = open_vehicle(campaign_with_remedy(state=CampaignState.DRAFT), client.store)

    assert row.campaign.code not in client.get(counter_of(row)).content.decode()


def test_another_store_and_an_unknown_vin_are_not_found(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    row = open_vehicle(campaign_with_remedy(), StoreFactory.create())

    assert client.get(counter_of(row)).status_code == 404
    assert client.post(book_url(row), booking(row)).status_code == 404
    assert (
        client.post(
            reverse("campaigns:request_remedy", args=[row.vehicle.vin]), asking(row)
        ).status_code
        == 404
    )
    assert client.get(reverse("campaigns:counter", args=["X" * 17])).status_code == 404


def test_a_technician_looks_but_does_not_book(signed_in):
    client = signed_in(Role.TECHNICIAN)
    part = PartFactory.create()
    put_on_shelf(client.store, part, 1)
    row = open_vehicle(campaign_with_remedy(part), client.store)

    page = client.get(counter_of(row))

    assert page.status_code == 200
    assert "Book a visit" not in page.content.decode()
    assert client.post(book_url(row), booking(row)).status_code == 403
    answer = client.post(
        reverse("campaigns:request_remedy", args=[row.vehicle.vin]), asking(row)
    )
    assert answer.status_code == 403
    assert (
        client.get(reverse("campaigns:book", args=[row.vehicle.vin])).status_code == 403
    )


def test_withdrawal_wants_a_reason(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    row = open_vehicle(campaign_with_remedy(), client.store)
    request = PartRequestFactory.create(campaign_vehicle=row)
    url = reverse("campaigns:withdraw_request", args=[request.pk])

    client.post(url, {"why": ""})
    request.refresh_from_db()
    assert request.state == "waiting"
    client.post(url, {"why": "Sold the vehicle"})
    request.refresh_from_db()
    assert request.state == "withdrawn"
    other = PartRequestFactory.create()
    foreign = reverse("campaigns:withdraw_request", args=[other.pk])
    assert client.post(foreign, {"why": "x"}).status_code == 404


@pytest.mark.parametrize("page", ["counter", "book"])
def test_one_campaign_or_three_take_the_same_queries(
    signed_in, page, django_assert_num_queries
):
    client = signed_in(Role.SERVICE_ADVISOR)
    parts = PartFactory.create_batch(3)
    first = open_vehicle(campaign_with_remedy(parts[0]), client.store)
    many = open_vehicle(campaign_with_remedy(parts[0]), client.store)
    for part in parts[1:]:
        CampaignVehicleFactory.create(
            campaign=campaign_with_remedy(part), vehicle=many.vehicle
        )
        put_on_shelf(client.store, part, 1)
    for row in (first, *many.vehicle.campaigns.all()):
        PartRequestFactory.create(
            campaign_vehicle=open_vehicle(row.campaign, client.store)
        )
    queries = {"counter": COUNTER_QUERIES, "book": BOOK_QUERIES}[page]

    for row in (first, many):
        with django_assert_num_queries(queries):
            url = reverse(f"campaigns:{page}", args=[row.vehicle.vin])
            assert client.get(url).status_code == 200


COUNTER_QUERIES = 44
BOOK_QUERIES = 44


def test_own_stock_has_no_owner_to_name(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    vehicle = VehicleFactory.create(store=client.store, standing=Standing.NEW)
    row = CampaignVehicleFactory.create(
        campaign=campaign_with_remedy(), vehicle=vehicle
    )

    said = client.get(counter_of(row)).content.decode()

    assert "<dt>Owner</dt>" not in said
    assert "new stock" in said


def test_the_main_act_is_reached_with_the_tab_key(signed_in):
    client = signed_in(Role.SERVICE_ADVISOR)
    part = PartFactory.create()
    put_on_shelf(client.store, part, 1)
    row = open_vehicle(campaign_with_remedy(part), client.store)

    said = client.get(counter_of(row)).content.decode()
    form = client.get(book_url(row)).content.decode()

    # native links and buttons in the order of the page: nothing else takes the focus
    assert f'<a class="button button-main" href="{book_url(row)}">' in said
    assert '<button class="button button-main" type="submit">Book the visit' in form
    for page in (said, form):
        assert set(re.findall(r'tabindex="([^"]*)"', page)) <= {"-1"}
        assert "onclick" not in page
