"""A year of history, day by day, through the same functions that people use."""

from __future__ import annotations

import datetime as dt
import heapq
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial
from itertools import count
from typing import TYPE_CHECKING

import numpy as np
from django.db.models import F

from campaigns.domain.booking import PartsNotThere, book_visit, mark_missed
from campaigns.domain.claims import record_payment, reject, submit
from campaigns.domain.first_batch import receive
from campaigns.domain.letters import draw_up_round, mark_posted
from campaigns.domain.lifecycle import move, record_reach
from campaigns.domain.repairs import complete_repair, open_repair, record_reading
from campaigns.domain.requests import record_request
from campaigns.management.demo.opening import (
    moment,
    open_campaign,
    send_first_batch,
)
from campaigns.models import CampaignVehicle, Claim, PartRequest, Visit
from campaigns.rules.lifecycle import (
    ClaimState,
    Outcome,
    Reach,
    RequestState,
    RoundKind,
    RoundState,
    VisitState,
    WorkState,
)
from dealership.domain.jobs import run_waiting
from dealership.rules.workdays import business_day_from
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.ordering import OrderedLine, place_order
from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
)
from inventory.forecasting.takeup import cold_start_curve
from inventory.models import PurchaseOrder
from vehicles.models import Tenure


if TYPE_CHECKING:
    from collections.abc import Callable
    from random import Random

    from campaigns.management.demo.fleet import Cast
    from campaigns.management.demo.scenario import Plot
    from campaigns.models import Allocation, Campaign, Repair
    from dealership.models import Store

SHOW_RATE = 0.92
PAID_AFTER_DAYS = 24
SUBMITTED_AFTER_DAYS = 5
REORDER_PIECES = 10
FINE_WEEKS = 0.25
OUT_OF_LIMITS = 0.12
REJECTED = 0.04
SHORT_PAID = 0.04
ELSEWHERE = 0.05
BUSY_DAYS_AHEAD = 9


@dataclass
class Play:
    """The stage: who is on it, what day it is, and what is still to come."""

    random: Random
    cast: Cast
    today: dt.date
    turn: int = 0
    coming: list[tuple[dt.date, int, Callable[[dt.date], None]]] = field(
        default_factory=list
    )
    number: count[int] = field(default_factory=count)
    reordered: dict[tuple[int, int], dt.date] = field(default_factory=dict)

    def on(self, day: dt.date, act: Callable[[dt.date], None]) -> None:
        """Put an act on a day; what lies after today is left to the people."""
        if day <= self.today:
            heapq.heappush(self.coming, (day, next(self.number), act))

    def run(self) -> None:
        """Play every act in the order of days."""
        while self.coming:
            day, _number, act = heapq.heappop(self.coming)
            act(day)

    def key(self, what: str) -> str:
        """Give a key for one act."""
        self.turn += 1
        return f"demo:{what}:{self.turn}"


def play_campaign(play: Play, plot: Plot) -> Campaign:
    """Open a campaign and put its whole course on the calendar."""
    campaign = open_campaign(plot=plot, cast=play.cast, today=play.today)
    batches = send_first_batch(
        plot=plot, campaign=campaign, cast=play.cast, today=play.today
    )
    arrives = business_day_from(
        play.today - dt.timedelta(days=plot.announced) + dt.timedelta(days=8)
    )
    for batch in batches:
        play.on(arrives, partial(_count_in, play, plot, batch))
    for kind, days in (
        (RoundKind.FIRST, plot.letters),
        (RoundKind.REMINDER, plot.reminder),
    ):
        if days is not None:
            play.on(
                play.today - dt.timedelta(days=days),
                partial(write_to_owners, play, campaign, kind),
            )
    start = plot.letters if plot.letters is not None else plot.announced
    _put_requests(play, plot, campaign, play.today - dt.timedelta(days=start))
    return campaign


def write_to_owners(
    play: Play, campaign: Campaign, kind: RoundKind, day: dt.date
) -> None:
    """Send a round of letters of long ago.

    Its sheets are not set: papers of past rounds have been let go, and their
    register stays.
    """
    by, at = play.cast.staff["office"], moment(day, 8)
    for store in play.cast.stores.values():
        drawn = draw_up_round(
            key=play.key("round"),
            campaign=campaign,
            store=store,
            kind=kind,
            today=day,
            by=by,
            at=at,
        )
        drawn.letters.update(printed_on=day, page=F("position"))
        drawn.sheets = drawn.letters.count()
        drawn.state, drawn.printed_on = RoundState.PRINTED, day
        drawn.save(update_fields=["state", "printed_on", "sheets"])
        mark_posted(letter_round=drawn, on=day, by=by, at=at)


