"""Finding the vehicles of a campaign: what would change, before it changes.

A match writes only what it would change (MatchedChange); people look at it, then it
is applied. It runs in chunks that commit on their own and may be repeated: the
version keeps how far it came.

What a person decided stands: a vehicle that somebody confirmed or ruled out is not
put back to be verified while nothing new is known. A vehicle on which the work is
done is kept, whatever an amendment says, since its repair, its parts and its claim
are facts; it is counted and told, not removed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from django.db import transaction
from django.db.models import Exists, F, FilteredRelation, OuterRef, Q

from campaigns.domain.amending import is_busy, open_amendment
from campaigns.models import Campaign, CriteriaVersion, ListedVin, MatchedChange
from campaigns.queries.criteria import may_concern, rules_of
from campaigns.rules.lifecycle import Change, VersionState, WorkState
from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from vehicles.domain.sets import insert_rows
from vehicles.models import Vehicle
from vehicles.rules.criteria import VehicleFacts
from vehicles.rules.matching import Outcome, Verdict, match_many


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import StaffMember, Store
    from vehicles.rules.criteria import CriteriaSet

MATCH_CHUNK = 4_000
_CHANGE = (
    "version_id", "vehicle_id", "change", "outcome", "reasons", "on_list", "applied",
)  # fmt: skip
CONFIRMED = "confirmed"
"""Outcome of a vehicle of which a person said that it belongs to the campaign."""
RULED_OUT = "ruled_out"
"""Outcome of a vehicle of which a person said that it does not."""

KEPT = "kept"


class Stands(NamedTuple):
    """How a vehicle stands in the campaign before the match."""

    work: WorkState
    outcome: str
    on_list: bool


def ask_match(
    *, campaign: Campaign, store: Store, by: StaffMember, at: dt.datetime
) -> CriteriaVersion:
    """Leave a job that matches all vehicles against the version in work.

    While one is matched already, that one is given. Raises VersionBusy while one is
    applied, and NothingToMatchBy where neither criteria nor a list include anything.
    """
    with transaction.atomic():
        held = Campaign.objects.select_for_update().get(pk=campaign.pk)
        running = held.versions.filter(state=VersionState.MATCHING).first()
        if running is not None and is_busy(running):
            return running
        version = open_amendment(campaign=held, by=by, at=at)
        rules_of(version)
        version.changes.all().delete()
        version.state = VersionState.MATCHING
        version.counts = {}
        version.job = enqueue(
            kind="campaigns.match",
            arguments={"version_id": version.pk},
            by=by,
            store=store,
            now=at,
        )
        version.save(update_fields=["state", "counts", "job"])
        record(
            act="campaign.match_asked",
            subject=held,
            by=by,
            at=at,
            after={"version": version.number},
        )
    return version


def told_counts(version: CriteriaVersion) -> dict[str, int]:
    """Give how many vehicles a match would change, by change, and how many it keeps."""
    names = [*(change.value for change in Change), KEPT, "seen"]
    return {name: int(version.counts.get(name, 0)) for name in names}


def match_chunk(*, version_id: int, size: int = MATCH_CHUNK) -> int | None:
    """Match the next vehicles and keep what would change; gives how many were seen.

    None once there are no more: the version is then matched. Repeating does no harm,
    the place is kept with the rows in one transaction.
    """
    with transaction.atomic():
        version = locked(version_id)
        if version.state != VersionState.MATCHING:
            return None
        reached = int(version.counts.get("reached", 0))
        rows = facts_after(version, may_concern(version), reached, size)
        counts = version.counts
        if not rows:
            version.state = VersionState.MATCHED
            version.save(update_fields=["state"])
            return None
        changes = _changes_of(version, rows, rules_of(version))
        insert_rows(MatchedChange, _CHANGE, changes)
        counts["reached"] = rows[-1]["pk"]
        counts["seen"] = counts.get("seen", 0) + len(rows)
        version.save(update_fields=["counts"])
    return len(rows)


def to_match(version: CriteriaVersion) -> int:
    """Count the vehicles that a match has to look at."""
    return Vehicle.objects.filter(may_concern(version)).count()


def facts_after(
    version: CriteriaVersion, wanted: Q, reached: int, size: int
) -> list[Mapping[str, Any]]:
    """Read the facts of the next vehicles, and how they stand in the campaign."""
    campaign = version.campaign_id
    listed = ListedVin.objects.filter(campaign=campaign, vin=OuterRef("vin"))
    return list(
        Vehicle.objects.filter(wanted, pk__gt=reached)
        .alias(
            mine=FilteredRelation("campaigns", condition=Q(campaigns__campaign=campaign))
        )
        .annotate(
            listed=Exists(listed),
            work=F("mine__work_state"),
            outcome=F("mine__outcome"),
            was_listed=F("mine__on_list"),
        )
        .order_by("pk")
        .values(
            "pk", "vin", "model_year", "line", "engine", "plant", "serial",
            "build_date", "listed", "work", "outcome", "was_listed",
        )[:size]
    )  # fmt: skip


def _changes_of(
    version: CriteriaVersion, rows: list[Mapping[str, Any]], rules: CriteriaSet
) -> list[tuple[Any, ...]]:
    """Judge vehicles; gives the changes as rows and counts them, and those kept."""
    has_list = rules.listed_vins is not None
    facts = [vehicle_facts(row, has_list=has_list) for row in rows]
    counts = version.counts
    changes: list[tuple[Any, ...]] = []
    judged = zip(rows, match_many(facts, rules), strict=True)
    for row, (_facts, verdict) in judged:
        stands = stands_of(row)
        change = decide(stands, verdict, listed=row["listed"])
        if change is None:
            kept = stands is not None and keeps(stands, verdict)
            counts[KEPT] = counts.get(KEPT, 0) + kept
            continue
        counts[change.value] = counts.get(change.value, 0) + 1
        changes.append(
            (
                version.pk,
                row["pk"],
                change.value,
                verdict.outcome.value,
                [reason.to_json() for reason in verdict.reasons],
                bool(row["listed"]),
                False,
            )
        )
    return changes


def stands_of(row: Mapping[str, Any]) -> Stands | None:
    """Give how a vehicle stands in the campaign, None where it is not in it."""
    if row["work"] is None:
        return None
    return Stands(WorkState(row["work"]), row["outcome"], row["was_listed"])


def vehicle_facts(row: Mapping[str, Any], *, has_list: bool) -> VehicleFacts:
    """Give what the rules want to know of a vehicle."""
    return VehicleFacts(
        vin=row["vin"],
        model_year=row["model_year"],
        line=row["line"],
        engine=row["engine"],
        plant=row["plant"],
        serial=row["serial"],
        build_date=row["build_date"],
        on_list=row["listed"] if has_list else None,
    )


_DECISIONS: dict[tuple[WorkState | None, Outcome], Change] = {
    (None, Outcome.AFFECTED): Change.ADD,
    (None, Outcome.TO_BE_VERIFIED): Change.TO_VERIFY,
    (WorkState.REMOVED, Outcome.AFFECTED): Change.RESTORE,
    (WorkState.REMOVED, Outcome.TO_BE_VERIFIED): Change.RESTORE,
    (WorkState.TO_VERIFY, Outcome.AFFECTED): Change.CONFIRM,
    (WorkState.TO_VERIFY, Outcome.NOT_AFFECTED): Change.REMOVE,
    (WorkState.OPEN, Outcome.TO_BE_VERIFIED): Change.TO_VERIFY,
    (WorkState.OPEN, Outcome.NOT_AFFECTED): Change.REMOVE,
    (WorkState.NEEDS_REPAIR, Outcome.NOT_AFFECTED): Change.REMOVE,
}
BY_PERSON = frozenset({CONFIRMED, RULED_OUT})


def decide(stands: Stands | None, verdict: Verdict, *, listed: bool) -> Change | None:
    """Say what a verdict changes about a vehicle; None where it changes nothing.

    ``stands`` is None for a vehicle that is not in the campaign.
    """
    if stands is None:
        return _DECISIONS.get((None, verdict.outcome))
    unsure = verdict.outcome is Outcome.TO_BE_VERIFIED
    if unsure and stands.outcome in BY_PERSON:
        return None
    if stands.outcome == RULED_OUT and listed == stands.on_list and disputed(verdict):
        return None
    if unsure and stands.work is WorkState.TO_VERIFY:
        return Change.TO_VERIFY if listed != stands.on_list else None
    return _DECISIONS.get((stands.work, verdict.outcome))


def disputed(verdict: Verdict) -> bool:
    """Tell whether the list takes a vehicle in that the criteria leave out."""
    return any(reason.code == "criteria_disagree" for reason in verdict.reasons)


def state_after(change: Change, outcome: str) -> WorkState:
    """Give the work state that a change leads to."""
    if change is Change.REMOVE:
        return WorkState.REMOVED
    if outcome == Outcome.TO_BE_VERIFIED:
        return WorkState.TO_VERIFY
    return WorkState.OPEN


def keeps(stands: Stands, verdict: Verdict) -> bool:
    """Tell whether a vehicle stays only because the work on it is done."""
    return (
        verdict.outcome is Outcome.NOT_AFFECTED and stands.work is not WorkState.REMOVED
    )


def locked(version_id: int) -> CriteriaVersion:
    """Take a version for writing."""
    return (
        CriteriaVersion.objects.select_for_update(of=("self",))
        .select_related("campaign", "applied_by")
        .get(pk=version_id)
    )
