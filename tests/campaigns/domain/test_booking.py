"""Booking against shelf, deliveries and the waiting list."""

import datetime as dt

import pytest
from django.db import IntegrityError

from campaigns.domain.booking import (
    DayNotPossible,
    NothingToDo,
    NotYetDue,
    OtherStore,
    PartsNotThere,
    ToBeVerified,
    VisitCannotMove,
    book_visit,
    cancel_visit,
    drop_jobs,
    lapse_missed,
    mark_arrived,
    mark_missed,
    move_visit,
)
from campaigns.domain.requests import (
    AlreadyBooked,
    InTheWorkshop,
    NothingOpen,
    record_request,
)
from campaigns.models import (
    CampaignVehicle,
    PartRequest,
    ScheduledItem,
    VariantPart,
    Visit,
    VisitJob,
)
from campaigns.queries.remedies import NoRemedy, plan_for
from campaigns.rules.lifecycle import (
    Payer,
    RequestState,
    VisitState,
    WorkState,
)
from dealership.models import AuditEntry, Store
from inventory.models import Balance, Reservation
from inventory.rules.accounts import ReservationState
from tests.factories.campaigns import (
    CampaignVehicleFactory,
    RemedyFactory,
    RepairFactory,
    ScheduledItemFactory,
    VariantPartFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
    variant_with_parts,
)
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db

MONDAY = dt.date(2026, 11, 30)
TUESDAY = dt.date(2026, 12, 1)


def book(
    *jobs: CampaignVehicle | ScheduledItem, key: str = "visit-key", **facts: object
) -> Visit:
    """Book the first job's vehicle; ``facts`` change what is asked."""
    vehicle = next(
        (one.vehicle for one in jobs if isinstance(one, CampaignVehicle)), None
    )
    asked: dict[str, object] = {
        "vehicle": vehicle,
        "store": vehicle.store if vehicle else None,
        "on": TODAY,
        "by": StaffFactory.create(),
        "at": NOW,
        "today": TODAY,
        **facts,
    }
    return book_visit(key=key, jobs=jobs, **asked)  # type: ignore[arg-type]


def held(visit: Visit) -> list[tuple[str, int, str]]:
    """Give (part number, pieces, state) of what is promised to a visit."""
    subjects = [job.subject for job in visit.jobs.all()]
    rows = Reservation.objects.filter(subject__in=subjects).order_by("part__number")
    return list(rows.values_list("part__number", "quantity", "state"))


def free(store: Store, part: object) -> int:
    return sum(
        Balance.objects.filter(store=store, part=part).values_list("free", flat=True)
    )


def test_booking_holds_the_parts_and_keeps_who_asked() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=2)
    put_on_shelf(store, part, 5, campaign.earmark)
    row = open_vehicle(campaign, store)

    visit = book(row, on=MONDAY, who="Pernille Ashdown", contact="+1 217 555 0134")

    assert (visit.on, visit.state, visit.who) == (MONDAY, "booked", "Pernille Ashdown")
    assert held(visit) == [(part.number, 2, ReservationState.HELD)]
    assert free(store, part) == 3
    row.refresh_from_db()
    assert row.first_asked_on == TODAY
    request = PartRequest.objects.get()
    assert (request.state, request.met_at_once) == (RequestState.BOOKED, True)
    assert AuditEntry.objects.filter(act="visit.booked", store=store).count() == 1


def test_own_earmark_goes_before_common_stock() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=2)
    put_on_shelf(store, part, 1, campaign.earmark)
    put_on_shelf(store, part, 4)

    book(open_vehicle(campaign, store))

    pockets = Balance.objects.filter(store=store, part=part).order_by("earmark")
    left = {one.earmark_id: (one.free, one.held) for one in pockets}
    assert left == {campaign.earmark_id: (0, 1), None: (3, 1)}


def test_the_same_key_twice_makes_one_visit() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 5)
    row = open_vehicle(campaign, store)

    first, second = book(row), book(row)

    assert first == second
    assert Visit.objects.count() == 1
    assert free(store, part) == 4
    assert PartRequest.objects.count() == 1


