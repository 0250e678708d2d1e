"""Moving a vehicle through a campaign, and noting whether it can be reached.

The state of a day is the change that was recorded last among those in force by then,
so a later line corrects an earlier one whatever day it speaks of, and the live row
always equals the state of today.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.models import CampaignVehicle, ReachFact, Repair, StateChange
from campaigns.models.words import WORK_WORDS
from campaigns.rules.lifecycle import (
    WORK_MOVES,
    Outcome,
    Reach,
    RepairState,
    WorkState,
)
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from campaigns.models import Campaign
    from dealership.models import StaffMember

CHUNK = 500


class MoveNotAllowed(Refusal):
    """The table of moves has no way from one state to the other."""

    def __init__(self, vin: str, before: WorkState, to: WorkState) -> None:
        super().__init__(
            _(
                "Vehicle %(vin)s is “%(before)s”, so it cannot become “%(to)s”. Reload"
                " the page to see how it stands now."
            )
            % {"vin": vin, "before": WORK_WORDS[before], "to": WORK_WORDS[to]}
        )
        self.vin = vin
        self.before = before
        self.to = to


class DayAhead(Refusal):
    """A fact is dated after the day on which it is recorded."""

    def __init__(self, day: dt.date) -> None:
        super().__init__(
            _("%(day)s has not come yet. Enter the day on which it happened.")
            % {"day": day.isoformat()}
        )
        self.day = day


class ReachWithoutSource(Refusal):
    """Nobody is named from whom the fact is known."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "Say from whom it is known that the vehicle cannot be reached: the"
                " owner, the post, a register."
            )
        )