def _count_in(play: Play, plot: Plot, batch: Allocation, day: dt.date) -> None:
    """Count a batch in; the first store of the first part finds what is short."""
    first = batch.store.code == "EMR" and batch.bill.number.endswith("-1")  # type: ignore[union-attr]
    short, damaged = (plot.short, plot.damaged) if first else (0, 0)
    receive(
        key=play.key("batch"),
        allocation=batch,
        good=batch.quantity - short - damaged,
        damaged=damaged,
        bin_code=f"{play.random.choice('ABC')}-{play.random.randrange(1, 9):02}",
        by=play.cast.staff["parts"],
        at=moment(day),
    )
    run_waiting(clock=lambda: moment(day, 11))


def _put_requests(play: Play, plot: Plot, campaign: Campaign, letters: dt.date) -> None:
    """Draw for each open vehicle when its owner asks, from the response curve."""
    curve = cold_start_curve(plot.ultimate)
    weeks = np.arange(0, 78, FINE_WEEKS)
    come = np.array([1 - np.exp(-curve.at(float(week))) for week in weeks])
    rows = CampaignVehicle.objects.filter(
        campaign=campaign, work_state=WorkState.OPEN, vehicle__standing="customer"
    ).select_related("vehicle", "store", "campaign")
    for row in rows.order_by("pk"):
        place = int(np.searchsorted(come, play.random.random()))
        if place >= len(weeks):
            continue
        day = business_day_from(
            letters
            + dt.timedelta(days=int(weeks[place] * 7) + play.random.randrange(2))
        )
        if play.random.random() < ELSEWHERE:
            play.on(day, partial(_done_elsewhere, play, row))
        else:
            play.on(day, partial(_ask, play, row))


def _done_elsewhere(play: Play, row: CampaignVehicle, day: dt.date) -> None:
    move(
        campaign_vehicle=row,
        to=WorkState.REMEDIED_ELSEWHERE,
        effective_on=day,
        by=play.cast.staff["service"],
        at=moment(day),
        why="Manufacturer's status list",
        source="status list",
    )


def _ask(play: Play, row: CampaignVehicle, day: dt.date) -> None:
    """Somebody calls: book the day, or the earliest day, or put them on the list."""
    ahead = play.random.randrange(1, BUSY_DAYS_AHEAD)
    wanted = business_day_from(day + dt.timedelta(days=ahead))
    try:
        _book(play, row, wanted, day)
    except PartsNotThere as short:
        earliest = short.earliest
        if earliest is not None and (earliest - day).days < 30:  # noqa: PLR2004
            _book(play, row, business_day_from(earliest), day)
            return
        _put_on_list(play, row, day)
        _reorder(play, row, day)


def _caller(row: CampaignVehicle) -> tuple[str, str]:
    tenure = Tenure.objects.filter(vehicle=row.vehicle, until=None).first()
    return (tenure.party.name, tenure.party.phone) if tenure else ("", "")


def _book(play: Play, row: CampaignVehicle, on: dt.date, day: dt.date) -> None:
    who, contact = _caller(row)
    visit = book_visit(
        key=play.key("visit"),
        vehicle=row.vehicle,
        store=row.store,
        on=on,
        jobs=[row],
        by=play.cast.staff["advisor"],
        at=moment(day),
        today=day,
        hour=dt.time(play.random.choice((8, 9, 10, 11, 13, 14, 15))),
        who=who,
        contact=contact,
        over_hours=True,
    )
    play.on(on, lambda day: _come(play, visit, row, day))


def _put_on_list(play: Play, row: CampaignVehicle, day: dt.date) -> None:
    who, contact = _caller(row)
    record_request(
        key=play.key("request"),
        campaign_vehicle=row,
        who=who,
        contact=contact,
        asked_on=day,
        by=play.cast.staff["advisor"],
        at=moment(day),
    )


