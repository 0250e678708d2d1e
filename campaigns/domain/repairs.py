"""Work on a vehicle: opened, measured, signed off in one transaction.

The manufacturer's instructions prevail over everything recorded here. Nothing is
signed off while a check is open or out of its limits.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.domain.claims import make_ready
from campaigns.domain.extras import refuse_kept
from campaigns.domain.lifecycle import move, refuse_days_ahead
from campaigns.models import (
    CampaignVehicle,
    CheckReading,
    LabourDone,
    PartFitted,
    PartRequest,
    Repair,
    Visit,
    VisitJob,
)
from campaigns.models.words import READING_WORDS, VISIT_WORDS, WORK_WORDS
from campaigns.queries.cover import repair_cover
from campaigns.queries.labour import repair_labour
from campaigns.queries.remedies import ALL, line_payer
from campaigns.queries.repairs import (
    checks_now,
    demanded_parts,
    hold_subject,
    numbers_by_part,
    part_lines,
    payer_lines,
    payers_by_number,
    planned_needs,
    pockets_of,
)
from campaigns.queries.waiting import availability, before, kept_for, waiting_list
from campaigns.rules.lifecycle import (
    Outcome,
    Payer,
    ReadingResult,
    RepairState,
    RequestState,
    VisitState,
    WorkState,
)
from campaigns.rules.remedy_choice import Limits, judge_reading
from dealership.domain.audit import record
from dealership.domain.series import next_number
from dealership.rules.refusals import Refusal
from inventory.domain.locks import lock_pockets
from inventory.domain.once import once
from inventory.domain.reserving import (
    NothingFree,
    PartRecalled,
    release,
    reserve,
    settle,
)
from inventory.queries.numbers import Needs, as_numbers, part_ids_of, read_chains
from inventory.queries.stock import stock_of
from vehicles.models import Vehicle, VehicleChange
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Mapping, Sequence

    from campaigns.models import ScheduledItem, Variant, VariantCheck, VariantLabour
    from campaigns.queries.repairs import CheckNow
    from dealership.models import StaffMember, Store
    from inventory.domain.reserving import Fitted
    from inventory.models import Part

WORK_AFTER = {
    Outcome.REMEDIED: WorkState.REMEDIED_HERE,
    Outcome.INSPECTED_CLEAR: WorkState.INSPECTED_CLEAR,
    Outcome.NEEDS_REPAIR: WorkState.NEEDS_REPAIR,
}
"""What an outcome makes of the vehicle's state; a stopped repair moves nothing."""

SIGNED_OFF = frozenset({Outcome.REMEDIED, Outcome.INSPECTED_CLEAR})
"""Outcomes that say the vehicle is in order: every check must have passed."""

PLACES = Decimal("0.001")
"""How finely a reading is kept."""


class AlreadyRemedied(Refusal):
    """The remedy was done before; it is done once a vehicle and campaign."""

    def __init__(self, vin: str, code: str, state: WorkState) -> None:
        super().__init__(
            _(
                "Vehicle %(vin)s is “%(state)s” in campaign %(code)s: the remedy is done"
                " once. If that record is wrong, open the vehicle again first."
            )
            % {"vin": vin, "code": code, "state": WORK_WORDS[state]}
        )
        self.vin = vin
        self.code = code
        self.state = state


class NotOpenForWork(Refusal):
    """The vehicle does not want this campaign's work, or not yet."""

    def __init__(self, vin: str, code: str, state: WorkState) -> None:
        verify = state is WorkState.TO_VERIFY
        ask = (
            _("Find out first whether the campaign concerns it.")
            if verify
            else _("There is nothing to repair for this campaign.")
        )
        super().__init__(
            _("Vehicle %(vin)s is “%(state)s” in campaign %(code)s. %(ask)s")
            % {"vin": vin, "code": code, "state": WORK_WORDS[state], "ask": ask}
        )
        self.vin = vin
        self.code = code
        self.state = state


class RepairAlreadyOpen(Refusal):
    """The same work is already open on another repair order."""

    def __init__(self, repair: Repair) -> None:
        super().__init__(
            _("This work is already open on repair order %(order)s. Go on there.")
            % {"order": repair.repair_order}
        )
        self.repair = repair


