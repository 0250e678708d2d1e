"""Visits: booked with the parts that they need, moved, missed, cancelled.

A booking takes hours of its day and, where one is wanted, a loan car; it holds all
parts of all its jobs or none: pieces on the shelf now, else a
promise on a delivery that comes before the day. What is kept for those who asked
before is never given away.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.domain.loans import drop_loan, move_loan, promise_loan
from campaigns.domain.requests import (
    InTheWorkshop,
    book_request,
    drop_booked,
    hold_list,
    lock_row,
    pass_on,
    refuse_unless_open,
)
from campaigns.domain.room import hold_room, refuse_without_hours
from campaigns.models import (
    CampaignVehicle,
    Repair,
    ScheduledItem,
    Visit,
    VisitJob,
)
from campaigns.models.words import VISIT_WORDS
from campaigns.queries.remedies import Plan, plan_for
from campaigns.queries.waiting import (
    Availability,
    availability,
    before,
    kept_for,
    waiting_list,
)
from campaigns.rules.lifecycle import VISIT_MOVES, RepairState, VisitState, WorkState
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.locks import lock_pockets
from inventory.domain.once import once
from inventory.domain.reserving import lapse, release, reserve_kit
from inventory.models import Reservation
from inventory.queries.numbers import as_numbers, part_ids_of
from inventory.queries.stock import stock_of
from inventory.rules.accounts import ReservationState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from campaigns.models import Campaign
    from campaigns.rules.room import Skill
    from dealership.models import StaffMember, Store
    from vehicles.models import Vehicle

FARTHEST_DAYS = 366
"""A visit further ahead is taken for a slip of the keys; common practice, no source."""


class NothingToDo(Refusal):
    """A visit without a job."""

    def __init__(self) -> None:
        super().__init__(_("Choose at least one job for the visit."))


class DayNotPossible(Refusal):
    """The day has passed or lies too far ahead."""

    def __init__(self, on: dt.date, today: dt.date) -> None:
        if on < today:
            said = _("%(day)s has passed. Choose today or a later day.")
        else:
            said = _("%(day)s is more than a year ahead. Check the year.")
        super().__init__(said % {"day": on.isoformat()})
        self.on = on


class ToBeVerified(Refusal):
    """Nobody knows yet whether the campaign concerns the vehicle."""

    def __init__(self, row: CampaignVehicle) -> None:
        super().__init__(
            _(
                "Whether campaign %(code)s concerns vehicle %(vin)s is still to be"
                " verified. Find that out first, so that no part is held for nothing."
            )
            % {"code": row.campaign.code, "vin": row.vehicle.vin}
        )
        self.vin = row.vehicle.vin
        self.campaign = row.campaign.code


class OtherStore(Refusal):
    """The vehicle belongs to another store or the job to another vehicle."""

    def __init__(self, vin: str) -> None:
        super().__init__(
            _("Vehicle %(vin)s cannot be booked here with this job. Find it again.")
            % {"vin": vin}
        )
        self.vin = vin


class PartsNotThere(Refusal):
    """Not all parts can be promised for the day; ``earliest`` says from when."""

    def __init__(self, vin: str, on: dt.date, there: Availability) -> None:
        short = [
            one for one in there.parts if one.earliest is None or one.earliest > on
        ]
        then = (
            _("The earliest day is %(day)s.") % {"day": there.earliest.isoformat()}
            if there.earliest
            else _(
                "No delivery on its way brings enough. Record the request, and the"
                " vehicle gets its place on the waiting list."
            )
        )
        super().__init__(
            _(
                "Vehicle %(vin)s cannot be booked for %(day)s: part %(parts)s cannot"
                " be promised by then. %(then)s"
            )
            % {
                "vin": vin,
                "day": on.isoformat(),
                "parts": ", ".join(one.part.number for one in short),
                "then": then,
            }
        )
        self.vin = vin
        self.on = on
        self.parts = tuple(one.part.number for one in short)
        self.earliest = there.earliest


class VisitCannotMove(Refusal):
    """The visit stands so that this cannot be done with it."""

    def __init__(self, visit: Visit, to: VisitState | None = None) -> None:
        said = {"now": VISIT_WORDS[VisitState(visit.state)]}
        if to is None:
            text = _("This visit is “%(now)s”, so its day cannot be changed.") % said
        else:
            text = _("This visit is “%(now)s”, so it cannot become “%(to)s”.") % {
                **said,
                "to": VISIT_WORDS[to],
            }
        super().__init__(text + " " + _("Reload the page to see how it stands."))
        self.state = VisitState(visit.state)
        self.to = to


class NotYetDue(Refusal):
    """Somebody is said not to have come on a day that has not come either."""

    def __init__(self, visit: Visit) -> None:
        super().__init__(
            _(
                "The visit is on %(day)s, which has not come yet. Cancel it or move it"
                " if you know that the vehicle does not come."
            )
            % {"day": visit.on.isoformat()}
        )
        self.on = visit.on


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
    """One job of a visit before it is written."""

    wanted: CampaignVehicle | ScheduledItem
    plan: Plan

    @property
    def campaign(self) -> Campaign | None:
        return (
            self.wanted.campaign if isinstance(self.wanted, CampaignVehicle) else None
        )

    @property
    def row(self) -> CampaignVehicle | None:
        return self.wanted if isinstance(self.wanted, CampaignVehicle) else None

    @property
    def item(self) -> ScheduledItem | None:
        return self.wanted if isinstance(self.wanted, ScheduledItem) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Act:
    """Who does it, when, and under which key."""

    key: str
    by: StaffMember | None
    at: dt.datetime
    today: dt.date


def book_visit(
    *,
    key: str,
    vehicle: Vehicle,
    store: Store,
    on: dt.date,
    jobs: Sequence[CampaignVehicle | ScheduledItem],
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
    hour: dt.time | None = None,
    who: str = "",
    contact: str = "",
    note: str = "",
    loan_until: dt.date | None = None,
    over_hours: bool = False,
) -> Visit:
    """Book a vehicle for a day and hold the parts of all its jobs, all or nothing.

    ``jobs`` are campaigns of the vehicle and scheduled items. Whoever books has asked,
    so the day of the first request is kept. ``loan_until``: a loan car is promised
    from the day to that one. ``over_hours``: also where the day's hours are used up.
    The same ``key`` again gives the first visit. Raises NothingToDo, DayNotPossible,
    OtherStore, NothingOpen, ToBeVerified, AlreadyBooked, InTheWorkshop, HoursUsedUp,
    NoLoanCar, LoanEndsTooSoon, PartsNotThere, PartRecalled, or what plan_for raises.
    """
    if not jobs:
        raise NothingToDo
    if not today <= on <= today + timedelta(days=FARTHEST_DAYS):
        raise DayNotPossible(on, today)
    act = _Act(key=key, by=by, at=at, today=today)

    def book() -> Visit:
        hold_room(store)
        planned = _plan_jobs(jobs, vehicle, store, today)
        if not over_hours:
            wanted = _hundredths(planned)
            refuse_without_hours(store=store, on=on, wanted=wanted, today=today)
        visit = Visit.objects.create(
            key=key,
            store=store,
            vehicle=vehicle,
            on=on,
            at=hour,
            who=who.strip()[:120],
            contact=contact.strip()[:120],
            note=note.strip()[:300],
            booked_by=by,
            booked_at=at,
        )
        lock_pockets(store=store, part_ids=_part_ids(planned))
        for number, one in enumerate(planned, start=1):
            job = VisitJob.objects.create(
                visit=visit,
                campaign_vehicle=one.row,
                scheduled_item=one.item,
                variant=one.plan.variant,
            )
            _hold_parts(visit, job, one, act)
            if one.row is not None:
                book_request(
                    key=f"{key}/{number}",
                    row=one.row,
                    who=who,
                    contact=contact,
                    asked_on=today,
                    by=by,
                    at=at,
                )
        if loan_until is not None:
            promise_loan(visit=visit, until=loan_until, by=by, today=today)
        record(
            act="visit.booked",
            subject=visit,
            by=by,
            at=at,
            store=store,
            after=_booked_facts(visit, planned, loan_until, over_hours=over_hours),
        )
        return visit

    return once(found=lambda: Visit.objects.filter(key=key).first(), act=book)


def _plan_jobs(
    jobs: Sequence[CampaignVehicle | ScheduledItem],
    vehicle: Vehicle,
    store: Store,
    today: dt.date,
) -> list[_Job]:
    """Check each job as it stands now, and plan it."""
    if vehicle.store_id != store.pk:
        raise OtherStore(vehicle.vin)
    planned = []
    for wanted in jobs:
        if isinstance(wanted, ScheduledItem):
            plan = plan_for(wanted, today=today, vehicle=vehicle)
            planned.append(_Job(wanted=wanted, plan=plan))
            continue
        row = lock_row(wanted)
        if row.vehicle_id != vehicle.pk or row.store_id != store.pk:
            raise OtherStore(vehicle.vin)
        refuse_unless_open(row)
        if row.work_state == WorkState.TO_VERIFY:
            raise ToBeVerified(row)
        planned.append(_Job(wanted=row, plan=plan_for(row, today=today)))
    return planned


def _hundredths(planned: Sequence[_Job]) -> dict[Skill, int]:
    """Sum up the published time of some jobs by the skill that it asks for."""
    found: dict[Skill, int] = defaultdict(int)
    for job in planned:
        for skill, hundredths in job.plan.hundredths_by_skill.items():
            found[skill] += hundredths
    return dict(found)


def _booked_facts(
    visit: Visit,
    planned: Sequence[_Job],
    loan_until: dt.date | None,
    *,
    over_hours: bool,
) -> dict[str, object]:
    """Give what the trail says of a booking; what was not asked for is left out."""
    facts: dict[str, object] = {
        "on": visit.on.isoformat(),
        "jobs": len(planned),
        "vehicle": visit.vehicle_id,
    }
    if loan_until is not None:
        facts["loan_until"] = loan_until.isoformat()
    if over_hours:
        facts["over_hours"] = True
    return facts


def _part_ids(planned: Sequence[_Job]) -> set[int]:
    return {pk for job in planned for pk in part_ids_of(job.plan.needs())}


def _hold_parts(
    visit: Visit, job: VisitJob, planned: _Job, act: _Act, *, own: bool = False
) -> None:
    """Hold or promise every part of one job for the visit's day.

    Where the bulletin lets an older number serve, what is left of it is taken first.
    ``own``: the vehicle held its pieces until just now, so nobody else comes before
    it. Raises PartsNotThere, PartRecalled.
    """
    needs = planned.plan.needs()
    stock = stock_of(store=visit.store, part_ids=part_ids_of(needs))
    kept = {}
    if not own:
        asked = waiting_list(store=visit.store, today=act.today)
        ahead = before(asked, planned.row)
        kept = kept_for(ahead, campaign=planned.campaign, stock=stock)
    there = availability(
        needs, campaign=planned.campaign, stock=stock, kept=kept, today=act.today
    )
    if there.earliest is None or there.earliest > visit.on:
        raise PartsNotThere(visit.vehicle.vin, visit.on, there)
    if needs:
        reserve_kit(
            key=f"{act.key}/{job.pk}",
            store=visit.store,
            wanted=as_numbers(
                needs,
                stock=stock,
                earmark_ids={one.pk if one else None for one in planned.plan.earmarks},
                today=act.today,
                on=visit.on,
            ),
            earmarks=planned.plan.earmarks,
            subject=job.subject,
            needed_on=visit.on,
            today=act.today,
            by=act.by,
            at=act.at,
        )


def move_visit(
    *,
    key: str,
    visit: Visit,
    to: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
    hour: dt.time | None = None,
    over_hours: bool = False,
) -> Visit:
    """Give a visit another day and check the promise of its parts again.

    A vehicle whose pieces are on the shelf keeps them, and a loan car follows.
    ``hour`` None: no hour is agreed. ``over_hours``: also where the day's hours are
    used up. The same ``key`` again, or the same day and hour, changes nothing. Raises
    DayNotPossible, VisitCannotMove, HoursUsedUp, NoLoanCar, PartsNotThere; then the
    old day stands.
    """
    if not today <= to <= today + timedelta(days=FARTHEST_DAYS):
        raise DayNotPossible(to, today)
    act = _Act(key=key, by=by, at=at, today=today)
    with transaction.atomic():
        hold_room(visit.store)
        visit = _locked(visit)
        if visit.state != VisitState.BOOKED:
            raise VisitCannotMove(visit)
        if (visit.on, visit.at) == (to, hour):
            return visit
        was = {"on": visit.on.isoformat(), "at": str(visit.at or "")}
        moved = visit.on != to
        sooner = to < visit.on
        if moved and not over_hours:
            _refuse_full_day(visit, to, today)
        visit.on, visit.at = to, hour
        visit.save(update_fields=["on", "at"])
        if moved:
            move_loan(visit=visit, today=today)
            _hold_again(visit, act, sooner=sooner)
        record(
            act="visit.moved",
            subject=visit,
            by=by,
            at=at,
            store=visit.store,
            before=was,
            after={"on": to.isoformat(), "at": str(hour or "")},
        )
    return visit


def _refuse_full_day(visit: Visit, to: dt.date, today: dt.date) -> None:
    """Raise HoursUsedUp where another day has not the hours of a visit."""
    planned = [_planned(job, visit, today) for job in _live_jobs(visit)]
    wanted = _hundredths(planned)
    refuse_without_hours(store=visit.store, on=to, wanted=wanted, today=today)


def _hold_again(visit: Visit, act: _Act, *, sooner: bool) -> None:
    """Let go the parts of a visit and hold them for its new day."""
    jobs = list(_live_jobs(visit))
    planned = [_planned(job, visit, act.today) for job in jobs]
    hold_list(
        store=visit.store,
        part_ids=_part_ids(planned) | _promised_parts(jobs),
        today=act.today,
    )
    for job, one in zip(jobs, planned, strict=True):
        states = set(
            Reservation.objects.filter(subject=job.subject)
            .live()
            .values_list("state", flat=True)
        )
        on_shelf = states <= {ReservationState.HELD} and bool(states)
        release(subject=job.subject, by=act.by, at=act.at, why="visit moved")
        _hold_parts(visit, job, one, act, own=on_shelf or not sooner)


def _planned(job: VisitJob, visit: Visit, today: dt.date) -> _Job:
    """Plan a job of a visit again, as its vehicle is now."""
    wanted = job.campaign_vehicle or job.scheduled_item
    assert wanted is not None, "the database keeps one of them"
    return _Job(
        wanted=wanted, plan=plan_for(wanted, today=today, vehicle=visit.vehicle)
    )


def _live_jobs(visit: Visit) -> Sequence[VisitJob]:
    return list(
        visit.jobs.select_related(
            "campaign_vehicle__campaign__earmark",
            "campaign_vehicle__vehicle",
            "scheduled_item",
            "variant",
        ).order_by("pk")
    )


def _promised_parts(jobs: Sequence[VisitJob]) -> set[int]:
    subjects = [job.subject for job in jobs]
    rows = Reservation.objects.filter(subject__in=subjects).live()
    return set(rows.values_list("part_id", flat=True))


def mark_arrived(*, visit: Visit, by: StaffMember | None, at: dt.datetime) -> Visit:
    """Note that the vehicle is here. A repeat changes nothing.

    Raises VisitCannotMove.
    """
    with transaction.atomic():
        return _move(_locked(visit), VisitState.ARRIVED, by=by, at=at)


def mark_missed(
    *,
    visit: Visit,
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
) -> Visit:
    """Note that the vehicle did not come; its parts go to who waits for them.

    A repeat changes nothing. Raises NotYetDue before the day, VisitCannotMove.
    """
    with transaction.atomic():
        visit = _locked(visit)
        if visit.state == VisitState.BOOKED and visit.on > today:
            raise NotYetDue(visit)
        return _end(visit, VisitState.MISSED, by=by, at=at, today=today)


def cancel_visit(
    *,
    visit: Visit,
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
    why: str = "",
) -> Visit:
    """Call a visit off; its parts go to who waits for them.

    A repeat changes nothing. Raises VisitCannotMove.
    """
    with transaction.atomic():
        visit = _locked(visit)
        return _end(visit, VisitState.CANCELLED, by=by, at=at, today=today, why=why)


def _locked(visit: Visit) -> Visit:
    """Read the visit as it stands now and hold it until the transaction ends."""
    return (
        Visit.objects.select_for_update(of=("self",))
        .select_related("store", "vehicle")
        .get(pk=visit.pk)
    )


def _move(
    visit: Visit,
    to: VisitState,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    why: str = "",
) -> Visit:
    """Change the state by the table of moves, with its line in the trail."""
    state = VisitState(visit.state)
    if state is to:
        return visit
    if to not in VISIT_MOVES[state]:
        raise VisitCannotMove(visit, to)
    visit.state = to
    visit.save(update_fields=["state"])
    record(
        act=f"visit.{to}",
        subject=visit,
        by=by,
        at=at,
        store=visit.store,
        before={"state": state.value},
        after={"state": to.value},
        why=why,
    )
    return visit


def _end(
    visit: Visit,
    to: VisitState,
    *,
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
    why: str = "",
) -> Visit:
    """End a visit without the remedy and pass its parts on."""
    if visit.state == to:
        return visit
    jobs = list(_live_jobs(visit))
    _refuse_open_repair(jobs)
    _move(visit, to, by=by, at=at, why=why)
    parts = _promised_parts(jobs)
    hold_list(store=visit.store, part_ids=parts, today=today)
    let_go = lapse if to is VisitState.MISSED else release
    for job in jobs:
        let_go(subject=job.subject, by=by, at=at, why=f"visit {to}")
    visit.jobs.update(live=False)
    drop_loan(visit=visit)
    drop_booked(job.campaign_vehicle_id for job in jobs if job.campaign_vehicle_id)
    pass_on(store=visit.store, part_ids=parts, by=by, at=at, today=today)
    return visit


def _refuse_open_repair(jobs: Sequence[VisitJob]) -> None:
    """Raise InTheWorkshop while one of the jobs is being worked on."""
    repair = Repair.objects.filter(visit_job__in=jobs, state=RepairState.OPEN).first()
    if repair is not None:
        raise InTheWorkshop(repair.vehicle.vin, _job_code(repair), repair.repair_order)


def _job_code(repair: Repair) -> str:
    """Give the code of what a repair works on."""
    if repair.campaign_vehicle is not None:
        return repair.campaign_vehicle.campaign.code
    return repair.scheduled_item.code if repair.scheduled_item else ""


def lapse_missed(
    *, store: Store, by: StaffMember | None, at: dt.datetime
) -> list[Visit]:
    """End the visits nobody came to once the store's days of grace are over."""
    today = timezone.localdate(at)
    last = today - timedelta(days=store.no_show_grace_days)
    late = Visit.objects.in_store(store).filter(state=VisitState.BOOKED, on__lt=last)
    return [mark_missed(visit=visit, by=by, at=at, today=today) for visit in late]


