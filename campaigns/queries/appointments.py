"""The day's appointments: what each vehicle wants, and whether its parts are there."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from django.db.models import Q

from campaigns.models import CampaignVehicle, Repair, VisitJob
from campaigns.queries.remedies import (
    DueItem,
    Plan,
    campaign_class_of,
    due_items_of,
    plan_key,
    plans_for,
)
from campaigns.queries.waiting import (
    Asked,
    Availability,
    availability,
    before,
    kept_for,
    waiting_list,
)
from campaigns.rules.lifecycle import (
    STILL_OPEN,
    CampaignClass,
    CampaignState,
    RepairState,
    WorkState,
)
from dealership.rules.refusals import Refusal
from inventory.queries.numbers import ordered_as, part_ids_of
from inventory.queries.stock import StockOf, stock_of
from vehicles.models import Vehicle
from vehicles.queries.vehicles import with_owners
from vehicles.rules.vin import VIN_LENGTH, judge_vin


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from campaigns.models import Campaign, Visit
    from campaigns.rules.appointments import Appointment
    from dealership.models import StaffMember, Store

_CLASS_ORDER = list(CampaignClass)


class Stand(StrEnum):
    """How one vehicle of the list stands, what wants doing first."""

    CAN_HOLD = "can_hold"
    LATER = "later"
    TO_VERIFY = "to_verify"
    UNCLEAR = "unclear"
    UNKNOWN = "unknown"
    HELD = "held"
    IN_WORK = "in_work"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenJob:
    """One open campaign of a vehicle on the list."""

    row: CampaignVehicle
    plan: Plan | None
    why_no_plan: str
    there: Availability | None
    booked: Visit | None
    in_work: bool
    day: dt.date

    @property
    def campaign(self) -> Campaign:
        """Give the campaign."""
        return self.row.campaign

    @property
    def stand(self) -> Stand:
        """Tell how it stands for the day of the list."""
        if self.in_work:
            return Stand.IN_WORK
        if self.booked is not None:
            return Stand.HELD
        if self.row.work_state == WorkState.TO_VERIFY:
            return Stand.TO_VERIFY
        if self.there is None:
            return Stand.UNCLEAR
        earliest = self.there.earliest
        in_time = earliest is not None and earliest <= self.day
        return Stand.CAN_HOLD if in_time else Stand.LATER


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One vehicle of the list: its open campaigns, the most urgent first."""

    appointment: Appointment
    vehicle: Vehicle | None
    why_unknown: str
    jobs: tuple[OpenJob, ...]
    due: tuple[DueItem, ...]

    @property
    def stand(self) -> Stand:
        """Tell what wants doing first."""
        if self.vehicle is None:
            return Stand.UNKNOWN
        stands = {job.stand for job in self.jobs}
        return next((one for one in Stand if one in stands), Stand.NOTHING)

    @property
    def to_hold(self) -> tuple[OpenJob, ...]:
        """Give the jobs whose parts can be held for the day."""
        return tuple(job for job in self.jobs if job.stand is Stand.CAN_HOLD)

    @property
    def hundredths_of_hour(self) -> int:
        """Give the published time of all open campaigns, in hundredths of an hour."""
        return sum(job.plan.hundredths_of_hour for job in self.jobs if job.plan)

    @property
    def owner_name(self) -> str:
        """Give who has the vehicle now."""
        tenures = getattr(self.vehicle, "open_tenures", [])
        return tenures[0].party.name if tenures else ""


def appointments_of(
    *,
    staff: StaffMember,
    store: Store,
    listed: Sequence[Appointment],
    day: dt.date,
    today: dt.date,
) -> list[Line]:
    """Look at a day's appointments together, in a fixed number of queries.

    Sorted by what wants doing, then by class, then by hour. Pieces that an earlier
    line of the list would take are not offered to a later one again.
    """
    found = _vehicles(staff, store, listed)
    vehicles = {vehicle.pk: vehicle for vehicle in found.values()}
    jobs = _jobs(vehicles, store, day, today)
    due = due_items_of(list(vehicles.values()), today=today)
    elsewhere = _elsewhere(listed, found)
    lines = []
    for one in listed:
        vehicle = found.get(one.number)
        lines.append(
            Line(
                appointment=one,
                vehicle=vehicle,
                why_unknown="" if vehicle else _why_unknown(one, elsewhere),
                jobs=tuple(jobs[vehicle.pk]) if vehicle else (),
                due=tuple(due[vehicle.pk]) if vehicle else (),
            )
        )
    return sorted(lines, key=_order)


def _vehicles(
    staff: StaffMember, store: Store, listed: Sequence[Appointment]
) -> dict[int, Vehicle]:
    """Find the vehicle of each line, each vehicle once: by VIN, last eight, plate."""
    codes = {code for one in listed for code in one.codes}
    rows = with_owners(Vehicle.objects.for_staff(staff).in_store(store)).filter(
        Q(vin__in=codes) | Q(vin_tail__in=codes) | Q(plate__in=codes)
    )
    by_code: dict[str, list[Vehicle]] = {}
    for row in rows:
        for code in {row.vin, row.vin_tail, row.plate}:
            by_code.setdefault(code, []).append(row)
    found: dict[int, Vehicle] = {}
    taken: set[int] = set()
    for one in listed:
        for code in one.codes:
            named = by_code.get(code, [])
            # Two vehicles with one tail or plate: a person has to say which.
            if len(named) == 1 and named[0].pk not in taken:
                found[one.number] = named[0]
                taken.add(named[0].pk)
                break
    return found