class VisitOver(Refusal):
    """The visit is done, missed or cancelled."""

    def __init__(self, visit: Visit) -> None:
        super().__init__(
            _("The visit is “%(state)s”. Open the repair from the counter instead.")
            % {"state": VISIT_WORDS[VisitState(visit.state)]}
        )
        self.visit = visit


class RepairNotOpen(Refusal):
    """The repair is signed off or abandoned."""

    def __init__(self, repair: Repair) -> None:
        super().__init__(
            _(
                "Repair order %(order)s is not open any more, so nothing was changed."
                " Reload the page to see what was recorded."
            )
            % {"order": repair.repair_order}
        )
        self.repair = repair


class CheckNotOnThisJob(Refusal):
    """A reading for a check that this variant does not have."""

    def __init__(self, check: VariantCheck) -> None:
        super().__init__(
            _("“%(title)s” is no check of this job. Open the job card again.")
            % {"title": check.title}
        )
        self.check = check


class ReadingUnreadable(Refusal):
    """A measured value that is no number or does not fit the card."""

    def __init__(self, value: Decimal) -> None:
        super().__init__(
            _("%(value)s is not a measured value. Enter a number, such as 44.5.")
            % {"value": value}
        )
        self.value = value


class CheckStopped(Refusal):
    """The last attempt said stop, and nobody is named who was asked."""

    def __init__(self, check: VariantCheck) -> None:
        super().__init__(
            _(
                "“%(title)s” stands at “stop and ask”. Ask before you measure again, and"
                " enter whom you asked and what the answer was."
            )
            % {"title": check.title}
        )
        self.check = check


class CheckOpen(Refusal):
    """A check is open or out of its limits, so nothing can be signed off."""

    def __init__(self, checks: Sequence[CheckNow]) -> None:
        listed = "; ".join(
            f"“{one.check.title}”: {READING_WORDS[one.result]}"
            if one.result
            else _("“%(title)s”: not measured yet") % {"title": one.check.title}
            for one in checks
        )
        super().__init__(
            _(
                "Not every check is within its limits: %(checks)s. Measure until each"
                " passes, or end the repair as “needs repair” or “stopped”."
            )
            % {"checks": listed}
        )
        self.checks = tuple(checks)


class OdometerMissing(Refusal):
    """No odometer reading."""

    def __init__(self) -> None:
        super().__init__(
            _("The odometer is missing. Read it off the vehicle; the claim needs it.")
        )


class OdometerBelowLast(Refusal):
    """The reading is below the last one, and no reason is given."""

    def __init__(self, given: int, last: int) -> None:
        super().__init__(
            _(
                "The odometer reads %(given)s, but %(last)s was recorded before. Check"
                " it; if it is right, say why it is lower."
            )
            % {"given": f"{given:,}", "last": f"{last:,}"}
        )
        self.given = given
        self.last = last


class NegativePieces(Refusal):
    """Fewer than no pieces of a part."""

    def __init__(self, part: Part, quantity: int) -> None:
        super().__init__(
            _("%(part)s: %(quantity)d pieces cannot be fitted. Enter zero or more.")
            % {"part": part.number, "quantity": quantity}
        )
        self.part = part
        self.quantity = quantity


class FewerThanAsked(Refusal):
    """Fewer pieces than the plan and the checks ask for, and no reason."""

    def __init__(self, part: Part, asked: int, used: int) -> None:
        super().__init__(
            _(
                "%(part)s: the job asks for %(asked)d, %(used)d would be fitted. Fit"
                " them all, or say in the note why not."
            )
            % {"part": part.number, "asked": asked, "used": used}
        )
        self.part = part
        self.asked = asked
        self.used = used


class NumberDoesNotServe(Refusal):
    """A piece of another number of the chain, which the bulletin does not allow."""

    def __init__(self, part: Part, serving: Sequence[Part]) -> None:
        super().__init__(
            _(
                "%(part)s does not serve for this job: what is left of that number is"
                " not to be fitted. Fit %(serving)s, as the manufacturer's bulletin"
                " says."
            )
            % {
                "part": part.number,
                "serving": _(" or ").join(one.number for one in serving),
            }
        )
        self.part = part
        self.serving = tuple(serving)


