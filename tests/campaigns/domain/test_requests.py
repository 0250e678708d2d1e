"""The waiting list: its order, its offers, and the day somebody first asked."""

import datetime as dt

import pytest

from campaigns.domain.booking import PartsNotThere, book_visit
from campaigns.domain.requests import (
    AlreadyBooked,
    AlreadyOnTheList,
    NothingOpen,
    RequestCannotMove,
    offer_waiting,
    record_request,
    withdraw,
)
from campaigns.models import CampaignVehicle, PartRequest
from campaigns.queries.chores.desk import offers
from campaigns.queries.waiting import waiting_list
from campaigns.rules.lifecycle import RequestState, WorkState
from dealership.models import AuditEntry
from tests.factories.campaigns import RemedyFactory
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
    variant_with_parts,
)


pytestmark = pytest.mark.django_db


def ask(
    row: CampaignVehicle, *, days_ago: int = 0, key: str | None = None
) -> PartRequest:
    return record_request(
        key=key or f"ask-{row.pk}-{days_ago}",
        campaign_vehicle=row,
        who="Pernille Ashdown",
        contact="+1 217 555 0134",
        asked_on=TODAY - dt.timedelta(days=days_ago),
        by=StaffFactory.create(),
        at=NOW,
    )


def offer(row_or_store: object) -> list[PartRequest]:
    store = getattr(row_or_store, "store", row_or_store)
    return offer_waiting(store=store, by=None, at=NOW, today=TODAY)


def test_only_the_first_request_sets_the_day() -> None:
    row = open_vehicle(campaign_with_remedy(), StoreFactory.create())

    first = ask(row, days_ago=5)
    withdraw(request=first, why="sold", by=None, at=NOW, today=TODAY)
    second = ask(row)

    row.refresh_from_db()
    assert row.first_asked_on == TODAY - dt.timedelta(days=5)
    assert [first.met_at_once, second.met_at_once] == [False, False]
    assert second.state == RequestState.WAITING


def test_the_same_key_twice_is_one_place() -> None:
    row = open_vehicle(campaign_with_remedy(), StoreFactory.create())

    assert ask(row, key="k") == ask(row, key="k")

    assert PartRequest.objects.count() == 1
    assert AuditEntry.objects.filter(act="request.recorded").count() == 1
    # the trail names nobody
    entry = AuditEntry.objects.get(act="request.recorded")
    assert sorted(entry.after) == ["asked_on", "campaign_vehicle", "state"]


def test_requests_that_make_no_sense_are_refused() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    row = open_vehicle(campaign, store)
    ask(row, days_ago=3)
    with pytest.raises(AlreadyOnTheList, match="2026-11-22"):
        ask(row)
    with pytest.raises(NothingOpen):
        ask(open_vehicle(campaign, store, work_state=WorkState.REMOVED))
    put_on_shelf(store, part, 2)
    other = open_vehicle(campaign, store)
    book_visit(
        key="v",
        vehicle=other.vehicle,
        store=store,
        on=TODAY,
        jobs=[other],
        by=None,
        at=NOW,
        today=TODAY,
    )
    with pytest.raises(AlreadyBooked):
        ask(other)


def test_offers_go_in_list_order_and_are_made_once() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    rows = [open_vehicle(campaign, store) for _ in range(3)]
    late, early, middle = (
        ask(row, days_ago=days) for row, days in zip(rows, (1, 9, 4), strict=True)
    )
    put_on_shelf(store, part, 2, campaign.earmark)

    assert offer(store) == [early, middle]
    assert offer(store) == []

    early.refresh_from_db()
    late.refresh_from_db()
    assert (early.state, early.offered_at) == (RequestState.OFFERED, NOW)
    assert late.state == RequestState.WAITING


def test_one_who_waits_for_two_pieces_is_not_passed_over() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    needs_two, needs_one = (
        campaign_with_remedy(part, pieces=2),
        campaign_with_remedy(part),
    )
    first = ask(open_vehicle(needs_two, store), days_ago=5)
    second = ask(open_vehicle(needs_one, store))
    put_on_shelf(store, part, 1)
    assert offer(store) == []

    put_on_shelf(store, part, 2)
    assert offer(store) == [first, second]


def test_a_campaigns_own_pieces_are_not_kept_for_another() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    one, other = campaign_with_remedy(part), campaign_with_remedy(part)
    ask(open_vehicle(one, store), days_ago=5)
    second = ask(open_vehicle(other, store))
    put_on_shelf(store, part, 1, other.earmark)

    assert offer(store) == [second]