def test_a_remedied_vehicle_is_refused_by_name() -> None:
    campaign = campaign_with_remedy()
    row = open_vehicle(
        campaign, StoreFactory.create(), work_state=WorkState.REMEDIED_HERE
    )

    with pytest.raises(NothingOpen) as refusal:
        book(row)

    assert refusal.value.sentence == (
        f"Campaign {campaign.code} is “remedied here” for vehicle {row.vehicle.vin}, so"
        " there is nothing to book or to ask for. Look at its history before you go on."
    )
    assert Visit.objects.count() == 0


def test_the_last_piece_goes_to_one_of_two_and_the_other_learns_the_day() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 1, campaign.earmark)
    announce(store, part, 10, on=MONDAY, earmark=campaign.earmark)
    first, second = open_vehicle(campaign, store), open_vehicle(campaign, store)
    book(first, key="a")

    with pytest.raises(PartsNotThere) as refusal:
        book(second, key="b")

    # what comes on a Monday counts from the opening of Tuesday
    assert refusal.value.earliest == TUESDAY
    assert "2026-12-01" in refusal.value.sentence
    assert Visit.objects.count() == 1
    assert Reservation.objects.count() == 1
    second.refresh_from_db()
    assert second.first_asked_on is None


def test_a_delivery_on_its_way_can_be_promised() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    announce(store, part, 1, on=MONDAY, earmark=campaign.earmark)
    row, other = open_vehicle(campaign, store), open_vehicle(campaign, store)

    visit = book(row, on=TUESDAY)

    assert held(visit) == [(part.number, 1, ReservationState.PROMISED)]
    with pytest.raises(PartsNotThere) as refusal:
        book(other, on=TUESDAY, key="other")
    assert refusal.value.earliest is None
    assert "waiting list" in refusal.value.sentence


def test_a_remedy_of_two_parts_is_held_whole_or_not_at_all() -> None:
    store, here, gone = (
        StoreFactory.create(),
        PartFactory.create(),
        PartFactory.create(),
    )
    campaign = campaign_with_remedy(here, gone)
    put_on_shelf(store, here, 3)
    row = open_vehicle(campaign, store)

    with pytest.raises(PartsNotThere) as refusal:
        book(row)

    assert refusal.value.parts == (gone.number,)
    assert free(store, here) == 3
    assert Reservation.objects.count() == 0


def test_conditional_parts_are_held_too() -> None:
    store, part, rarely = (
        StoreFactory.create(),
        PartFactory.create(),
        PartFactory.create(),
    )
    campaign = campaign_with_remedy(part)
    VariantPartFactory.create(
        variant=campaign.remedy.variants.get(), part=rarely, share_basis_points=500
    )
    put_on_shelf(store, part, 1)
    put_on_shelf(store, rarely, 1)

    visit = book(open_vehicle(campaign, store))

    assert sorted(number for number, _pieces, _state in held(visit)) == sorted(
        [part.number, rarely.number]
    )


def test_two_jobs_in_one_visit_share_a_part_and_never_hold_it_twice() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign, item = campaign_with_remedy(part), ScheduledItemFactory.create()
    variant_with_parts(RemedyFactory.create(campaign=None, scheduled_item=item), part)
    put_on_shelf(store, part, 1)
    row = open_vehicle(campaign, store)

    with pytest.raises(PartsNotThere):
        book(row, item)
    assert Reservation.objects.count() == 0

    put_on_shelf(store, part, 1)
    visit = book(row, item)
    assert held(visit) == [(part.number, 1, "held"), (part.number, 1, "held")]
    jobs = visit.jobs.order_by("pk")
    assert [job.scheduled_item for job in jobs] == [None, item]


def test_who_waits_comes_before_who_just_called() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    waits, calls = open_vehicle(campaign, store), open_vehicle(campaign, store)
    record_request(
        key="first",
        campaign_vehicle=waits,
        who="",
        contact="",
        asked_on=TODAY - dt.timedelta(days=9),
        by=None,
        at=NOW,
    )
    put_on_shelf(store, part, 1)

    with pytest.raises(PartsNotThere):
        book(calls)
    visit = book(waits, key="waits")

    assert held(visit) == [(part.number, 1, "held")]
    request = PartRequest.objects.get(campaign_vehicle=waits)
    assert (request.state, request.met_at_once) == (RequestState.BOOKED, False)