class ClearWithParts(Refusal):
    """Inspected clear, yet pieces were fitted."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "“Inspected, no repair needed” goes with no parts. Set the parts to"
                " zero, or choose “remedied”."
            )
        )


class WhyMissing(Refusal):
    """A repair is given up without a reason."""

    def __init__(self) -> None:
        super().__init__(_("Say why the repair is given up; the reason is kept."))


def open_repair(
    *,
    key: str,
    store: Store,
    by: StaffMember | None,
    at: dt.datetime,
    visit_job: VisitJob | None = None,
    campaign_vehicle: CampaignVehicle | None = None,
    scheduled_item: ScheduledItem | None = None,
    vehicle: Vehicle | None = None,
    variant: Variant | None = None,
    technician: StaffMember | None = None,
    repair_order: str = "",
) -> Repair:
    """Open the work on one job: of a visit, or of a vehicle that just came in.

    Give ``visit_job``; or ``campaign_vehicle`` and ``variant``; or ``scheduled_item``,
    ``vehicle`` and ``variant``. A vehicle that has a booking for the campaign uses that
    booking. A walk-in holds what is free of the planned parts; what is not free is
    looked for again at the sign-off. All jobs of a visit share one repair order; the
    number is the store's next unless one is given. The same key again gives the first
    result. Raises AlreadyRemedied, NotOpenForWork, RepairAlreadyOpen, VisitOver.
    """
    if visit_job is None and campaign_vehicle is not None:
        visit_job = _booking_of(campaign_vehicle, store)
    if visit_job is not None:
        campaign_vehicle = visit_job.campaign_vehicle
        scheduled_item = visit_job.scheduled_item
        vehicle, variant = visit_job.visit.vehicle, visit_job.variant
    elif campaign_vehicle is not None:
        vehicle = campaign_vehicle.vehicle
    assert vehicle is not None, "a repair is of a vehicle"
    assert variant is not None, "a repair follows a variant"
    repair = Repair(
        key=key,
        store=store,
        vehicle=vehicle,
        campaign_vehicle=campaign_vehicle,
        scheduled_item=scheduled_item,
        visit_job=visit_job,
        variant=variant,
        technician=technician,
        opened_at=at,
    )

    def found() -> Repair | None:
        return Repair.objects.filter(key=key).first()

    def act() -> Repair:
        _wait_for_others(repair)
        _refuse_opening(repair)
        repair.repair_order = repair_order.strip()[:20] or _order_number(repair)
        repair.save()
        _note_arrival(repair)
        if visit_job is None:
            _hold_what_is_free(repair, by=by, at=at)
        record(
            act="repair.opened",
            subject=repair,
            by=by,
            at=at,
            store=store,
            after={"repair_order": repair.repair_order, "variant": variant.pk},
        )
        return repair

    return once(found=found, act=act)


def record_reading(
    *,
    repair: Repair,
    check: VariantCheck,
    value: Decimal,
    unit: str,
    by: StaffMember | None,
    at: dt.datetime,
    attempt: int | None = None,
    asked: str = "",
) -> CheckReading:
    """Record one attempt at a check and say what it means; every attempt is kept.

    ``value`` is in ``unit``: the check's, or millimetres and inches for each other.
    ``attempt`` counts from 1 and makes a repeat harmless; without it the next. After
    “stop and ask” a further attempt needs ``asked``: whom, and the answer. Raises
    RepairNotOpen, CheckNotOnThisJob, ReadingUnreadable, CheckStopped, UnitsDiffer.
    """
    if check.variant_id != repair.variant_id:
        raise CheckNotOnThisJob(check)
    if not value.is_finite() or abs(value) >= Decimal(10) ** 7:
        raise ReadingUnreadable(value)
    kept = value.quantize(PLACES)

    def found() -> CheckReading | None:
        return (
            CheckReading.objects.filter(
                repair=repair, check_of=check, attempt=attempt, value=kept, unit=unit
            ).first()
            if attempt is not None
            else None
        )

    def act() -> CheckReading:
        _hold_open(repair)
        earlier = list(repair.readings.filter(check_of=check).order_by("attempt"))
        stopped = bool(earlier) and earlier[-1].result == ReadingResult.STOP
        if stopped and not asked.strip():
            raise CheckStopped(check)
        number = len(earlier) + 1
        limits = Limits(
            unit=check.unit,
            low=check.low,
            high=check.high,
            outside=ReadingResult(check.outside),
            attempts=check.attempts,
        )
        reading = CheckReading.objects.create(
            repair=repair,
            check_of=check,
            attempt=number,
            value=kept,
            unit=unit,
            result=judge_reading(limits, kept, unit=unit, attempt=number),
            by=by,
            recorded_at=at,
        )
        record(
            act="repair.measured",
            subject=repair,
            by=by,
            at=at,
            store=repair.store,
            after={"check": check.pk, "attempt": number, "result": reading.result},
            why=asked.strip(),
        )
        return reading

    return once(found=found, act=act)


def complete_repair(
    *,
    key: str,
    repair: Repair,
    outcome: Outcome,
    used: Mapping[Part, int],
    odometer: int | None,
    done_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    technician: StaffMember | None = None,
    operations: Collection[VariantLabour] | None = None,
    note: str = "",
    odometer_why: str = "",
) -> Repair:
    """Sign a repair off: parts, state, visit, request and claim in one transaction.

    ``used``: pieces fitted, by part; what was held and not fitted is free again.
    ``operations``: the labour done; None: all for “remedied”, and for “inspected clear”
    where the variant plans no part. The pieces leave the books by cost layer, each with
    its payer; the lines that the manufacturer pays become a claim that is ready. An
    older number counts for the newer where the bulletin lets it serve, and is recorded
    and claimed as what it is. The same key again gives the first result. Raises
    RepairNotOpen, CheckOpen, OdometerMissing, OdometerBelowLast, NegativePieces,
    FewerThanAsked, NumberDoesNotServe, KeptForOthers, ClearWithParts, DayAhead,
    AlreadyRemedied, MoveNotAllowed, NotEnough, PartRecalled.
    """
    if odometer is None:
        raise OdometerMissing
    for part, pieces in used.items():
        if pieces < 0:
            raise NegativePieces(part, pieces)
    refuse_days_ahead(done_on, at)

    def found() -> Repair | None:
        first = Repair.objects.filter(completion_key=key).first()
        if first is not None and first.pk != repair.pk:
            raise RepairNotOpen(repair)
        return first

    def act() -> Repair:
        fresh = _fresh(repair)
        _close(
            fresh,
            completion_key=key,
            outcome=outcome,
            done_on=done_on,
            odometer=odometer,
            technician=technician or fresh.technician or by,
            completed_at=at,
            note=note.strip()[:300],
        )
        checks = checks_now(fresh)
        planned = part_lines(fresh.variant)
        numbers = numbers_by_part(planned, checks)
        _refuse_sign_off(fresh, checks, outcome, used, note=note, numbers=numbers)
        _refuse_other_numbers(used, numbers)
        refuse_kept(
            repair=fresh, used=used, numbers=numbers, today=timezone.localdate(at)
        )
        verdict = repair_cover(fresh, odometer_miles=odometer)
        _note_odometer(fresh, odometer, why=odometer_why, by=by, at=at)
        pieces = settle(
            subject=hold_subject(fresh),
            store=fresh.store,
            used={part: number for part, number in used.items() if number},
            earmarks=pockets_of(fresh),
            key=f"repair:{fresh.pk}:{key}",
            effective_on=done_on,
            by=by,
            at=at,
        )
        stated = payers_by_number(planned, checks, numbers)
        payers = {
            part_id: line_payer(payer, verdict.payer)
            for part_id, payer in stated.items()
        }
        fitted = [_fit(fresh, one, payers) for one in pieces]
        for line in _labour_done(fresh, outcome, operations):
            _note_labour(fresh, line, verdict.payer)
        remedied = outcome is Outcome.REMEDIED
        make_ready(
            repair=fresh,
            lines=payer_lines(
                repair=fresh,
                verdict=verdict,
                fitted=fitted,
                labour=repair_labour(fresh, today=done_on).of_repair(fresh),
                allowances=list(fresh.variant.allowances.all()) if remedied else [],
                stated=stated,
            ),
            by=by,
            at=at,
        )
        _move_on(fresh, outcome, done_on, by=by, at=at)
        _end_booking(fresh, outcome)
        record(
            act="repair.completed",
            subject=fresh,
            by=by,
            at=at,
            store=fresh.store,
            after={
                "outcome": outcome.value,
                "odometer": odometer,
                "pieces": sum(one.quantity for one in fitted),
            },
            why="; ".join(
                text.strip() for text in (note, odometer_why) if text.strip()
            ),
        )
        return fresh

    done = once(found=found, act=act)
    repair.refresh_from_db()
    return done


def abandon_repair(
    *, repair: Repair, why: str, by: StaffMember | None, at: dt.datetime
) -> Repair:
    """Give up a repair that was opened by mistake; nothing of it counts.

    A walk-in's parts are free again; a booking keeps its own, and can be opened once
    more. A repeat changes nothing. Raises WhyMissing, RepairNotOpen.
    """
    if not why.strip():
        raise WhyMissing
    with transaction.atomic():
        fresh = _fresh(repair)
        if fresh.state == RepairState.ABANDONED:
            return fresh
        _hold_open(fresh)
        if fresh.visit_job is None:
            release(subject=hold_subject(fresh), by=by, at=at, why=why)
        Repair.objects.filter(pk=fresh.pk).update(
            state=RepairState.ABANDONED, visit_job=None, note=why.strip()[:300]
        )
        record(
            act="repair.abandoned",
            subject=fresh,
            by=by,
            at=at,
            store=fresh.store,
            why=why.strip(),
        )
    repair.refresh_from_db()
    return repair


def _fresh(repair: Repair) -> Repair:
    """Read a repair with all that a sign-off looks at."""
    return Repair.objects.select_related(
        "store",
        "vehicle",
        "variant",
        "technician",
        "scheduled_item",
        "visit_job__visit",
        "campaign_vehicle__campaign__earmark",
        "campaign_vehicle__vehicle",
        "campaign_vehicle__store",
    ).get(pk=repair.pk)


def _booking_of(row: CampaignVehicle, store: Store) -> VisitJob | None:
    """Give the live booking of a vehicle and campaign in this store."""
    return (
        VisitJob.objects.filter(campaign_vehicle=row, live=True, visit__store=store)
        .select_related("visit__vehicle", "campaign_vehicle", "variant")
        .first()
    )


def _wait_for_others(repair: Repair) -> None:
    """Hold what the repair is of, so that two who open it at once come one by one."""
    if repair.campaign_vehicle is not None:
        rows = CampaignVehicle.objects.select_for_update().order_by()
        rows.values_list("pk").get(pk=repair.campaign_vehicle.pk)
    if repair.visit_job is not None:
        jobs = VisitJob.objects.select_for_update().order_by()
        jobs.values_list("pk").get(pk=repair.visit_job.pk)


def _refuse_opening(repair: Repair) -> None:
    """Refuse by name what the constraints would refuse without words."""
    row = repair.campaign_vehicle
    if row is not None:
        row.refresh_from_db(fields=["work_state"])
        state = WorkState(row.work_state)
        code = row.campaign.code
        if state in {WorkState.REMEDIED_HERE, WorkState.REMEDIED_ELSEWHERE}:
            raise AlreadyRemedied(repair.vehicle.vin, code, state)
        if state not in {WorkState.OPEN, WorkState.NEEDS_REPAIR}:
            raise NotOpenForWork(repair.vehicle.vin, code, state)
        open_now = Repair.objects.filter(campaign_vehicle=row, state=RepairState.OPEN)
        for other in open_now[:1]:
            raise RepairAlreadyOpen(other)
    job = repair.visit_job
    if job is not None:
        for other in Repair.objects.filter(visit_job=job)[:1]:
            raise RepairAlreadyOpen(other)
        if job.visit.state not in {VisitState.BOOKED, VisitState.ARRIVED}:
            raise VisitOver(job.visit)


def _order_number(repair: Repair) -> str:
    """Give the visit's repair order, else the store's next number."""
    job = repair.visit_job
    if job is not None:
        same = Repair.objects.filter(visit_job__visit=job.visit).exclude(
            state=RepairState.ABANDONED
        )
        for other in same[:1]:
            return other.repair_order
    number = next_number(store=repair.store, kind="repair_order")
    return f"{repair.store.code}-{number:05}"


def _note_arrival(repair: Repair) -> None:
    """Note that the vehicle is here, and that its owner asked for the remedy."""
    job = repair.visit_job
    if job is not None:
        Visit.objects.filter(pk=job.visit_id, state=VisitState.BOOKED).update(
            state=VisitState.ARRIVED
        )
    row = repair.campaign_vehicle
    if row is not None and repair.vehicle.standing == Standing.CUSTOMER:
        CampaignVehicle.objects.filter(pk=row.pk, first_asked_on=None).update(
            first_asked_on=timezone.localdate(repair.opened_at)
        )


def _hold_what_is_free(
    repair: Repair, *, by: StaffMember | None, at: dt.datetime
) -> None:
    """Hold the planned parts of a walk-in as far as they are free, by part row.

    What the waiting list keeps for those who asked before stays theirs.
    """
    today = timezone.localdate(at)
    for part, pieces in _left_for(repair, today=today):
        try:
            reserve(
                key=f"repair:{repair.pk}:{part.pk}",
                store=repair.store,
                part=part,
                quantity=pieces,
                earmarks=pockets_of(repair),
                subject=hold_subject(repair),
                needed_on=today,
                today=today,
                by=by,
                at=at,
            )
        except (NothingFree, PartRecalled):
            continue


def _left_for(repair: Repair, *, today: dt.date) -> list[tuple[Part, int]]:
    """Give the planned parts that can be had today, by part row, and their pieces.

    Each under the number of which pieces are taken.
    """
    needs = planned_needs(repair.variant)
    ids = part_ids_of(needs)
    lock_pockets(store=repair.store, part_ids=ids)
    stock = stock_of(store=repair.store, part_ids=ids)
    row = repair.campaign_vehicle
    campaign = row.campaign if row else None
    ahead = before(waiting_list(store=repair.store, today=today), row)
    there = availability(
        needs,
        campaign=campaign,
        stock=stock,
        kept=kept_for(ahead, campaign=campaign, stock=stock),
        today=today,
    )
    here = {
        part: pieces
        for (part, pieces), one in zip(needs.items(), there.parts, strict=True)
        if one.earliest is not None and one.earliest <= today
    }
    taken = as_numbers(
        Needs(here, needs.numbers),
        stock=stock,
        earmark_ids={one.pk if one else None for one in pockets_of(repair)},
        today=today,
        on=today,
    )
    return sorted(taken.items(), key=lambda row: row[0].pk)


def _hold_open(repair: Repair) -> None:
    """Hold the row until the transaction ends; refuse unless it is open."""
    row = Repair.objects.filter(pk=repair.pk, state=RepairState.OPEN)
    if not row.update(state=RepairState.OPEN):
        raise RepairNotOpen(repair)


def _close(repair: Repair, **facts: object) -> None:
    """Write the sign-off if the repair is still open."""
    row = repair.campaign_vehicle
    try:
        changed = Repair.objects.filter(pk=repair.pk, state=RepairState.OPEN).update(
            state=RepairState.COMPLETED, **facts
        )
    except IntegrityError as fault:
        if row is None:
            raise
        state = WorkState.REMEDIED_HERE
        raise AlreadyRemedied(repair.vehicle.vin, row.campaign.code, state) from fault
    if not changed:
        raise RepairNotOpen(repair)
    for name, value in {"state": RepairState.COMPLETED, **facts}.items():
        setattr(repair, name, value)


def _refuse_sign_off(
    repair: Repair,
    checks: Sequence[CheckNow],
    outcome: Outcome,
    used: Mapping[Part, int],
    *,
    note: str,
    numbers: Mapping[int, Sequence[Part]],
) -> None:
    """Refuse a sign-off with a check open, or with pieces that do not fit it."""
    row = repair.campaign_vehicle
    if row is not None and row.work_state == WorkState.REMEDIED_HERE:
        raise AlreadyRemedied(
            repair.vehicle.vin, row.campaign.code, WorkState.REMEDIED_HERE
        )
    if outcome not in SIGNED_OFF:
        return
    still_open = [one for one in checks if not one.closed]
    if still_open:
        raise CheckOpen(still_open)
    if outcome is Outcome.INSPECTED_CLEAR:
        if any(used.values()):
            raise ClearWithParts
        return
    if note.strip():
        return
    for part, asked in demanded_parts(repair.variant, checks):
        fitted = sum(used.get(number, 0) for number in numbers[part.pk])
        if fitted < asked:
            raise FewerThanAsked(part, asked, fitted)


def _refuse_other_numbers(
    used: Mapping[Part, int], numbers: Mapping[int, Sequence[Part]]
) -> None:
    """Refuse pieces of a number in the chain of a part of the job that does not serve."""
    allowed = {one.pk for serving in numbers.values() for one in serving}
    beside = [
        part for part, pieces in used.items() if pieces and part.pk not in allowed
    ]
    if not beside:
        return
    for wanted, serving in numbers.items():
        chain = read_chains([wanted]).parts
        for part in beside:
            if part.pk in chain and not part.recalled:
                raise NumberDoesNotServe(part, serving)


def _note_odometer(
    repair: Repair,
    miles: int,
    *,
    why: str,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Put the reading on the vehicle, unless a later one stands there."""
    vehicle = repair.vehicle
    last, last_on, done_on = vehicle.odometer, vehicle.odometer_on, repair.done_on
    if last_on is not None and done_on is not None and last_on > done_on:
        return
    if last is not None and miles < last and not why.strip():
        raise OdometerBelowLast(miles, last)
    Vehicle.objects.filter(pk=vehicle.pk).update(
        odometer=miles, odometer_on=done_on, changed_at=at
    )
    if miles != last:
        VehicleChange.objects.create(
            vehicle=vehicle,
            field="odometer",
            before="" if last is None else str(last),
            after=str(miles),
            at=at,
            by=by,
        )