def test_an_offer_keeps_the_piece_from_who_calls_later() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    waits, calls = open_vehicle(campaign, store), open_vehicle(campaign, store)
    request = ask(waits)
    put_on_shelf(store, part, 1)
    offer(store)

    def book(row: CampaignVehicle) -> None:
        book_visit(
            key=f"v{row.pk}",
            vehicle=row.vehicle,
            store=store,
            on=TODAY,
            jobs=[row],
            by=None,
            at=NOW,
            today=TODAY,
        )

    with pytest.raises(PartsNotThere):
        book(calls)
    withdraw(request=request, why="remedied elsewhere", by=None, at=NOW, today=TODAY)
    book(calls)


def test_an_offer_of_common_stock_binds_other_campaigns_too() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    one, other = campaign_with_remedy(part), campaign_with_remedy(part)
    ask(open_vehicle(one, store))
    put_on_shelf(store, part, 1)
    offer(store)
    row = open_vehicle(other, store)

    with pytest.raises(PartsNotThere):
        book_visit(
            key="v",
            vehicle=row.vehicle,
            store=store,
            on=TODAY,
            jobs=[row],
            by=None,
            at=NOW,
            today=TODAY,
        )


def test_what_a_later_visit_was_promised_is_not_offered() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    shipment = announce(store, part, 1, on=TODAY)
    booked = open_vehicle(campaign, store)
    book_visit(
        key="v",
        vehicle=booked.vehicle,
        store=store,
        on=TODAY + dt.timedelta(days=9),
        jobs=[booked],
        by=None,
        at=NOW,
        today=TODAY,
    )
    request = ask(open_vehicle(campaign, store))
    # the delivery is lost, and one piece turns up elsewhere: the visit needs it
    shipment.lines.all().delete()
    put_on_shelf(store, part, 1)
    assert offer(store) == []

    put_on_shelf(store, part, 1)
    assert offer(store) == [request]


def test_a_withdrawn_offer_goes_to_the_next() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    first = ask(open_vehicle(campaign, store), days_ago=2)
    second = ask(open_vehicle(campaign, store))
    put_on_shelf(store, part, 1)
    offer(store)

    for _ in range(2):
        withdraw(request=first, why="wants none", by=None, at=NOW, today=TODAY)

    second.refresh_from_db()
    assert second.state == RequestState.OFFERED
    assert AuditEntry.objects.filter(act="request.withdrawn").count() == 1
    PartRequest.objects.filter(pk=second.pk).update(state=RequestState.DONE)
    with pytest.raises(RequestCannotMove):
        withdraw(request=second, why="", by=None, at=NOW, today=TODAY)


def test_a_vehicle_whose_variant_is_unknown_keeps_the_most_of_any() -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=3)
    variant = campaign.remedy.variants.get()
    variant.conditions = [{"fact": "build_date", "high": "2021-12-31"}]
    variant.save()
    later = variant_with_parts(campaign.remedy, part)
    later.conditions = [{"fact": "build_date", "low": "2022-01-01"}]
    later.save()
    row = open_vehicle(campaign, store)
    row.vehicle.build_date = None
    row.vehicle.save()
    request = ask(row)
    put_on_shelf(store, part, 2)
    assert offer(store) == []
    put_on_shelf(store, part, 1)
    assert offer(store) == [request]


def test_a_campaign_without_a_remedy_is_offered_nothing() -> None:
    store = StoreFactory.create()
    campaign = campaign_with_remedy()
    request = ask(open_vehicle(campaign, store))
    campaign.remedy.variants.all().delete()
    RemedyFactory.create()

    assert offer(store) == []
    request.refresh_from_db()
    assert request.state == RequestState.WAITING


@pytest.mark.parametrize(
    "state", [WorkState.REMEDIED_ELSEWHERE, WorkState.REMOVED, WorkState.DISQUALIFIED]
)
def test_a_vehicle_that_wants_no_work_keeps_nothing_from_the_others(
    state: WorkState,
) -> None:
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 1, earmark=campaign.earmark)
    first, second = open_vehicle(campaign, store), open_vehicle(campaign, store)
    ask(first)
    assert len(offer(store)) == 1
    CampaignVehicle.objects.filter(pk=first.pk).update(work_state=state)

    visit = book_visit(
        key="second",
        vehicle=second.vehicle,
        store=store,
        on=TODAY,
        jobs=[second],
        by=None,
        at=NOW,
        today=TODAY,
    )

    assert visit.state == "booked"
    assert waiting_list(store=store, today=TODAY) == []
    assert offers(store=store, today=TODAY).chores == ()
    # opened again, it has its place again
    CampaignVehicle.objects.filter(pk=first.pk).update(work_state=WorkState.OPEN)
    assert len(waiting_list(store=store, today=TODAY)) == 1
