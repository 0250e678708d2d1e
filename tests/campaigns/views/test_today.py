"""The first page: each kind of row comes, leads to its act, and goes after the act."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from campaigns.models import CampaignVehicle, Letter
from campaigns.queries.chores.row import MOST
from campaigns.queries.worklists import CHORES, today_rows
from campaigns.rules.lifecycle import (
    CampaignClass,
    ClaimState,
    ProposalKind,
    ReadingResult,
    RepairState,
    ReportState,
    RequestState,
    RoundKind,
    RoundState,
    VersionState,
    VisitState,
    WorkState,
)
from campaigns.views.today import address_of
from dealership.rules.roles import Role
from inventory.rules.accounts import (
    CountState,
    DisputeState,
    OrderState,
    ReturnState,
    TransferState,
)
from tests.campaigns.domain.rounds import drawn, written_to
from tests.factories import campaigns as made
from tests.factories import inventory as stock
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf
from tests.factories.vehicles import AddressFactory, VehicleFactory, VehicleListFactory
from vehicles.rules.standing import ListState, Standing


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

DAY = dt.timedelta(days=1)


@pytest.fixture
def store():
    return StoreFactory.create()


def proposal(store):
    return made.ReplenishmentFactory.create(
        store=store, kind=ProposalKind.ORDER, quantity=5, act_by=TODAY
    )


def delivery(store):
    return stock.ShipmentFactory.create(store=store, expected_on=TODAY)


def dispute(store):
    return stock.DisputeFactory.create(
        store=store, shipment_line__shipment__received_at=NOW,
        shipment_line__shipment__store=store,
    )  # fmt: skip


def boxed(store):
    return stock.GoodsReturnFactory.create(store=store)


def promised(store):
    return stock.ReservationFactory.create(store=store, needed_on=TODAY + 3 * DAY)


def late_order(store):
    return stock.OrderLineFactory.create(
        order__store=store, order__state=OrderState.SENT, expected_on=TODAY - DAY
    )


FAULT = {"rule": "sums", "row": "balance 7", "stands": 3, "should_be": 2}


def failed_proof(_store):
    return made.BookProofFactory.create(fault_count=2, faults=[FAULT])


def ready_claim(store):
    return made.ClaimFactory.create(
        repair__campaign_vehicle__vehicle__store=store,
        repair__campaign_vehicle__campaign__claims_until=TODAY + 20 * DAY,
        repair__campaign_vehicle__work_state=WorkState.REMEDIED_HERE,
    )


def unknown_fact(store):
    return open_vehicle(
        made.CampaignFactory.create(), store, work_state=WorkState.TO_VERIFY
    )


def version(_store):
    return made.CriteriaVersionFactory.create(state=VersionState.MATCHED)


def stopped(store):
    return made.CampaignVehicleFactory.create(
        campaign__stop_sale=True,
        vehicle=VehicleFactory.create(store=store, standing=Standing.NEW),
    )


def finished(store):
    return open_vehicle(
        made.CampaignFactory.create(), store, work_state=WorkState.REMEDIED_HERE
    )


def ending(store):
    campaign = made.CampaignFactory.create(claims_until=TODAY + 20 * DAY)
    return open_vehicle(campaign, store)


def report_due(store):
    """Letters in July: the third quarter's report is due on 30 October; frozen to
    the month before by its own test, so the fourth is what is asked for here."""
    return open_vehicle(
        made.CampaignFactory.create(
            campaign_class=CampaignClass.EMISSIONS, letters_on=dt.date(2026, 7, 6)
        ),
        store,
    )


def visit_today(store):
    return made.VisitJobFactory.create(visit__vehicle__store=store).visit


def visit_tomorrow(store):
    return made.VisitJobFactory.create(
        visit__vehicle__store=store, visit__on=TODAY + DAY
    ).visit


def visit_passed(store):
    return made.VisitJobFactory.create(
        visit__vehicle__store=store, visit__on=TODAY - DAY
    ).visit


def missed(store):
    return made.VisitJobFactory.create(
        visit__vehicle__store=store,
        visit__on=TODAY - 2 * DAY,
        visit__state=VisitState.MISSED,
        live=False,
    )


def offer(store):
    return made.PartRequestFactory.create(
        campaign_vehicle__vehicle__store=store, state=RequestState.OFFERED
    )


def repair(store):
    return made.RepairFactory.create(campaign_vehicle__vehicle__store=store)


def repeat(store):
    return made.CheckReadingFactory.create(
        repair__campaign_vehicle__vehicle__store=store, result=ReadingResult.REPEAT
    )


def here(store):
    return made.VisitJobFactory.create(
        visit__vehicle__store=store, visit__state=VisitState.ARRIVED
    )


def letters_due(store):
    return open_vehicle(made.CampaignFactory.create(), store)


def drawn_up(store):
    return made.LetterRoundFactory.create(store=store, state=RoundState.DRAWN_UP)


def printed(store):
    return made.LetterRoundFactory.create(store=store, state=RoundState.PRINTED)


def reminder_pays(store):
    store.labour_margin_cents = 6_000
    store.save()
    part = stock.PartFactory.create()
    put_on_shelf(store, part, 20)
    return written_to(store, part, vehicles=6).vehicles.first()


def reminded(row):
    drawn(row.campaign, row.store, key="again", kind=RoundKind.REMINDER)


def came_back(store):
    row = open_vehicle(made.CampaignFactory.create(letters_on=None), store)
    letter = made.LetterFactory.create(
        letter_round__store=store,
        letter_round__campaign=row.campaign,
        letter_round__state=RoundState.POSTED,
        campaign_vehicle=row,
        address=AddressFactory.create(undeliverable_on=TODAY),
    )
    Letter.objects.filter(pk=letter.pk).update(returned_on=TODAY, returned_why="moved")
    return letter


def staged(store):
    return VehicleListFactory.create(store=store, state=ListState.STAGED)


def billed(store):
    """A bill of January whose pieces never came: money tied up for long."""
    campaign = made.CampaignFactory.create()
    return stock.BillLineFactory.create(
        bill__store=store,
        bill__earmark=campaign.earmark,
        bill__dated=TODAY - 200 * DAY,
    )


def change(**facts):
    return lambda row: type(row).objects.filter(pk=row.pk).update(**facts)


def of(name, **facts):
    def act(row):
        other = getattr(row, name)
        type(other).objects.filter(pk=other.pk).update(**facts)

    return act


def drafted(store):
    return stock.PurchaseOrderFactory.create(store=store, state=OrderState.DRAFT)


def on_the_way(store):
    return stock.TransferFactory.create(to_store=store, expected_on=TODAY)


def prepared(store):
    return stock.StockCountFactory.create(store=store)


def entered(store):
    return stock.StockCountFactory.create(store=store, state=CountState.ENTERED)


def to_look_at(store):
    return stock.QuarantineLotFactory.create(store=store)


def lost_its_parts(store):
    job = made.VisitJobFactory.create(
        visit__vehicle__store=store, visit__on=TODAY + DAY
    )
    made.VariantPartFactory.create(variant=job.variant)
    return job


def promised_again(job):
    stock.ReservationFactory.create(store=job.visit.store, subject=job.subject)


def book_again(job):
    made.VisitJobFactory.create(
        visit__vehicle=job.visit.vehicle,
        visit__on=TODAY + 9 * DAY,
        campaign_vehicle=job.campaign_vehicle,
        variant=job.variant,
    )


def proved(_job):
    made.BookProofFactory.create()


def measured_again(row):
    made.CheckReadingFactory.create(
        repair=row.repair, check_of=row.check_of, attempt=2, result=ReadingResult.PASS
    )


def first_round(row):
    made.LetterRoundFactory.create(
        store=row.store, campaign=row.campaign, state=RoundState.POSTED
    )


def begun(job):
    made.RepairFactory.create(
        campaign_vehicle=job.campaign_vehicle, visit_job=job, variant=job.variant
    )


def credited(line):
    stock.ShipmentFactory.create(store=line.bill.store)
    line.bill.earmark = None
    line.bill.save()


ROWS = {
    "proposal": (Role.PARTS_MANAGER, proposal, TODAY, change(state="accepted")),
    "shipment": (Role.PARTS_MANAGER, delivery, TODAY, change(received_at=NOW)),
    "dispute": (
        Role.PARTS_MANAGER, dispute, TODAY + 10 * DAY,
        change(state=DisputeState.CREDITED),
    ),
    "return": (
        Role.PARTS_MANAGER, boxed, TODAY + 30 * DAY, change(state=ReturnState.SHIPPED),
    ),
    "running_out": (
        Role.PARTS_MANAGER, promised, TODAY + 3 * DAY, change(state="released"),
    ),
    "late_order": (
        Role.PARTS_MANAGER, late_order, TODAY - DAY, change(expected_on=TODAY + DAY),
    ),
    "draft": (Role.PARTS_MANAGER, drafted, None, change(state=OrderState.SENT)),
    "transfer": (
        Role.PARTS_MANAGER, on_the_way, TODAY, change(state=TransferState.ARRIVED),
    ),
    "count_prepared": (
        Role.TECHNICIAN, prepared, None, change(state=CountState.DROPPED),
    ),
    "count_entered": (
        Role.SERVICE_MANAGER, entered, None, change(state=CountState.BOOKED),
    ),
    "doubtful": (Role.SERVICE_MANAGER, to_look_at, None, change(left=0)),
    "without_parts": (
        Role.SERVICE_ADVISOR, lost_its_parts, TODAY + DAY, promised_again,
    ),
    "failed_proof": (Role.PARTS_MANAGER, failed_proof, None, proved),
    "unsent_claim": (
        Role.PARTS_MANAGER, ready_claim, TODAY + 20 * DAY,
        change(state=ClaimState.SUBMITTED),
    ),
    "to_verify": (
        Role.SERVICE_MANAGER, unknown_fact, None, change(work_state=WorkState.OPEN),
    ),
    "matched": (
        Role.SERVICE_MANAGER, version, None, change(state=VersionState.APPLIED),
    ),
    "stopped_stock": (
        Role.SERVICE_MANAGER, stopped, None, change(planned_on=TODAY + DAY),
    ),
    "claims_end_soon": (
        Role.SERVICE_MANAGER, ending, TODAY + 20 * DAY,
        change(work_state=WorkState.REMEDIED_HERE),
    ),
    "ready_to_close": (Role.SERVICE_MANAGER, finished, None, of("campaign", state="closed")),
    "overdue": (Role.SERVICE_MANAGER, visit_passed, TODAY + DAY, change(on=TODAY + DAY)),
    "visit": (
        Role.SERVICE_ADVISOR, visit_today, TODAY, change(state=VisitState.ARRIVED),
    ),
    "missed": (Role.SERVICE_ADVISOR, missed, None, book_again),
    "offer": (
        Role.SERVICE_ADVISOR, offer, None, change(state=RequestState.BOOKED),
    ),
    "repair": (Role.TECHNICIAN, repair, None, change(state=RepairState.ABANDONED)),
    "repeat": (Role.TECHNICIAN, repeat, None, measured_again),
    "arrived": (Role.TECHNICIAN, here, TODAY, begun),
    "round_due": (Role.OFFICE, letters_due, TODAY - 30 * DAY, first_round),
    "round_print": (
        Role.OFFICE, drawn_up, TODAY - 30 * DAY, change(state=RoundState.PRINTED),
    ),
    "round_post": (
        Role.OFFICE, printed, TODAY - 30 * DAY, change(state=RoundState.POSTED),
    ),
    "reminder": (Role.OFFICE, reminder_pays, None, reminded),
    "returned": (Role.OFFICE, came_back, None, change(return_step="same_address")),
    "list": (Role.OFFICE, staged, None, change(state=ListState.APPLIED)),
    "claim": (
        Role.OWNER, ready_claim, TODAY + 20 * DAY, change(state=ClaimState.PAID),
    ),
    "tied_up": (Role.OWNER, billed, TODAY + 120 * DAY, credited),
}  # fmt: skip


def chores(role, store, kind):
    groups = today_rows(staff=make_staff(role, store), store=store, today=TODAY)
    return [one for group in groups for one in group.chores if one.kind == kind]


@pytest.mark.parametrize("kind", ROWS)
def test_a_row_comes_with_reason_and_last_day_and_goes_after_its_act(store, kind):
    role, make, deadline, act = ROWS[kind]
    assert chores(role, store, kind) == []
    row = make(store)
    (chore,) = chores(role, store, kind)
    assert chore.deadline == deadline
    assert chore.reason
    assert chore.about
    assert address_of(chore.target).startswith("/")
    act(row)
    assert chores(role, store, kind) == []


@pytest.mark.parametrize("kind", ROWS)
def test_the_page_shows_the_row_and_its_act_leads_somewhere(signed_in, store, kind):
    role, make, _deadline, _act = ROWS[kind]
    make(store)
    client = signed_in(role, store)
    (chore,) = chores(role, store, kind)
    page = client.get("/").content.decode()
    assert f'data-kind="{kind}"' in page
    if not chore.press:
        assert client.get(address_of(chore.target)).status_code == 200


@pytest.mark.parametrize(
    "kind", sorted(ROWS.keys() - {"matched", "failed_proof", "ready_to_close"})
)
def test_another_stores_rows_do_not_come(store, kind):
    role, make, _deadline, _act = ROWS[kind]
    make(StoreFactory.create())
    assert chores(role, store, kind) == []


def test_a_report_is_asked_for_until_it_is_made(store):
    """Letters in July; 40 CFR 1068.525(b): quarterly, 25 days after the quarter, from
    memory. On 10 January the report of the fourth quarter is due."""
    row = report_due(store)
    service = make_staff(Role.SERVICE_MANAGER, store)
    day = dt.date(2027, 1, 10)

    def due():
        groups = today_rows(staff=service, store=store, today=day)
        return [one for g in groups for one in g.chores if one.kind == "report"]

    (chore,) = due()
    assert chore.deadline == dt.date(2027, 1, 25)
    assert chore.target.query == "as_of=2026-12-31"
    made.ReportFactory.create(
        campaign=row.campaign, store=store, as_of=dt.date(2026, 12, 31),
        state=ReportState.MADE,
    )  # fmt: skip
    assert due() == []


def test_one_press_takes_the_vehicle_in(signed_in, store):
    visit = visit_today(store)
    client = signed_in(Role.SERVICE_ADVISOR, store)
    url = reverse("campaigns:visit_arrived", args=[visit.pk])
    assert url in client.get("/").content.decode()
    assert client.post(url).status_code == 302
    assert 'data-kind="visit"' not in client.get("/").content.decode()


def test_a_visit_says_which_parts_are_not_on_the_shelf(store):
    job = made.VisitJobFactory.create(visit__vehicle__store=store)
    held = stock.ReservationFactory.create(store=store, subject=job.subject)
    (chore,) = chores(Role.SERVICE_ADVISOR, store, "visit")
    assert chore.reason == f"Not on the shelf yet: {held.part.number}"
    assert chore.detail == f"{job.campaign_vehicle.campaign.code} Replace the bolt kit"


def test_nothing_waits_is_said(signed_in, store):
    page = signed_in(Role.TECHNICIAN, store).get("/").content.decode()
    assert "Nothing waits for you today; what comes up will stand here." in page


def test_the_sentence_names_what_comes_first(signed_in, store):
    row = proposal(store)
    boxed(store)
    page = signed_in(Role.PARTS_MANAGER, store).get("/").content.decode()
    assert (
        "2 things wait for you; the first is due today: Order 5 pieces"
        f" ({row.part.number} {row.part.name})." in page
    )


def test_somebody_with_two_posts_sees_them_apart_and_no_row_twice(store):
    ready_claim(store)
    staff = make_staff(Role.PARTS_MANAGER, store)
    staff.posts.create(store=store, role=Role.SERVICE_MANAGER)
    groups = today_rows(staff=staff, store=store, today=TODAY)
    assert [group.role for group in groups] == [
        Role.PARTS_MANAGER, Role.SERVICE_MANAGER,
    ]  # fmt: skip
    kinds = [one.kind for group in groups for one in group.chores]
    assert kinds.count("unsent_claim") == 1


def test_queries_do_not_grow_with_the_rows(store):
    owner = make_staff(Role.ADMINISTRATOR, store)
    for role in CHORES:
        owner.posts.get_or_create(store=store, role=role)

    def queries():
        with CaptureQueriesContext(connection) as caught:
            today_rows(staff=owner, store=store, today=TODAY)
        return len(caught)

    makers = [make for _role, make, _deadline, _act in ROWS.values()]
    for make in makers:
        make(store)
    queries()  # the posts are read once a person
    one_each = queries()
    for _number in range(2):
        for make in makers:
            make(store)
    assert queries() == one_each


def test_a_long_list_is_cut_and_the_whole_one_is_linked(signed_in, store):
    campaign = campaign_with_remedy(stop_sale=True)
    vehicles = VehicleFactory.create_batch(MOST + 1, store=store, standing=Standing.NEW)
    CampaignVehicle.objects.bulk_create(
        CampaignVehicle(
            campaign=campaign, vehicle=one, store=store, work_state=WorkState.OPEN,
            outcome="affected", added_on=TODAY,
        )
        for one in vehicles
    )  # fmt: skip
    page = signed_in(Role.SERVICE_MANAGER, store).get("/").content.decode()
    assert page.count('data-kind="stopped_stock"') == MOST
    assert "Only the first 50 of a kind stand here." in page