def _fit(repair: Repair, piece: Fitted, payers: Mapping[int, Payer]) -> PartFitted:
    """Write which pieces went in and who pays; beyond the plan it is the store."""
    return PartFitted.objects.create(
        repair=repair,
        part=piece.part,
        layer=piece.layer,
        movement=piece.movement,
        quantity=piece.quantity,
        unit_cost_cents=piece.unit_cost_cents,
        payer=payers.get(piece.part.pk, Payer.STORE),
    )


def _labour_done(
    repair: Repair, outcome: Outcome, operations: Collection[VariantLabour] | None
) -> list[VariantLabour]:
    """Give the labour that was done, in the variant's order."""
    labour = list(repair.variant.labour.order_by("pk"))
    if operations is not None:
        ids = {one.pk for one in operations}
        return [one for one in labour if one.pk in ids]
    if outcome is Outcome.REMEDIED:
        return labour
    planned = repair.variant.parts.filter(share_basis_points=ALL).exists()
    return labour if outcome is Outcome.INSPECTED_CLEAR and not planned else []


def _note_labour(repair: Repair, line: VariantLabour, payer: Payer | None) -> None:
    """Write a labour line that was done, with its one payer."""
    LabourDone.objects.create(
        repair=repair,
        labour=line,
        operation=line.operation,
        title=line.title,
        hundredths_of_hour=line.hundredths_of_hour,
        includes=line.includes,
        times=line.times,
        payer=line_payer(Payer(line.payer), payer),
    )


