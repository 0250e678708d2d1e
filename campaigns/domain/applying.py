"""Applying what a match found: the population changes, the version rules."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.domain.amending import is_busy
from campaigns.domain.announcing import (
    ReasonMissing,
    facts_as_json,
    facts_of,
    next_number,
)
from campaigns.domain.booking import drop_jobs
from campaigns.domain.lifecycle import Move, may_move, write_moves
from campaigns.domain.matching import KEPT, locked, state_after, told_counts
from campaigns.models import (
    Campaign,
    CampaignVehicle,
    CriteriaVersion,
    ListedVin,
    StateChange,
)
from campaigns.rules.lifecycle import (
    STILL_OPEN,
    CampaignState,
    Change,
    Reach,
    VersionState,
    WorkState,
)
from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.rules.refusals import Refusal
from vehicles.domain.sets import insert_rows, take_ids


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember, Store

APPLY_CHUNK = 1_000
_POPULATION = (
    "id", "campaign_id", "vehicle_id", "store_id", "work_state", "reach", "outcome",
    "reasons", "on_list", "added_on",
)  # fmt: skip
_STATE = (
    "campaign_vehicle_id", "before", "after", "on_list", "effective_on", "recorded_at",
    "by_id", "why", "source",
)  # fmt: skip
_ADDS = (Change.ADD, Change.TO_VERIFY, Change.RESTORE)


class Matched(NamedTuple):
    """A kept change of a match, and the store that looks after the vehicle."""

    pk: int
    vehicle_id: int
    store_id: int
    change: str
    outcome: str
    reasons: list[Any]
    on_list: bool


_MATCHED = (
    "pk", "vehicle_id", "vehicle__store_id", "change", "outcome", "reasons", "on_list",
)  # fmt: skip


class Telling(NamedTuple):
    """For which campaign vehicles move, why, from what it is known, and by whom."""

    campaign_id: int
    why: str
    source: str
    by: StaffMember | None


class NotMatched(Refusal):
    """The version has not been matched, so nobody has seen what it would change."""

    def __init__(self) -> None:
        super().__init__(
            _("Match first: then you see what would change, and can apply it.")
        )


def ask_apply(
    *,
    version: CriteriaVersion,
    why: str,
    store: Store,
    by: StaffMember,
    at: dt.datetime,
) -> CriteriaVersion:
    """Leave a job that applies what a match found. Asking again changes nothing.

    Where the job was cancelled or failed, asking again lets a new one go on. Raises NotMatched, and ReasonMissing for an amendment without its reason.
    """
    with transaction.atomic():
        held = locked(version.pk)
        if held.state == VersionState.APPLIED or (
            held.state == VersionState.APPLYING and is_busy(held)
        ):
            return held
        if held.state not in {VersionState.MATCHED, VersionState.APPLYING}:
            raise NotMatched
        if not why.strip():
            raise ReasonMissing
        held.state = VersionState.APPLYING
        held.why = why.strip()[:300]
        held.applied_by = by
        held.job = enqueue(
            kind="campaigns.apply",
            arguments={"version_id": held.pk},
            by=by,
            store=store,
            now=at,
        )
        held.save(update_fields=["state", "why", "applied_by", "job"])
        record(
            act="campaign.apply_asked",
            subject=held.campaign,
            by=by,
            at=at,
            after={"version": held.number, "counts": told_counts(held)},
            why=held.why,
        )
    return held


def apply_chunk(
    *, version_id: int, at: dt.datetime, size: int = APPLY_CHUNK
) -> int | None:
    """Apply the next changes of a version; gives how many, None once all are.

    With the last chunk the version rules and a campaign that was being entered runs.
    A vehicle that somebody moved meanwhile, so that the change fits no more, stays as
    it is and is counted as kept.
    """
    with transaction.atomic():
        version = locked(version_id)
        if version.state != VersionState.APPLYING:
            return None
        changes = _changes_after(
            version, int(version.counts.get("applied_to", 0)), size
        )
        if not changes:
            _let_rule(version, at)
            return None
        standing = {
            row.vehicle_id: row
            for row in CampaignVehicle.objects.select_for_update(of=("self",))
            .filter(
                campaign=version.campaign_id,
                vehicle__in=[change.vehicle_id for change in changes],
            )
            .select_related("vehicle")
        }
        telling = Telling(
            version.campaign_id, version.why, _source(version), version.applied_by
        )
        add_rows(telling, [c for c in changes if c.vehicle_id not in standing], at)
        kept = _move_rows(telling, changes, standing, at)
        last = changes[-1].pk
        version.counts |= {KEPT: version.counts.get(KEPT, 0) + kept, "applied_to": last}
        version.save(update_fields=["counts"])
        version.changes.filter(applied=False, pk__lte=last).update(applied=True)
    return len(changes)


def _changes_after(version: CriteriaVersion, place: int, size: int) -> list[Matched]:
    """Read the next changes to apply, each with the store of its vehicle."""
    rows = version.changes.filter(applied=False, pk__gt=place).order_by("pk")
    return list(map(Matched._make, rows.values_list(*_MATCHED)[:size]))


def add_rows(telling: Telling, changes: list[Matched], at: dt.datetime) -> None:
    """Take vehicles into the population, with the change that says so."""
    today = timezone.localdate(at)
    added = [change for change in changes if change.change in _ADDS]
    states = [state_after(Change(one.change), one.outcome).value for one in added]
    ids = take_ids(CampaignVehicle, len(added))
    insert_rows(
        CampaignVehicle,
        _POPULATION,
        [
            (
                key,
                telling.campaign_id,
                one.vehicle_id,
                one.store_id,
                state,
                Reach.REACHABLE.value,
                one.outcome,
                one.reasons,
                one.on_list,
                today,
            )
            for key, one, state in zip(ids, added, states, strict=True)
        ],
    )
    why, source = telling.why[:200], telling.source[:80]
    by_id = telling.by.pk if telling.by else None
    insert_rows(
        StateChange,
        _STATE,
        [
            (
                key,
                "",
                state,
                one.on_list,
                today,
                at,
                by_id,
                why,
                source,
            )
            for key, one, state in zip(ids, added, states, strict=True)
        ],
    )


def _move_rows(
    telling: Telling,
    changes: list[Matched],
    standing: dict[int, CampaignVehicle],
    at: dt.datetime,
) -> int:
    """Move those that are in the population; gives how many stayed as they are."""
    moves, kept = [], 0
    for change in changes:
        row = standing.get(change.vehicle_id)
        if row is None:
            continue
        to = state_after(Change(change.change), change.outcome)
        if not _still_fits(row, to, change):
            kept += 1
            continue
        moves.append(
            Move(
                row=row,
                to=to,
                why=telling.why,
                outcome=change.outcome,
                reasons=change.reasons,
                on_list=change.on_list,
            )
        )
    write_moves(
        moves=moves,
        effective_on=timezone.localdate(at),
        by=telling.by,
        at=at,
        source=telling.source,
    )
    gone = [move.row.pk for move in moves if move.to not in STILL_OPEN]
    drop_jobs(row_ids=gone, by=telling.by, at=at, why=telling.why)
    return kept


def _still_fits(row: CampaignVehicle, to: WorkState, change: Matched) -> bool:
    before = WorkState(row.work_state)
    return may_move(before, to) or (before is to and change.on_list != row.on_list)


def _source(version: CriteriaVersion) -> str:
    return f"criteria version {version.number}"


def _let_rule(version: CriteriaVersion, at: dt.datetime) -> None:
    """Let an applied version rule from now on, and the campaign run."""
    campaign = Campaign.objects.select_for_update().get(pk=version.campaign_id)
    last = next_number(campaign) - 1
    if version.number < last:
        # Facts were amended meanwhile: what is applied last has the highest number.
        version.number = last + 1
    version.state = VersionState.APPLIED
    version.applied_at = at
    version.facts = facts_as_json(facts_of(campaign))
    version.save(update_fields=["number", "state", "applied_at", "facts"])
    _note_list_membership(campaign)
    if campaign.state == CampaignState.DRAFT:
        campaign.state = CampaignState.RUNNING
        campaign.save(update_fields=["state"])
    record(
        act="campaign.amendment_applied",
        subject=campaign,
        by=version.applied_by,
        at=at,
        after={"version": version.number, "counts": told_counts(version)},
        why=version.why,
    )


def _note_list_membership(campaign: Campaign) -> None:
    """Say of each vehicle whether it is on the list now; two statements.

    Those to be verified are left out: for them it decides whether they are involved,
    so it changes only by a kept move.
    """
    listed = Exists(
        ListedVin.objects.filter(campaign=campaign, vin=OuterRef("vehicle__vin"))
    )
    settled = CampaignVehicle.objects.filter(campaign=campaign).exclude(
        work_state=WorkState.TO_VERIFY
    )
    for on_list in (True, False):
        ids = settled.filter(listed if on_list else ~listed).exclude(on_list=on_list)
        CampaignVehicle.objects.filter(pk__in=ids.values("pk")).update(on_list=on_list)