class OtherReachUnsaid(Refusal):
    """“Other reason” without the reason."""

    def __init__(self) -> None:
        super().__init__(
            _("Say which other reason it is; the report asks for it by name.")
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One vehicle's move. ``outcome`` and ``reasons`` are kept where they are told."""

    row: CampaignVehicle
    to: WorkState
    why: str
    outcome: str | None = None
    reasons: list[Any] | None = None
    on_list: bool | None = None


def may_move(before: WorkState, to: WorkState) -> bool:
    """Tell whether the table of moves allows it."""
    return to in WORK_MOVES[before]


def move(
    *,
    campaign_vehicle: CampaignVehicle,
    to: WorkState,
    effective_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
    source: str = "",
) -> StateChange:
    """Move one vehicle and keep who, when and why.

    ``effective_on`` may lie in the past, not ahead of ``at``. The row in the caller's
    hand gets the new state. Raises MoveNotAllowed, also where somebody else moved the
    vehicle meanwhile, and DayAhead.
    """
    with transaction.atomic():
        before = WorkState(campaign_vehicle.work_state)
        (change,) = write_moves(
            moves=[Move(row=campaign_vehicle, to=to, why=why)],
            effective_on=effective_on,
            by=by,
            at=at,
            source=source,
        )
        record(
            act="campaign_vehicle.moved",
            subject=campaign_vehicle,
            by=by,
            at=at,
            store=campaign_vehicle.store,
            before={"work_state": before.value},
            after={"work_state": to.value, "effective_on": effective_on.isoformat()},
            why=why,
        )
    return change


def move_many(
    *,
    campaign: Campaign,
    rows: Sequence[CampaignVehicle],
    to: WorkState,
    effective_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    why: str,
    source: str = "",
) -> int:
    """Move several vehicles of a campaign, all or none; gives how many.

    One line in the trail for all of them. Raises MoveNotAllowed and DayAhead.
    """
    with transaction.atomic():
        moved = write_moves(
            moves=[Move(row=row, to=to, why=why) for row in rows],
            effective_on=effective_on,
            by=by,
            at=at,
            source=source,
        )
        record(
            act="campaign.vehicles_moved",
            subject=campaign,
            by=by,
            at=at,
            after={"work_state": to.value, "vehicles": len(moved)},
            why=why,
        )
    return len(moved)


def write_moves(
    *,
    moves: Iterable[Move],
    effective_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    source: str = "",
) -> list[StateChange]:
    """Write moves inside the caller's transaction, without a line in the trail.

    A move to the same state is allowed where only the list membership or what a person
    decided changes.
    Raises MoveNotAllowed and DayAhead.
    """
    refuse_days_ahead(effective_on, at)
    changes = []
    opened_again = []
    for one in moves:
        before = _step(one)
        if before is WorkState.REMEDIED_HERE and one.to is not before:
            opened_again.append(one.row.pk)
        changes.append(
            StateChange(
                campaign_vehicle=one.row,
                before=before,
                after=one.to,
                on_list=one.row.on_list,
                effective_on=effective_on,
                recorded_at=at,
                by=by,
                why=one.why[:200],
                source=source[:80],
            )
        )
    _undo_remedies(opened_again, at=at)
    return StateChange.objects.bulk_create(changes, batch_size=CHUNK)


def _undo_remedies(row_ids: Sequence[int], *, at: dt.datetime) -> None:
    """Let the remedy of vehicles that are opened again count no more.

    The repair, its pieces and its claim stay as they were recorded; a second remedy
    of the vehicle is possible from now on.
    """
    if row_ids:
        Repair.objects.filter(
            campaign_vehicle__in=row_ids,
            state=RepairState.COMPLETED,
            outcome=Outcome.REMEDIED,
            undone_at=None,
        ).update(undone_at=at)


def _step(one: Move) -> WorkState:
    """Change the live row, if it still stands as it was read; gives what it was."""
    row = one.row
    before = WorkState(row.work_state)
    relisted = before is one.to and one.on_list not in {None, row.on_list}
    decided = before is one.to and one.outcome not in {None, row.outcome}
    if not (may_move(before, one.to) or relisted or decided):
        raise MoveNotAllowed(row.vehicle.vin, before, one.to)
    told = {
        "outcome": one.outcome,
        "reasons": one.reasons,
        "on_list": one.on_list,
    }
    facts = {name: value for name, value in told.items() if value is not None}
    updated = CampaignVehicle.objects.filter(pk=row.pk, work_state=before).update(
        work_state=one.to, **facts
    )
    if not updated:
        row.refresh_from_db(fields=["work_state"])
        raise MoveNotAllowed(row.vehicle.vin, WorkState(row.work_state), one.to)
    for name, value in {"work_state": one.to, **facts}.items():
        setattr(row, name, value)
    return before


def record_reach(
    *,
    campaign_vehicle: CampaignVehicle,
    reach: Reach,
    effective_on: dt.date,
    source: str,
    by: StaffMember | None,
    at: dt.datetime,
    say_which: str = "",
) -> ReachFact:
    """Note whether the vehicle and its owner can be reached, since when, from whom.

    What was noted last holds; ``reachable`` takes an earlier fact back. Raises
    ReachWithoutSource, OtherReachUnsaid and DayAhead.
    """
    if not source.strip():
        raise ReachWithoutSource
    if reach is Reach.OTHER and not say_which.strip():
        raise OtherReachUnsaid
    refuse_days_ahead(effective_on, at)
    with transaction.atomic():
        before = campaign_vehicle.reach
        CampaignVehicle.objects.filter(pk=campaign_vehicle.pk).update(reach=reach)
        campaign_vehicle.reach = reach
        fact = ReachFact.objects.create(
            campaign_vehicle=campaign_vehicle,
            reach=reach,
            effective_on=effective_on,
            recorded_at=at,
            by=by,
            source=source.strip()[:120],
            say_which=say_which.strip()[:120] if reach is Reach.OTHER else "",
        )
        record(
            act="campaign_vehicle.reach_noted",
            subject=campaign_vehicle,
            by=by,
            at=at,
            store=campaign_vehicle.store,
            before={"reach": before},
            after={"reach": reach.value, "effective_on": effective_on.isoformat()},
        )
    return fact


def refuse_days_ahead(day: dt.date, at: dt.datetime) -> None:
    """Raise DayAhead for a day after the local day of ``at``."""
    if day > timezone.localdate(at):
        raise DayAhead(day)