def _reorder(play: Play, row: CampaignVehicle, day: dt.date) -> None:
    """Order some more, once a lead time, for a store that ran out.

    What was announced within the last fortnight is left for today's people.
    """
    if (play.today - row.campaign.announced_on).days < 14:  # noqa: PLR2004
        return
    variant = row.campaign.remedy.variants.order_by("position").first()
    if variant is None:
        return
    part = variant.parts.order_by("pk").select_related("part").first().part  # type: ignore[union-attr]
    asked = play.reordered.get((row.store_id, part.pk))
    if asked and (day - asked).days < part.lead_days:
        return
    play.reordered[(row.store_id, part.pk)] = day
    pieces = max(part.pack, REORDER_PIECES // part.pack * part.pack)
    order = place_order(
        key=play.key("order"),
        store=row.store,
        supplier=play.cast.supplier,
        earmark=row.campaign.earmark,
        lines=[OrderedLine(part=part, quantity=pieces)],
        by=play.cast.staff["parts"],
        at=moment(day),
    )
    arrives = business_day_from(day + dt.timedelta(days=part.lead_days))

    def arrive(on: dt.date) -> None:
        _deliver(play, row.store, order.pk, on)

    play.on(arrives, arrive)


def _deliver(play: Play, store: Store, order_id: int, day: dt.date) -> None:
    """Take an order in with its bill; call and book those who wait."""
    order = PurchaseOrder.objects.get(pk=order_id)
    line = order.lines.select_related("part").get()
    by, at = play.cast.staff["parts"], moment(day)
    bill = enter_bill(
        store=store,
        supplier=order.supplier,
        number=f"N{order_id:05}-{store.code}",
        dated=day,
        lines=[
            BilledLine(
                part=line.part,
                quantity=line.quantity,
                unit_cost_cents=line.unit_cost_cents,
            )
        ],
        earmark=order.earmark,
        by=by,
        at=at,
    )
    shipment = announce_shipment(
        store=store,
        supplier=order.supplier,
        number=f"L{order_id:05}-{store.code}",
        lines=[
            SentLine(
                part=line.part,
                quantity=line.quantity,
                bill_line=bill.lines.get(),
                order_line=line,
            )
        ],
        announced_on=day,
        expected_on=day,
        bill=bill,
        order=order,
        earmark=order.earmark,
        by=by,
        at=at,
    )
    counts = {
        sent.pk: Counted(good=sent.sent, damaged=0, bin_code="A-01")
        for sent in shipment.lines.all()
    }
    receive_shipment(
        key=play.key("delivery"), shipment=shipment, counts=counts, by=by, at=at
    )
    run_waiting(clock=lambda: moment(day, 11))
    offered = PartRequest.objects.filter(
        state=RequestState.OFFERED, campaign_vehicle__store=store
    ).select_related("campaign_vehicle__vehicle", "campaign_vehicle__store")
    for request in offered:
        if day < play.today:
            play.on(
                business_day_from(day + dt.timedelta(days=1)),
                partial(_ask, play, request.campaign_vehicle),
            )


def _come(play: Play, visit: Visit, row: CampaignVehicle, day: dt.date) -> None:
    """Play the day of a visit: most come, and the work is done the same day."""
    visit.refresh_from_db()
    if visit.state != VisitState.BOOKED or day >= play.today:
        return
    if play.random.random() > SHOW_RATE:
        mark_missed(
            visit=visit,
            by=play.cast.staff["advisor"],
            at=moment(day, 17),
            today=day,
        )
        again = day + dt.timedelta(days=play.random.randrange(5, 60))
        play.on(business_day_from(again), lambda on: _ask(play, row, on))
        return
    repair = open_repair(
        key=play.key("open"),
        store=visit.store,
        visit_job=visit.jobs.get(),
        technician=play.cast.staff["technician"],
        by=play.cast.staff["advisor"],
        at=moment(day, 11),
    )
    demanded = _measure(play, repair, day)
    _sign_off(play, repair, row, demanded, day)


def _measure(play: Play, repair: Repair, day: dt.date) -> set[int]:
    """Take the readings; one in eight is out of limits at first."""
    demanded: set[int] = set()
    for check in repair.variant.checks.all():
        outside = play.random.random() < OUT_OF_LIMITS
        tries = [_reading(check, outside=True)] if outside else []
        stays_outside = check.replace_part_id is not None or check.outside == "stop"
        if outside and check.outside == "stop":
            tries = []
        if not (tries and stays_outside):
            tries.append(_reading(check, outside=False))
        elif check.replace_part_id is not None:
            demanded.add(check.replace_part_id)
            tries.append(_reading(check, outside=False))
        for value in tries:
            record_reading(
                repair=repair,
                check=check,
                value=value,
                unit=check.unit,
                by=play.cast.staff["technician"],
                at=moment(day, 13),
            )
    return demanded


def _reading(check: object, *, outside: bool) -> Decimal:
    """Give a value inside the limits, or a little outside them."""
    low: Decimal | None = check.low  # type: ignore[attr-defined]
    high: Decimal | None = check.high  # type: ignore[attr-defined]
    if low is not None and high is not None:
        inside, beyond = (low + high) / 2, low - (high - low) / 4
    elif low is not None:
        inside, beyond = low * Decimal("1.08"), low * Decimal("0.94")
    else:
        assert high is not None, "a check has a limit"
        inside, beyond = high * Decimal("0.9995"), high * Decimal("1.0006")
    return (beyond if outside else inside).quantize(Decimal("0.001"))


def _sign_off(
    play: Play,
    repair: Repair,
    row: CampaignVehicle,
    demanded: set[int],
    day: dt.date,
) -> None:
    used = {
        line.part: line.quantity
        for line in repair.variant.parts.select_related("part")
        if line.share_basis_points == 10_000 or line.part_id in demanded  # noqa: PLR2004
    }
    vehicle = row.vehicle
    miles = vehicle.odometer or 0
    complete_repair(
        key=play.key("done"),
        repair=repair,
        outcome=Outcome.REMEDIED,
        used=used,
        odometer=miles,
        done_on=day,
        by=play.cast.staff["technician"],
        at=moment(day, 16),
        technician=play.cast.staff["technician"],
        note="" if demanded else "Bore within limits.",
    )
    sent = business_day_from(day + dt.timedelta(days=SUBMITTED_AFTER_DAYS))
    claim = Claim.objects.filter(repair=repair).first()
    if claim is not None:
        play.on(sent, lambda on: _claim(play, claim, on))


def _claim(play: Play, claim: Claim, day: dt.date) -> None:
    submit(
        key=play.key("claim"),
        claim=claim,
        dated=day,
        by=play.cast.staff["service"],
        at=moment(day),
    )
    later = business_day_from(
        day + dt.timedelta(days=PAID_AFTER_DAYS + play.random.randrange(8))
    )
    play.on(later, lambda on: _pay(play, claim, on))


def _pay(play: Play, claim: Claim, day: dt.date) -> None:
    """Answer for the manufacturer: most are paid, some cut, a few refused."""
    luck = play.random.random()
    by, at = play.cast.staff["service"], moment(day, 9)
    if luck < REJECTED and not claim.campaign.code.startswith("SA"):
        reject(
            key=play.key("reject"),
            claim=claim,
            why="Odometer not as in the manufacturer's file",
            dated=day,
            by=by,
            at=at,
        )
        again = business_day_from(day + dt.timedelta(days=6))
        play.on(again, lambda on: _again(play, claim, on))
        return
    paid = {line.pk: line.claimed_cents for line in claim.lines.all()}
    short = luck > 1 - SHORT_PAID and not claim.campaign.code.startswith("SA")
    if short:
        first = min(paid)
        paid[first] = paid[first] * 9 // 10
    record_payment(
        key=play.key("pay"),
        claim=claim,
        paid=paid,
        dated=day,
        advice=f"A{day:%y%m%d}",
        by=by,
        at=at,
    )


def _again(play: Play, claim: Claim, day: dt.date) -> None:
    claim.refresh_from_db()
    if claim.state == ClaimState.REJECTED:
        _claim(play, claim, day)


def lose_some(play: Play, campaign: Campaign, share: float) -> None:
    """Note of a few open vehicles that they cannot be reached any more."""
    kinds = (Reach.EXPORTED, Reach.STOLEN, Reach.SCRAPPED, Reach.NOT_NOTIFIED)
    rows = CampaignVehicle.objects.filter(
        campaign=campaign, work_state=WorkState.OPEN, first_asked_on=None
    ).select_related("store")
    for row in rows.order_by("pk"):
        if play.random.random() < share:
            day = play.today - dt.timedelta(days=play.random.randrange(3, 90))
            day = max(day, campaign.announced_on)
            record_reach(
                campaign_vehicle=row,
                reach=play.random.choice(kinds),
                effective_on=day,
                source="answer to the letter",
                by=play.cast.staff["office"],
                at=moment(day),
            )