def drop_jobs(
    *, row_ids: Iterable[int], by: StaffMember | None, at: dt.datetime, why: str
) -> int:
    """Take booked work off the visits of vehicles that need it no more.

    Its parts go to who waits for them; a visit with nothing left to do is called off.
    What has arrived or is in work stays. Gives how many jobs were dropped. Runs in the
    transaction of the act that ended the need.
    """
    jobs = (
        VisitJob.objects.filter(
            live=True,
            campaign_vehicle__in=list(row_ids),
            visit__state=VisitState.BOOKED,
        )
        .exclude(repair__state=RepairState.OPEN)
        .order_by("visit_id", "pk")
    )
    dropped = 0
    for job in jobs:
        visit = _locked(job.visit)
        today = timezone.localdate(at)
        if not visit.jobs.filter(live=True).exclude(pk=job.pk).exists():
            cancel_visit(visit=visit, by=by, at=at, today=today, why=why)
        else:
            _drop_job(visit, job, _Act(key="", by=by, at=at, today=today), why)
        dropped += 1
    return dropped


def _drop_job(visit: Visit, job: VisitJob, act: _Act, why: str) -> None:
    """Take one of several jobs off a visit."""
    parts = _promised_parts([job])
    hold_list(store=visit.store, part_ids=parts, today=act.today)
    release(subject=job.subject, by=act.by, at=act.at, why=why)
    job.live = False
    job.save(update_fields=["live"])
    if job.campaign_vehicle_id:
        drop_booked([job.campaign_vehicle_id])
    record(
        act="visit.job_dropped",
        subject=visit,
        by=act.by,
        at=act.at,
        store=visit.store,
        before={"job": job.pk},
        why=why,
    )
    pass_on(store=visit.store, part_ids=parts, by=act.by, at=act.at, today=act.today)