@pytest.mark.parametrize(
    ("facts", "refusal"),
    [
        ({"on": TODAY - dt.timedelta(days=1)}, DayNotPossible),
        ({"on": TODAY + dt.timedelta(days=367)}, DayNotPossible),
        ({"store": None}, OtherStore),
    ],
)
def test_a_day_or_a_store_that_cannot_be(
    facts: dict[str, object], refusal: type[Exception]
) -> None:
    row = open_vehicle(campaign_with_remedy(), StoreFactory.create())
    if "store" in facts:
        facts = {"store": StoreFactory.create()}

    with pytest.raises(refusal):
        book(row, **facts)

    assert Visit.objects.count() == 0


def test_refusals_before_anything_is_written() -> None:
    store = StoreFactory.create()
    campaign = campaign_with_remedy()
    with pytest.raises(NothingToDo):
        book(vehicle=VehicleFactory.create(store=store), store=store)
    with pytest.raises(ToBeVerified):
        book(open_vehicle(campaign, store, work_state=WorkState.TO_VERIFY))
    with pytest.raises(OtherStore):
        book(
            open_vehicle(campaign, store),
            vehicle=VehicleFactory.create(store=store),
            store=store,
        )
    with pytest.raises(NoRemedy):
        book(CampaignVehicleFactory.create(vehicle__store=store))
    repair = RepairFactory.create(
        campaign_vehicle=open_vehicle(campaign, store),
        variant=campaign.remedy.variants.get(),
    )
    with pytest.raises(InTheWorkshop, match=repair.repair_order):
        book(repair.campaign_vehicle)
    assert Visit.objects.count() == 0


def test_one_live_booking_a_vehicle_by_refusal_and_by_the_database() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 5)
    row = open_vehicle(campaign, store)
    visit = book(row)

    with pytest.raises(AlreadyBooked, match="2026-11-25"):
        book(row, key="again")
    with pytest.raises(IntegrityError):
        VisitJob.objects.create(
            visit=visit, campaign_vehicle=row, variant=visit.jobs.get().variant
        )


def test_a_visit_keeps_its_pieces_when_it_moves() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 1)
    visit = book(open_vehicle(campaign, store))
    record_request(
        key="waits",
        campaign_vehicle=open_vehicle(campaign, store),
        who="",
        contact="",
        asked_on=TODAY,
        by=None,
        at=NOW,
    )

    moved = move_visit(key="move", visit=visit, to=MONDAY, by=None, at=NOW, today=TODAY)
    again = move_visit(key="move", visit=visit, to=MONDAY, by=None, at=NOW, today=TODAY)

    assert moved.on == again.on == MONDAY
    live = Reservation.objects.live().get()
    assert (live.needed_on, live.state) == (MONDAY, ReservationState.HELD)
    assert PartRequest.objects.get(key="waits").state == RequestState.WAITING


def test_a_move_that_the_promise_line_forbids_changes_nothing() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    announce(store, part, 1, on=MONDAY)
    visit = book(open_vehicle(campaign, store), on=TUESDAY)

    with pytest.raises(PartsNotThere):
        move_visit(key="m", visit=visit, to=TODAY, by=None, at=NOW, today=TODAY)

    visit.refresh_from_db()
    assert visit.on == TUESDAY
    assert held(visit) == [(part.number, 1, "promised")]


def test_who_does_not_come_frees_the_parts_for_who_waits() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 1)
    row = open_vehicle(campaign, store)
    visit = book(row)
    waits = record_request(
        key="waits",
        campaign_vehicle=open_vehicle(campaign, store),
        who="",
        contact="",
        asked_on=TODAY,
        by=None,
        at=NOW,
    )

    mark_missed(visit=visit, by=None, at=NOW, today=TODAY)
    mark_missed(visit=visit, by=None, at=NOW, today=TODAY)

    visit.refresh_from_db()
    assert visit.state == VisitState.MISSED
    assert held(visit) == [(part.number, 1, ReservationState.LAPSED)]
    assert free(store, part) == 1
    waits.refresh_from_db()
    assert waits.state == RequestState.OFFERED
    assert PartRequest.objects.get(campaign_vehicle=row).state == "withdrawn"
    # the vehicle is still open, and can be booked again once its turn comes
    assert not VisitJob.objects.filter(campaign_vehicle=row, live=True).exists()
    assert AuditEntry.objects.filter(act="visit.missed").count() == 1


