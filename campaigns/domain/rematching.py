"""Judging vehicles that came in or changed by the criteria that rule, and only those.

A person has said yes to the criteria, so a vehicle that they take in is taken in, and
one whose missing fact is now known is confirmed. Nothing is taken away by itself: a
vehicle of which the facts now say no, or of which a person said so before, waits to be
verified with the reasons.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import F, Q, Window
from django.db.models.functions import RowNumber
from django.utils.translation import gettext as _

from campaigns.domain.applying import Matched, Telling, add_rows
from campaigns.domain.lifecycle import Move, may_move, write_moves
from campaigns.domain.matching import (
    BY_PERSON,
    Stands,
    decide,
    facts_after,
    stands_of,
    state_after,
    vehicle_facts,
)
from campaigns.models import CampaignVehicle, CriteriaVersion
from campaigns.queries.criteria import may_concern, rules_of
from campaigns.rules.lifecycle import CampaignState, Change, VersionState, WorkState
from vehicles.models import Vehicle, VehicleChange
from vehicles.rules.matching import Outcome, Verdict, match_many


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Mapping

    from dealership.models import StaffMember
    from vehicles.models import VehicleList

CHUNK = 2_000


def touched_by_list(vehicle_list: VehicleList) -> Q:
    """Ask for the vehicles that a list added or changed."""
    upload = vehicle_list.upload_id
    changed = VehicleChange.objects.filter(upload=upload).values("vehicle")
    return Q(from_upload=upload) | Q(pk__in=changed)


def ruling_versions() -> list[CriteriaVersion]:
    """Give of each running campaign the version that rules."""
    newest = Window(RowNumber(), partition_by="campaign", order_by=F("number").desc())
    rows = CriteriaVersion.objects.filter(
        state=VersionState.APPLIED, campaign__state=CampaignState.RUNNING
    )
    return list(rows.annotate(newest=newest).filter(newest=1).order_by("campaign_id"))


def rematch(
    *,
    version: CriteriaVersion,
    wanted: Q,
    source: str,
    by: StaffMember | None,
    at: dt.datetime,
    today: dt.date,
) -> dict[str, int]:
    """Judge some vehicles by a version that rules; gives how many changed, by change.

    In chunks that commit on their own; repeating does no harm, since a vehicle that
    stands as it is judged is left alone.
    """
    counts: dict[str, int] = {}
    telling = Telling(
        version.campaign_id, _("Matched again with its facts"), source, by
    )
    asked = may_concern(version) & wanted
    rules = rules_of(version)
    reached = 0
    while True:
        with transaction.atomic():
            rows = facts_after(version, asked, reached, CHUNK)
            if not rows:
                return counts
            has_list = rules.listed_vins is not None
            facts = [vehicle_facts(row, has_list=has_list) for row in rows]
            verdicts = [verdict for _facts, verdict in match_many(facts, rules)]
            done = _write(telling, rows, verdicts, at=at, today=today)
        for change in done:
            counts[change] = counts.get(change, 0) + 1
        reached = rows[-1]["pk"]


def _write(
    telling: Telling,
    rows: Collection[Mapping[str, Any]],
    verdicts: Collection[Verdict],
    *,
    at: dt.datetime,
    today: dt.date,
) -> list[str]:
    """Write what verdicts change about vehicles; gives the changes."""
    new: list[tuple[Mapping[str, Any], Change, Verdict]] = []
    standing: list[tuple[Mapping[str, Any], Stands, Change, Verdict]] = []
    for row, verdict in zip(rows, verdicts, strict=True):
        stands = stands_of(row)
        change = decide(stands, verdict, listed=row["listed"])
        if change is None:
            continue
        if stands is None:
            new.append((row, change, verdict))
        else:
            standing.append((row, stands, change, verdict))
    if new:
        stores = Vehicle.objects.filter(pk__in=[row["pk"] for row, _c, _v in new])
        store_of = dict(stores.order_by().values_list("pk", "store_id"))
        add_rows(
            telling,
            [
                Matched(
                    0,
                    row["pk"],
                    store_of[row["pk"]],
                    change.value,
                    verdict.outcome.value,
                    _told(verdict),
                    bool(row["listed"]),
                )
                for row, change, verdict in new
            ],
            at,
        )
    moved = _move(telling, standing, at=at, today=today) if standing else []
    return [change.value for _row, change, _verdict in new] + moved


def _move(
    telling: Telling,
    standing: list[tuple[Mapping[str, Any], Stands, Change, Verdict]],
    *,
    at: dt.datetime,
    today: dt.date,
) -> list[str]:
    held = {
        row.vehicle_id: row
        for row in CampaignVehicle.objects.select_for_update(of=("self",))
        .filter(
            campaign=telling.campaign_id,
            vehicle__in=[row["pk"] for row, _s, _c, _v in standing],
        )
        .select_related("vehicle")
    }
    moves, done = [], []
    for row, stands, change, verdict in standing:
        mine = held[row["pk"]]
        if mine.work_state != stands.work:
            continue  # somebody moved it meanwhile, knowing more
        to = _state(stands, change, verdict)
        if to is stands.work and change is Change.REMOVE:
            # it waits for a person already: only the reasons are news
            mine.reasons = _told(verdict)
            mine.save(update_fields=["reasons"])
        elif may_move(stands.work, to) or row["listed"] != stands.on_list:
            moves.append(_move_of(mine, to, verdict, row, telling))
            done.append(change.value)
    write_moves(
        moves=moves, effective_on=today, by=telling.by, at=at, source=telling.source
    )
    return done


def _state(stands: Stands, change: Change, verdict: Verdict) -> WorkState:
    """Give where a vehicle goes; what would take it away is asked instead."""
    said_no = change is Change.RESTORE and stands.outcome in BY_PERSON
    if change is Change.REMOVE or said_no:
        return WorkState.TO_VERIFY
    return state_after(change, verdict.outcome)


def _move_of(
    mine: CampaignVehicle,
    to: WorkState,
    verdict: Verdict,
    row: Mapping[str, Any],
    telling: Telling,
) -> Move:
    outcome = verdict.outcome
    if to is WorkState.TO_VERIFY:
        outcome = Outcome.TO_BE_VERIFIED
    return Move(
        row=mine,
        to=to,
        why=telling.why,
        outcome=outcome.value,
        reasons=_told(verdict),
        on_list=bool(row["listed"]),
    )


def _told(verdict: Verdict) -> list[dict[str, Any]]:
    return [reason.to_json() for reason in verdict.reasons]
