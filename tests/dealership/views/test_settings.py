import pytest
from django.urls import reverse
from rest_framework.authtoken.models import Token

from dealership.models import AuditEntry, Store
from dealership.rules.roles import Role
from tests.factories.dealership import (
    NOW,
    AuditEntryFactory,
    JobFactory,
    StoreFactory,
    WorkerBeatFactory,
)


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

STORE = {
    "name": "Harrow Lane Motors",
    "street": "4 Harrow Lane",
    "city": "Tannersby",
    "region": "IL",
    "postal_code": "60000",
    "country": "us",
    "phone": "+1 217 555 0100",
    "email": "desk@harrow.example",
    "letter_signed_by": "Mira Soldan",
    "time_zone": "America/Chicago",
    "market": "US",
    "paper": "a4",
    "letter_fold_thousandths": "4000",
    "letter_form": "din_a",
    "mailer_id": "912345678",
    "mail_service": "700",
    "labour_rate_cents": "$152.50",
    "parts_handling_basis_points": "27.5",
    "bays": "6",
    "workshop_hours_per_day": "40",
    "review_days": "7",
    "no_show_grace_days": "3",
}


def test_the_first_page_says_how_the_store_stands(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)

    response = client.get(reverse("dealership:settings"))

    assert response.context["people"] == 1
    assert response.context["store"] == client.store
    assert response.context["handling"] == 0.3
    assert not response.context["may_edit"]


COSTS = {
    "second_visit_cents": "90",
    "labour_margin_cents": "$60.00",
    "lost_share_basis_points": "25",
    "order_cost_cents": "12.50",
    "return_freight_cents": "0",
    "letter_cost_cents": "1.35",
    "service_limit_basis_points": "99",
    "show_rate_basis_points": "88",
}


def test_costs_of_ordering_are_kept_and_told(signed_in):
    client = signed_in(Role.ADMINISTRATOR)
    page = reverse("dealership:ordering")
    assert not client.get(page).context["with_costs"]

    response = client.post(reverse("dealership:edit_ordering"), COSTS)

    assert response.url == page
    store = Store.objects.get(pk=client.store.pk)
    assert (store.second_visit_cents, store.labour_margin_cents) == (9_000, 6_000)
    assert (store.order_cost_cents, store.service_limit_basis_points) == (1_250, 9_900)
    assert store.letter_cost_cents == 135
    told = client.get(page)
    assert told.context["with_costs"]
    assert told.context["shares"] == {"lost": 0.25, "limit": 0.99, "show": 0.88}
    assert AuditEntry.objects.get(act="store.changed").after["order_cost_cents"] == 1250


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"service_limit_basis_points": "99.5"}, "service_limit_basis_points"),
        ({"service_limit_basis_points": "49"}, "service_limit_basis_points"),
        ({"labour_margin_cents": ""}, "labour_margin_cents"),
        ({"second_visit_cents": ""}, "second_visit_cents"),
        ({"show_rate_basis_points": "101"}, "show_rate_basis_points"),
    ],
)
def test_costs_that_do_not_fit_are_refused(signed_in, facts, field):
    client = signed_in(Role.ADMINISTRATOR)

    response = client.post(reverse("dealership:edit_ordering"), COSTS | facts)

    assert list(response.context["form"].errors) == [field]
    assert Store.objects.get(pk=client.store.pk).second_visit_cents is None


def test_an_administrator_changes_the_store(signed_in):
    client = signed_in(Role.ADMINISTRATOR)

    response = client.post(reverse("dealership:edit_store"), STORE)

    store = Store.objects.get(pk=client.store.pk)
    assert response.url == reverse("dealership:settings")
    assert (store.labour_rate_cents, store.parts_handling_basis_points) == (
        15_250,
        2_750,
    )
    assert (store.country, store.paper, store.no_show_grace_days) == ("US", "a4", 3)
    entry = AuditEntry.objects.get(act="store.changed")
    assert (entry.by, entry.store) == (client.staff, store)
    assert entry.before["labour_rate_cents"] == 14_000
    assert entry.after["labour_rate_cents"] == 15_250