def test_a_cancelled_visit_keeps_the_promises_of_others() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 1)
    announce(store, part, 1, on=MONDAY)
    visit = book(open_vehicle(campaign, store))
    later = book(open_vehicle(campaign, store), on=TUESDAY, key="later")
    assert held(later) == [(part.number, 1, "promised")]

    cancel_visit(visit=visit, by=None, at=NOW, today=TODAY, why="sold the car")

    assert held(later) == [(part.number, 1, "held")]
    assert held(visit) == [(part.number, 1, "released")]


def test_moves_that_the_table_forbids() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 2)
    visit = book(open_vehicle(campaign, store), on=MONDAY)

    with pytest.raises(NotYetDue):
        mark_missed(visit=visit, by=None, at=NOW, today=TODAY)
    assert mark_arrived(visit=visit, by=None, at=NOW).state == VisitState.ARRIVED
    assert mark_arrived(visit=visit, by=None, at=NOW).state == VisitState.ARRIVED
    with pytest.raises(VisitCannotMove):
        mark_missed(visit=visit, by=None, at=NOW, today=MONDAY)
    with pytest.raises(VisitCannotMove):
        move_visit(key="m", visit=visit, to=TUESDAY, by=None, at=NOW, today=TODAY)
    repair = RepairFactory.create(
        campaign_vehicle=visit.jobs.get().campaign_vehicle,
        visit_job=visit.jobs.get(),
        variant=visit.jobs.get().variant,
    )
    with pytest.raises(InTheWorkshop, match=repair.repair_order):
        cancel_visit(visit=visit, by=None, at=NOW, today=TODAY)


def test_days_of_grace_end_a_missed_visit() -> None:
    store, part = StoreFactory.create(no_show_grace_days=2), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 2)
    old = book(open_vehicle(campaign, store), on=TODAY)
    on_the_edge = book(
        open_vehicle(campaign, store),
        on=TODAY + dt.timedelta(days=1),
        key="edge",
        over_hours=True,  # Thanksgiving Day, 5 USC 6103(a)
    )

    ended = lapse_missed(store=store, by=None, at=NOW + dt.timedelta(days=3))

    assert ended == [old]
    on_the_edge.refresh_from_db()
    assert on_the_edge.state == VisitState.BOOKED
    assert free(store, part) == 1


def test_a_scheduled_item_is_paid_by_the_customer_from_common_stock() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    item = ScheduledItemFactory.create()
    variant_with_parts(RemedyFactory.create(campaign=None, scheduled_item=item), part)
    put_on_shelf(store, part, 1)
    vehicle = VehicleFactory.create(store=store)

    visit = book(item, vehicle=vehicle, store=store)

    assert held(visit) == [(part.number, 1, "held")]
    assert PartRequest.objects.count() == 0
    plan = plan_for(item, vehicle=vehicle, today=TODAY)
    assert [line.payer for line in plan.parts] == [Payer.CUSTOMER]


def drop(*rows: CampaignVehicle) -> int:
    return drop_jobs(
        row_ids=[row.pk for row in rows],
        by=StaffFactory.create(),
        at=NOW,
        why="Remedied elsewhere",
    )


def test_work_that_is_needed_no_more_gives_its_parts_back() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=2)
    put_on_shelf(store, part, 5, campaign.earmark)
    row = open_vehicle(campaign, store)
    visit = book(row, on=MONDAY)
    assert free(store, part) == 3

    assert (drop(row), free(store, part)) == (1, 5)
    visit.refresh_from_db()
    assert visit.state == VisitState.CANCELLED
    assert drop(row) == 0


def test_other_work_of_the_visit_stays_booked() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    rows = []
    for _campaign in range(2):
        campaign = campaign_with_remedy(part, pieces=1)
        put_on_shelf(store, part, 5, campaign.earmark)
        vehicle = rows[0].vehicle if rows else VehicleFactory.create(store=store)
        rows.append(
            CampaignVehicleFactory.create(
                campaign=campaign, vehicle=vehicle, store=store
            )
        )
    visit = book(*rows, on=MONDAY)

    assert drop(rows[0]) == 1
    visit.refresh_from_db()
    assert visit.state == VisitState.BOOKED
    live = visit.jobs.filter(live=True).values_list("campaign_vehicle", flat=True)
    assert list(live) == [rows[1].pk]
    assert [pieces for _part, pieces, state in held(visit) if state == "held"] == [1]