def _move_on(
    repair: Repair,
    outcome: Outcome,
    done_on: dt.date,
    *,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Move the vehicle's state in the campaign as the outcome says."""
    row, to = repair.campaign_vehicle, WORK_AFTER.get(outcome)
    if row is None or to is None or row.work_state == to:
        return
    move(
        campaign_vehicle=row,
        to=to,
        effective_on=done_on,
        by=by,
        at=at,
        why=_("Repair order %(order)s") % {"order": repair.repair_order},
        source=f"repair:{repair.pk}",
    )


def _end_booking(repair: Repair, outcome: Outcome) -> None:
    """Close the visit once all its jobs are over, and the vehicle's requests.

    Where the remedy is still to be done the place on the waiting list comes back.
    """
    job = repair.visit_job
    if job is not None:
        VisitJob.objects.filter(pk=job.pk).update(live=False)
        if not VisitJob.objects.filter(visit=job.visit_id, live=True).exists():
            Visit.objects.filter(
                pk=job.visit_id, state__in=[VisitState.BOOKED, VisitState.ARRIVED]
            ).update(state=VisitState.DONE)
    row = repair.campaign_vehicle
    if row is None:
        return
    requests = PartRequest.objects.filter(campaign_vehicle=row)
    if outcome in SIGNED_OFF:
        requests.filter(
            state__in=[
                RequestState.WAITING,
                RequestState.OFFERED,
                RequestState.BOOKED,
            ]
        ).update(state=RequestState.DONE)
        return
    booked = requests.filter(state=RequestState.BOOKED)
    listed = requests.filter(state__in=[RequestState.WAITING, RequestState.OFFERED])
    first = booked.order_by("asked_on", "pk").first()
    if first is not None and not listed.exists():
        booked.exclude(pk=first.pk).update(state=RequestState.DONE)
        PartRequest.objects.filter(pk=first.pk).update(state=RequestState.WAITING)
