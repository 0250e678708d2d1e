"""Requests for a remedy: recorded, offered when parts come, withdrawn.

An offer sets pieces aside without holding them in the books: they are held when the
visit is booked. Until then the offer counts for everybody else (campaigns.queries.
waiting), and it lasts until the person books or the offer is withdrawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.models import CampaignVehicle, PartRequest, Repair, VisitJob
from campaigns.models.words import REQUEST_WORDS, WORK_WORDS
from campaigns.queries.waiting import ON_THE_LIST, to_be_offered, waiting_list
from campaigns.rules.lifecycle import (
    STILL_OPEN,
    RepairState,
    RequestState,
    WorkState,
)
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.locks import lock_pockets
from inventory.domain.once import once
from inventory.domain.promises import keep_promises
from inventory.models import Part
from inventory.queries.numbers import part_ids_of


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable

    from dealership.models import StaffMember, Store


class NothingOpen(Refusal):
    """The campaign wants nothing more of this vehicle."""

    def __init__(self, row: CampaignVehicle) -> None:
        state = WorkState(row.work_state)
        super().__init__(
            _(
                "Campaign %(code)s is “%(state)s” for vehicle %(vin)s, so there is"
                " nothing to book or to ask for. Look at its history before you go on."
            )
            % {
                "code": row.campaign.code,
                "state": WORK_WORDS[state],
                "vin": row.vehicle.vin,
            }
        )
        self.vin = row.vehicle.vin
        self.campaign = row.campaign.code
        self.state = state


class AlreadyOnTheList(Refusal):
    """The vehicle has its place on the waiting list."""

    def __init__(self, request: PartRequest) -> None:
        super().__init__(
            _(
                "This vehicle is on the waiting list since %(day)s. It keeps that"
                " place; there is nothing more to record."
            )
            % {"day": request.asked_on.isoformat()}
        )
        self.request = request


class AlreadyBooked(Refusal):
    """A visit is booked for this campaign."""

    def __init__(self, row: CampaignVehicle, on: dt.date) -> None:
        super().__init__(
            _(
                "Vehicle %(vin)s is booked for campaign %(code)s on %(day)s. Move that"
                " visit, or cancel it first."
            )
            % {"vin": row.vehicle.vin, "code": row.campaign.code, "day": on.isoformat()}
        )
        self.vin = row.vehicle.vin
        self.on = on


class InTheWorkshop(Refusal):
    """The repair is under way."""

    def __init__(self, vin: str, code: str, repair_order: str) -> None:
        super().__init__(
            _(
                "Vehicle %(vin)s is in the workshop for %(code)s on repair order"
                " %(order)s. Finish that first."
            )
            % {"vin": vin, "code": code, "order": repair_order}
        )
        self.vin = vin
        self.repair_order = repair_order


class RequestCannotMove(Refusal):
    """The request is no longer on the waiting list."""

    def __init__(self, request: PartRequest) -> None:
        state = RequestState(request.state)
        super().__init__(
            _(
                "This request is “%(state)s”, so it cannot be taken off the waiting"
                " list. Reload the page to see how it stands."
            )
            % {"state": REQUEST_WORDS[state]}
        )
        self.state = state


def lock_row(campaign_vehicle: CampaignVehicle) -> CampaignVehicle:
    """Read the row as it stands now and hold it until the transaction ends."""
    return (
        CampaignVehicle.objects.select_for_update(of=("self",))
        .select_related("campaign__earmark", "vehicle", "store")
        .get(pk=campaign_vehicle.pk)
    )


def refuse_unless_open(row: CampaignVehicle) -> None:
    """Raise NothingOpen, AlreadyBooked or InTheWorkshop where one of them holds."""
    if WorkState(row.work_state) not in STILL_OPEN:
        raise NothingOpen(row)
    booked = (
        VisitJob.objects.filter(campaign_vehicle=row, live=True)
        .select_related("visit")
        .first()
    )
    repair = Repair.objects.filter(campaign_vehicle=row, state=RepairState.OPEN).first()
    if repair is not None:
        raise InTheWorkshop(row.vehicle.vin, row.campaign.code, repair.repair_order)
    if booked is not None:
        raise AlreadyBooked(row, booked.visit.on)


def note_asked(row: CampaignVehicle, on: dt.date) -> None:
    """Keep the day of the first request of a vehicle; later ones change nothing."""
    CampaignVehicle.objects.filter(pk=row.pk, first_asked_on=None).update(
        first_asked_on=on
    )


def record_request(
    *,
    key: str,
    campaign_vehicle: CampaignVehicle,
    who: str,
    contact: str,
    asked_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> PartRequest:
    """Put a vehicle on the waiting list of its campaign, at the end.

    The first request ever sets the day on which somebody first asked. The same
    ``key`` again gives the first result. Raises NothingOpen, AlreadyBooked,
    InTheWorkshop, AlreadyOnTheList.
    """

    def act() -> PartRequest:
        row = lock_row(campaign_vehicle)
        refuse_unless_open(row)
        live = PartRequest.objects.filter(
            campaign_vehicle=row, state__in=ON_THE_LIST
        ).first()
        if live is not None:
            raise AlreadyOnTheList(live)
        note_asked(row, asked_on)
        request = PartRequest.objects.create(
            campaign_vehicle=row,
            asked_on=asked_on,
            who=who.strip()[:120],
            contact=contact.strip()[:120],
            met_at_once=False,
            state=RequestState.WAITING,
            key=key,
            recorded_by=by,
            recorded_at=at,
        )
        record(
            act="request.recorded",
            subject=request,
            by=by,
            at=at,
            store=row.store,
            after={
                "campaign_vehicle": row.pk,
                "asked_on": asked_on.isoformat(),
                "state": request.state,
            },
        )
        return request

    return once(found=lambda: PartRequest.objects.filter(key=key).first(), act=act)


def book_request(
    *,
    key: str,
    row: CampaignVehicle,
    who: str,
    contact: str,
    asked_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> PartRequest:
    """Note inside a booking that somebody asked and got a day.

    A vehicle on the waiting list leaves it with this; another gets a request that was
    met at once. Runs in the booking's transaction and under its line in the trail.
    """
    note_asked(row, asked_on)
    live = PartRequest.objects.filter(
        campaign_vehicle=row, state__in=ON_THE_LIST
    ).first()
    if live is not None:
        live.state = RequestState.BOOKED
        live.save(update_fields=["state"])
        return live
    return PartRequest.objects.create(
        campaign_vehicle=row,
        asked_on=asked_on,
        who=who.strip()[:120],
        contact=contact.strip()[:120],
        met_at_once=True,
        state=RequestState.BOOKED,
        key=key,
        recorded_by=by,
        recorded_at=at,
    )


def hold_list(*, store: Store, part_ids: Collection[int], today: dt.date) -> None:
    """Hold the pockets of all parts that the list waits for, and of some more.

    Two who offer at once must not offer one piece twice; and an act that touches more
    parts than one holds them all before it begins.
    """
    waited = {
        pk
        for one in waiting_list(store=store, today=today)
        for pk in part_ids_of(one.needs)
    }
    lock_pockets(store=store, part_ids=waited | set(part_ids))


def offer_waiting(
    *, store: Store, by: StaffMember | None, at: dt.datetime, today: dt.date
) -> list[PartRequest]:
    """Offer free pieces to those who wait, in list order; gives the new offers.

    Nobody is passed over: where the pieces do not do for the next in line, they are
    kept for it. Asked again with nothing new on the shelf, it offers nothing.
    """
    with transaction.atomic():
        hold_list(store=store, part_ids=(), today=today)
        asked = waiting_list(store=store, today=today)
        offers = [one.request for one in to_be_offered(asked, store=store, today=today)]
        for request in offers:
            request.state = RequestState.OFFERED
            request.offered_at = at
            request.save(update_fields=["state", "offered_at"])
            record(
                act="request.offered",
                subject=request,
                by=by,
                at=at,
                store=store,
                before={"state": RequestState.WAITING.value},
                after={"state": RequestState.OFFERED.value},
            )
    return offers


def withdraw(
    *,
    request: PartRequest,
    why: str,
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
) -> PartRequest:
    """Take a vehicle off the waiting list; what it was offered goes to the next.

    The day of its first request stays. A repeat changes nothing. Raises
    RequestCannotMove for one that is booked or done.
    """
    with transaction.atomic():
        request = (
            PartRequest.objects.select_for_update(of=("self",))
            .select_related("campaign_vehicle__store")
            .get(pk=request.pk)
        )
        if request.state == RequestState.WITHDRAWN:
            return request
        if request.state not in ON_THE_LIST:
            raise RequestCannotMove(request)
        before = request.state
        request.state = RequestState.WITHDRAWN
        request.save(update_fields=["state"])
        store = request.campaign_vehicle.store
        record(
            act="request.withdrawn",
            subject=request,
            by=by,
            at=at,
            store=store,
            before={"state": before},
            after={"state": request.state},
            why=why,
        )
        offer_waiting(store=store, by=by, at=at, today=today)
    return request


def drop_booked(row_ids: Iterable[int]) -> None:
    """Close the requests of vehicles whose booking has ended without the remedy.

    Runs in the transaction of the act that ended it.
    """
    PartRequest.objects.filter(
        campaign_vehicle__in=list(row_ids), state=RequestState.BOOKED
    ).update(state=RequestState.WITHDRAWN)


def pass_on(
    *,
    store: Store,
    part_ids: Collection[int],
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
) -> list[PartRequest]:
    """Give pieces that came or became free to whom they are due.

    Promises of booked visits are kept first, then the waiting list is offered what is
    left. Gives the new offers.
    """
    with transaction.atomic():
        hold_list(store=store, part_ids=part_ids, today=today)
        for part in Part.objects.filter(pk__in=part_ids).order_by("pk"):
            keep_promises(store=store, part=part, by=by, at=at, today=today)
        return offer_waiting(store=store, by=by, at=at, today=today)