def test_work_on_a_vehicle_that_is_here_is_not_dropped() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=2)
    put_on_shelf(store, part, 5, campaign.earmark)
    row = open_vehicle(campaign, store)
    visit = book(row)
    mark_arrived(visit=visit, by=None, at=NOW)
    assert (drop(row), free(store, part)) == (0, 3)


# Old numbers


def test_what_is_left_of_an_old_number_is_held_first_and_the_new_one_after_it() -> None:
    store, new = StoreFactory.create(), PartFactory.create(number="new")
    old = PartFactory.create(number="old", superseded_by=new)
    campaign = campaign_with_remedy(new)
    put_on_shelf(store, old, 1, campaign.earmark)
    put_on_shelf(store, new, 1)

    first = book(open_vehicle(campaign, store), key="1")
    second = book(open_vehicle(campaign, store), key="2")

    assert held(first) == [("old", 1, ReservationState.HELD)]
    assert held(second) == [("new", 1, ReservationState.HELD)]
    with pytest.raises(PartsNotThere):
        book(open_vehicle(campaign, store), key="3")


@pytest.mark.parametrize("says_no", ["the chain", "the bulletin", "a recall"])
def test_where_it_does_not_serve_an_old_number_is_never_held(says_no: str) -> None:
    store, new = StoreFactory.create(), PartFactory.create()
    old = PartFactory.create(
        superseded_by=new,
        old_stock_serves=says_no != "the chain",
        recalled=says_no == "a recall",
    )
    campaign = campaign_with_remedy(new)
    VariantPart.objects.update(old_numbers_serve=says_no != "the bulletin")
    put_on_shelf(store, old, 5, campaign.earmark)

    with pytest.raises(PartsNotThere) as refused:
        book(open_vehicle(campaign, store))

    assert refused.value.parts == (new.number,)
    assert free(store, old) == 5


def test_a_remedy_that_names_an_old_number_is_served_by_the_new_one() -> None:
    store, new = StoreFactory.create(), PartFactory.create(number="new")
    old = PartFactory.create(superseded_by=new, old_stock_serves=False)
    campaign = campaign_with_remedy(old)
    put_on_shelf(store, old, 5)
    put_on_shelf(store, new, 1)

    assert held(book(open_vehicle(campaign, store))) == [
        ("new", 1, ReservationState.HELD)
    ]


def test_who_waits_keeps_old_and_new_pieces_alike() -> None:
    """Two pieces of two numbers and one who waits: one is left, whatever its number."""
    store, new = StoreFactory.create(), PartFactory.create()
    old = PartFactory.create(superseded_by=new)
    campaign = campaign_with_remedy(new)
    record_request(
        key="asked",
        campaign_vehicle=open_vehicle(campaign, store),
        who="",
        contact="",
        asked_on=TODAY,
        by=None,
        at=NOW,
    )
    put_on_shelf(store, old, 1)
    put_on_shelf(store, new, 1)

    book(open_vehicle(campaign, store), key="1")
    with pytest.raises(PartsNotThere):
        book(open_vehicle(campaign, store), key="2")


def test_a_moved_visit_looks_at_all_numbers_again() -> None:
    store, new = StoreFactory.create(), PartFactory.create(number="new")
    old = PartFactory.create(number="old", superseded_by=new)
    campaign = campaign_with_remedy(new, pieces=2)
    put_on_shelf(store, old, 1)
    put_on_shelf(store, new, 1)

    visit = book(open_vehicle(campaign, store))
    assert [one[:2] for one in held(visit)] == [("new", 1), ("old", 1)]
    move_visit(key="m", visit=visit, to=MONDAY, by=None, at=NOW, today=TODAY)

    live = [one for one in held(visit) if one[2] == ReservationState.HELD]
    assert [one[:2] for one in live] == [("new", 1), ("old", 1)]