def test_what_cannot_be_read_is_told_and_what_was_typed_is_kept(signed_in):
    client = signed_in(Role.ADMINISTRATOR)
    wrong = STORE | {
        "labour_rate_cents": "a lot",
        "time_zone": "Tannersby",
        "market": "USA",
        "parts_handling_basis_points": "140",
    }

    response = client.post(reverse("dealership:edit_store"), wrong)

    form = response.context["form"]
    assert set(form.errors) == {
        "labour_rate_cents",
        "time_zone",
        "market",
        "parts_handling_basis_points",
    }
    assert b'value="a lot"' in response.content
    assert not AuditEntry.objects.exists()


def test_the_form_shows_the_store_as_it_stands(signed_in):
    client = signed_in(Role.ADMINISTRATOR)

    response = client.get(reverse("dealership:edit_store"))

    assert response.context["form"]["labour_rate_cents"].value() == "140.00"
    assert response.context["form"]["parts_handling_basis_points"].value() == "30"


@pytest.mark.parametrize("count", [1, 3])
def test_the_trail_shows_acts_of_ones_stores(
    signed_in, count, django_assert_num_queries
):
    client = signed_in(Role.SERVICE_MANAGER)
    entries = AuditEntryFactory.create_batch(count, store=client.store)
    AuditEntryFactory.create()  # in another store

    with django_assert_num_queries(8):
        response = client.get(reverse("dealership:trail"))

    assert list(response.context["page_obj"]) == entries[::-1]


def test_the_trail_is_filtered_by_act_row_and_day(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    wanted = AuditEntryFactory.create(
        store=client.store, act="upload.kept", subject="dealership.upload:1"
    )
    AuditEntryFactory.create(store=client.store)

    for question in (
        {"act": "upload.kept"},
        {"subject": "dealership.upload:1"},
        {"act": "upload.kept", "since": "2026-11-25"},
    ):
        response = client.get(reverse("dealership:trail"), question)
        assert list(response.context["page_obj"]) == [wanted]
    response = client.get(reverse("dealership:trail"), {"since": "2026-11-26"})
    assert list(response.context["page_obj"]) == []


@pytest.mark.parametrize("count", [1, 3])
def test_background_work_lists_jobs_of_ones_stores(
    signed_in, count, django_assert_num_queries
):
    client = signed_in(Role.SERVICE_MANAGER)
    WorkerBeatFactory.create()
    jobs = JobFactory.create_batch(count, store=client.store)
    JobFactory.create()  # in another store

    with django_assert_num_queries(10):
        response = client.get(reverse("dealership:work"))

    assert {card.job for card in response.context["cards"]} == set(jobs)
    assert response.context["under_way"] == count


def test_a_failed_job_says_why_and_offers_another_try(signed_in):
    client = signed_in(Role.ADMINISTRATOR)
    job = JobFactory.create(
        store=client.store, state="failed", finished_at=NOW, error="The disk is full."
    )

    response = client.get(reverse("dealership:work"))

    assert b"The disk is full." in response.content
    assert reverse("dealership:job_requeue", args=[job.pk]).encode() in response.content
    client.post(reverse("dealership:job_requeue", args=[job.pk]))
    job.refresh_from_db()
    assert job.state == "waiting"


def test_a_key_is_made_shown_once_and_ended(signed_in):
    client = signed_in(Role.TECHNICIAN)

    made = client.post(reverse("dealership:new_token"))
    key = Token.objects.get(user=client.staff).key
    again = client.get(reverse("dealership:token"))

    assert key.encode() in made.content
    assert "no-store" in made.headers["Cache-Control"]
    assert key.encode() not in again.content
    client.post(reverse("dealership:end_token"))
    assert not Token.objects.exists()
    assert list(AuditEntry.objects.order_by("id").values_list("act", flat=True)) == [
        "staff.token_made",
        "staff.token_dropped",
    ]


def test_another_key_ends_the_one_before(signed_in):
    client = signed_in(Role.TECHNICIAN)
    client.post(reverse("dealership:new_token"))
    first = Token.objects.get().key

    client.post(reverse("dealership:new_token"))

    assert Token.objects.get().key != first


def test_places_are_those_of_the_role(signed_in):
    def places(role):
        response = signed_in(role, StoreFactory.create()).get(
            reverse("dealership:token")
        )
        return [place.label for place in response.context["setting_places"]]

    assert places(Role.TECHNICIAN) == ["Key for programs"]
    assert places(Role.OWNER) == [
        "Store",
        "Costs of ordering",
        "Staff",
        "Trail",
        "Background work",
        "Key for programs",
    ]
