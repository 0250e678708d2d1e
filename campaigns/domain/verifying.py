"""What a person decides about one vehicle of a campaign."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.domain.announcing import ReasonMissing, ruling_version
from campaigns.domain.booking import drop_jobs
from campaigns.domain.lifecycle import Move, MoveNotAllowed, move, write_moves
from campaigns.domain.matching import (
    CONFIRMED,
    RULED_OUT,
    Stands,
    decide,
    state_after,
)
from campaigns.models import CampaignVehicle, ListedVin
from campaigns.queries.criteria import rules_of
from campaigns.rules.lifecycle import (
    STILL_OPEN,
    CampaignClass,
    Change,
    WorkState,
)
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from vehicles.rules.criteria import VehicleFacts
from vehicles.rules.matching import match
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import StateChange
    from dealership.models import StaffMember

_REOPENED = (
    WorkState.REMEDIED_ELSEWHERE,
    WorkState.INSPECTED_CLEAR,
    WorkState.DISQUALIFIED,
)


class NothingRules(Refusal):
    """The campaign has no criteria in force yet."""

    def __init__(self) -> None:
        super().__init__(
            _("No criteria are in force yet. Match the campaign and apply the result.")
        )


class NotOwnStock(Refusal):
    """A planned day is for the store's own vehicles that still want work."""

    def __init__(self, vin: str) -> None:
        super().__init__(
            _(
                "Vehicle %(vin)s is not an open one of the store's own stock. Book a"
                " visit for it instead."
            )
            % {"vin": vin}
        )
        self.vin = vin


class OnlyEmissions(Refusal):
    """Only an emissions recall knows disqualified vehicles."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "Only an emissions recall can refuse a vehicle for poor maintenance or"
                " use (40 CFR 1068.525). Leave it open."
            )
        )


def confirm_vehicle(
    *, row: CampaignVehicle, why: str, by: StaffMember, at: dt.datetime
) -> StateChange:
    """Say that a vehicle to be verified belongs to the campaign.

    Raises ReasonMissing and MoveNotAllowed.
    """
    return _settle(row, WorkState.OPEN, CONFIRMED, why=why, by=by, at=at)


def rule_out_vehicle(
    *, row: CampaignVehicle, why: str, by: StaffMember, at: dt.datetime
) -> StateChange:
    """Say that a vehicle to be verified does not belong to the campaign.

    Raises ReasonMissing and MoveNotAllowed.
    """
    return _settle(row, WorkState.REMOVED, RULED_OUT, why=why, by=by, at=at)


def judge_again(
    *, row: CampaignVehicle, by: StaffMember, at: dt.datetime
) -> StateChange | None:
    """Match one vehicle with the criteria in force, after a fact was corrected.

    None where nothing changes. Raises NothingRules.
    """
    version = ruling_version(row.campaign)
    if version is None:
        raise NothingRules
    vehicle = row.vehicle
    listed = ListedVin.objects.filter(
        campaign=row.campaign_id, vin=vehicle.vin
    ).exists()
    rules = rules_of(version)
    verdict = match(
        VehicleFacts(
            vin=vehicle.vin,
            model_year=vehicle.model_year,
            line=vehicle.line,
            engine=vehicle.engine,
            plant=vehicle.plant,
            serial=vehicle.serial,
            build_date=vehicle.build_date,
            on_list=listed if rules.listed_vins is not None else None,
        ),
        rules,
    )
    stands = Stands(WorkState(row.work_state), row.outcome, row.on_list)
    change = decide(stands, verdict, listed=listed)
    reasons = [reason.to_json() for reason in verdict.reasons]
    if change is None:
        CampaignVehicle.objects.filter(pk=row.pk).update(reasons=reasons)
        return None
    return _write(
        Move(
            row=row,
            to=state_after(Change(change), verdict.outcome),
            why=_("Matched again with its facts"),
            outcome=verdict.outcome,
            reasons=reasons,
            on_list=listed,
        ),
        by,
        at,
    )


def note_remedied_elsewhere(
    *,
    row: CampaignVehicle,
    done_on: dt.date,
    source: str,
    by: StaffMember,
    at: dt.datetime,
) -> StateChange:
    """Note that another store has done the work, when, and from whom it is known.

    Work that was booked for it here is taken off its visit. Raises ReasonMissing without a source, MoveNotAllowed and DayAhead.
    """
    if not source.strip():
        raise ReasonMissing
    with transaction.atomic():
        change = move(
            campaign_vehicle=row,
            to=WorkState.REMEDIED_ELSEWHERE,
            effective_on=done_on,
            by=by,
            at=at,
            why=_("Remedied elsewhere"),
            source=source.strip(),
        )
        drop_jobs(row_ids=[row.pk], by=by, at=at, why=change.why)
    return change


def reopen_vehicle(
    *, row: CampaignVehicle, why: str, by: StaffMember, at: dt.datetime
) -> StateChange:
    """Open a vehicle again whose end was noted wrongly.

    One remedied here is not opened by this: its repair, parts and claim stand in the
    books. Raises ReasonMissing and MoveNotAllowed.
    """
    before = WorkState(row.work_state)
    if before not in _REOPENED:
        raise MoveNotAllowed(row.vehicle.vin, before, WorkState.OPEN)
    return _settle(row, WorkState.OPEN, row.outcome, why=why, by=by, at=at)


def disqualify_vehicle(
    *, row: CampaignVehicle, why: str, by: StaffMember, at: dt.datetime
) -> StateChange:
    """Note that an emissions recall's remedy was refused for maintenance or use.

    Raises OnlyEmissions, ReasonMissing and MoveNotAllowed.
    """
    if row.campaign.campaign_class != CampaignClass.EMISSIONS:
        raise OnlyEmissions
    return _settle(row, WorkState.DISQUALIFIED, row.outcome, why=why, by=by, at=at)


def plan_own_stock(
    *, row: CampaignVehicle, on: dt.date | None, by: StaffMember, at: dt.datetime
) -> CampaignVehicle:
    """Set, or with None take back, the day on which an own vehicle is to be remedied.

    Raises NotOwnStock.
    """
    own = row.vehicle.standing != Standing.CUSTOMER
    if not own or WorkState(row.work_state) not in STILL_OPEN:
        raise NotOwnStock(row.vehicle.vin)
    with transaction.atomic():
        before = row.planned_on
        row.planned_on = on
        row.save(update_fields=["planned_on"])
        record(
            act="campaign_vehicle.planned",
            subject=row,
            by=by,
            at=at,
            store=row.store,
            before={"planned_on": before.isoformat() if before else None},
            after={"planned_on": on.isoformat() if on else None},
        )
    return row


def _settle(
    row: CampaignVehicle,
    to: WorkState,
    outcome: str,
    *,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> StateChange:
    """Move a vehicle by a person's decision."""
    if not why.strip():
        raise ReasonMissing
    return _write(Move(row=row, to=to, why=why.strip(), outcome=outcome), by, at)


def _write(one: Move, by: StaffMember, at: dt.datetime) -> StateChange:
    """Write one move of today and its line in the trail."""
    row = one.row
    before = row.work_state
    with transaction.atomic():
        (change,) = write_moves(
            moves=[one], effective_on=timezone.localdate(at), by=by, at=at
        )
        record(
            act="campaign_vehicle.moved",
            subject=row,
            by=by,
            at=at,
            store=row.store,
            before={"work_state": before},
            after={"work_state": one.to.value, "outcome": row.outcome},
            why=one.why,
        )
        if one.to not in STILL_OPEN:
            drop_jobs(row_ids=[row.pk], by=by, at=at, why=one.why)
    return change
