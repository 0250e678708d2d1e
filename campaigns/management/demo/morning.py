"""What lies on each person's desk this morning."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import TYPE_CHECKING

from campaigns.domain.booking import PartsNotThere, book_visit, mark_arrived
from campaigns.domain.loans import hand_out_loan
from campaigns.domain.reckoning import reconcile
from campaigns.domain.repairs import open_repair, record_reading
from campaigns.domain.requests import record_request
from campaigns.domain.room import set_week
from campaigns.management.demo.opening import moment
from campaigns.management.demo.shelves import stock_the_shelves
from campaigns.models import CampaignVehicle, Loan
from campaigns.rules.lifecycle import WorkState
from campaigns.rules.room import Skill
from dealership.domain.stores import change_store
from dealership.rules.workdays import business_day_from
from inventory.domain.receiving import redate_shipment
from inventory.models import Shipment


if TYPE_CHECKING:
    from campaigns.management.demo.history import Play
    from campaigns.models import Campaign, Visit

VISITS_TODAY = 4
WAITING = 9
LOAN_CARS, LENT = 3, 2
"""Loan cars of the store, and how many of a day's first visits take one."""

HOURS = {Skill.MECHANICAL: 2_400, Skill.ELECTRICAL: 800, Skill.BODY: 600}
"""Hundredths of an hour that can be booked on a working day."""


def set_today(play: Play, campaigns: dict[str, Campaign]) -> None:
    """Book today's visits, leave one in the workshop and some on the waiting list."""
    _say_hours(play)
    _expect_first_batch(play)
    visits = _visits_today(play, campaigns["SR-26-01"], play.today, VISITS_TODAY)
    _visits_today(
        play,
        campaigns["SR-26-03"],
        business_day_from(play.today + dt.timedelta(days=1)),
        VISITS_TODAY,
    )
    if visits:
        _in_the_workshop(play, visits[0])
        _lend(play, visits[0])
    for visit in visits[1:2]:
        mark_arrived(
            visit=visit,
            by=play.cast.staff["advisor"],
            at=moment(play.today, 8),
        )
    _waiting(play, campaigns["SR-26-04"])
    stock_the_shelves(play, campaigns)
    # The history leaves proposals of past days; whoever opens the demo sees today's.
    reconcile(today=play.today, at=moment(play.today, 7))


def _say_hours(play: Play) -> None:
    """Say the workshop's hours by skill, and how many cars it can lend."""
    store, by = play.cast.stores["EMR"], play.cast.staff["service"]
    at = moment(play.today - dt.timedelta(days=14))
    set_week(
        store=store,
        week={
            (skill, day): hundredths
            for skill, hundredths in HOURS.items()
            for day in range(1, 6)
        },
        by=by,
        at=at,
    )
    change_store(store=store, facts={"loan_cars": LOAN_CARS}, by=by, at=at)
    store.refresh_from_db()


def _lend(play: Play, visit: Visit) -> None:
    """Hand out the loan car that was promised for a visit."""
    loan = Loan.objects.filter(visit=visit).first()
    if loan is not None:
        hand_out_loan(
            loan=loan, by=play.cast.staff["advisor"], at=moment(play.today, 8)
        )


def _expect_first_batch(play: Play) -> None:
    """Let the newest first batch come in today, where it was still on its way."""
    for shipment in Shipment.objects.filter(
        received_at=None, expected_on__gt=play.today, order=None
    ):
        redate_shipment(
            shipment=shipment,
            expected_on=play.today,
            by=play.cast.staff["parts"],
            at=moment(play.today, 7),
        )


def _open_rows(play: Play, campaign: Campaign, wanted: int) -> list[CampaignVehicle]:
    store = play.cast.stores["EMR"]
    rows = CampaignVehicle.objects.filter(
        campaign=campaign,
        store=store,
        work_state=WorkState.OPEN,
        first_asked_on=None,
        reach="reachable",
        vehicle__standing="customer",
    ).select_related("vehicle", "store", "campaign")
    return list(rows.order_by("-vehicle__vin")[:wanted])


def _visits_today(
    play: Play, campaign: Campaign, on: dt.date, wanted: int
) -> list[Visit]:
    asked = play.today - dt.timedelta(days=3)
    visits = []
    for turn, row in enumerate(_open_rows(play, campaign, wanted)):
        tenure = row.vehicle.tenures.filter(until=None).select_related("party").first()
        try:
            visit = book_visit(
                key=play.key("today"),
                vehicle=row.vehicle,
                store=row.store,
                on=on,
                jobs=[row],
                by=play.cast.staff["advisor"],
                at=moment(asked),
                today=asked,
                hour=dt.time(8 + turn),
                who=tenure.party.name if tenure else "",
                contact=tenure.party.phone if tenure else "",
                loan_until=on if turn < LENT else None,
                over_hours=True,
            )
        except PartsNotThere:
            break
        visits.append(visit)
    return visits


def _in_the_workshop(play: Play, visit: Visit) -> None:
    """Open a repair whose first reading is out of limits."""
    repair = open_repair(
        key=play.key("bay"),
        store=visit.store,
        visit_job=visit.jobs.get(),
        technician=play.cast.staff["technician"],
        by=play.cast.staff["advisor"],
        at=moment(play.today, 8),
    )
    check = repair.variant.checks.filter(low__isnull=False).first()
    if check is not None and check.low is not None:
        record_reading(
            repair=repair,
            check=check,
            value=check.low * Decimal("0.9"),
            unit=check.unit,
            by=play.cast.staff["technician"],
            at=moment(play.today, 9),
        )


def _waiting(play: Play, campaign: Campaign) -> None:
    """Put callers of the last days on the waiting list of the newest campaign."""
    for turn, row in enumerate(_open_rows(play, campaign, WAITING)):
        tenure = row.vehicle.tenures.filter(until=None).select_related("party").first()
        asked = play.today - dt.timedelta(days=max(0, 4 - turn // 2))
        record_request(
            key=play.key("wait"),
            campaign_vehicle=row,
            who=tenure.party.name if tenure else "",
            contact=tenure.party.phone if tenure else "",
            asked_on=asked,
            by=play.cast.staff["advisor"],
            at=moment(asked),
        )