def _elsewhere(
    listed: Sequence[Appointment], found: dict[int, Vehicle]
) -> frozenset[str]:
    """Tell which VINs of the list are looked after by another store."""
    missing = {code for one in listed if one.number not in found for code in one.codes}
    rows = Vehicle.objects.filter(vin__in=missing) if missing else ()
    return frozenset(row.vin for row in rows)


def _why_unknown(one: Appointment, elsewhere: frozenset[str]) -> str:
    """Say why a line names no vehicle of this store."""
    if elsewhere & set(one.codes):
        return "elsewhere"
    if len(one.codes[0]) != VIN_LENGTH:
        return ""
    verdict = judge_vin(one.codes[0])
    sentences = [reason.sentence for reason in verdict.reasons]
    return " ".join(sentences)


def _jobs(
    vehicles: dict[int, Vehicle], store: Store, day: dt.date, today: dt.date
) -> dict[int, list[OpenJob]]:
    """Read the open campaigns of all vehicles, each with its parts."""
    rows = list(
        CampaignVehicle.objects.filter(
            vehicle__in=vehicles, store=store, work_state__in=STILL_OPEN
        )
        .exclude(campaign__state=CampaignState.DRAFT)
        .select_related("campaign__earmark", "vehicle")
        .order_by("campaign__announced_on", "pk")
    )
    rows.sort(key=lambda row: _CLASS_ORDER.index(campaign_class_of(row.campaign)))
    plans = plans_for(rows, today=today)
    desk = _Desk.of(store, plans.values(), today)
    booked, in_work = _booked(rows), _in_work(rows)
    jobs: dict[int, list[OpenJob]] = {pk: [] for pk in vehicles}
    for row in rows:
        plan = plans[plan_key(row)]
        there = None
        if isinstance(plan, Plan) and row.pk not in booked:
            there = desk.there(plan, row, day)
        jobs[row.vehicle_id].append(
            OpenJob(
                row=row,
                plan=plan if isinstance(plan, Plan) else None,
                why_no_plan=plan.sentence if isinstance(plan, Refusal) else "",
                there=there,
                booked=booked.get(row.pk),
                in_work=row.pk in in_work,
                day=day,
            )
        )
    return jobs


def _booked(rows: Sequence[CampaignVehicle]) -> dict[int, Visit]:
    """Read which are booked already."""
    jobs = VisitJob.objects.filter(campaign_vehicle__in=rows, live=True)
    return {
        job.campaign_vehicle_id or 0: job.visit for job in jobs.select_related("visit")
    }


def _in_work(rows: Sequence[CampaignVehicle]) -> set[int]:
    """Read which are in the workshop."""
    repairs = Repair.objects.filter(campaign_vehicle__in=rows, state=RepairState.OPEN)
    return {pk or 0 for pk in repairs.values_list("campaign_vehicle", flat=True)}


@dataclass(slots=True)
class _Desk:
    """The shelf as the list draws it down, line by line."""

    stock: StockOf
    asked: list[Asked]
    today: dt.date
    # pieces that earlier lines would take, by the row that takes them
    given: dict[int, dict[int, int]]

    @classmethod
    def of(cls, store: Store, plans: Iterable[Plan | Refusal], today: dt.date) -> _Desk:
        """Read shelf and waiting list once."""
        made = [plan for plan in plans if isinstance(plan, Plan)]
        parts = {pk for plan in made for pk in part_ids_of(plan.needs())}
        return cls(
            stock=stock_of(store=store, part_ids=parts),
            asked=waiting_list(store=store, today=today),
            today=today,
            given={},
        )

    def there(self, plan: Plan, row: CampaignVehicle, day: dt.date) -> Availability:
        """Tell from when its parts can be promised, and set them aside in the list."""
        needs = plan.needs()
        ahead = before(self.asked, row)
        kept = Counter(kept_for(ahead, campaign=row.campaign, stock=self.stock))
        waiting = {one.request.campaign_vehicle_id for one in ahead}
        for pk, pieces in self.given.items():
            if pk not in waiting:
                kept.update(pieces)
        found = availability(
            needs,
            campaign=row.campaign,
            stock=self.stock,
            kept=kept,
            today=self.today,
        )
        if found.earliest is not None and found.earliest <= day:
            self.given[row.pk] = {
                ordered_as(needs, part).pk: pieces for part, pieces in needs.items()
            }
        return found


def _order(line: Line) -> tuple[int, int, bool, object, int]:
    """Order: what wants doing, the class, the hour, the place in the list."""
    first = next(iter(line.jobs), None)
    hour = line.appointment.hour
    return (
        list(Stand).index(line.stand),
        _CLASS_ORDER.index(campaign_class_of(first.campaign)) if first else 99,
        hour is None,
        hour or "",
        line.appointment.number,
    )
