"""Working off the open questions of a campaign: facts found out, and decisions.

Two sorts of question are decided by a person and not by a fact: a vehicle that the
criteria take in but the manufacturer's list does not name, and one that the list names
but the criteria leave out. Each is decided once; the decision stands while list and
criteria say what they said.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.domain.announcing import ReasonMissing
from campaigns.domain.booking import drop_jobs
from campaigns.domain.lifecycle import Move, write_moves
from campaigns.domain.matching import CONFIRMED, RULED_OUT
from campaigns.domain.verifying import judge_again
from campaigns.models import CampaignVehicle
from campaigns.queries.open_questions import DECIDED, FOUND_OUT, asks_somebody
from campaigns.rules.lifecycle import STILL_OPEN, WorkState
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from vehicles.domain.vehicles import change_facts


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Mapping

    from campaigns.models import Campaign
    from dealership.models import StaffMember, Store


class NothingChosen(Refusal):
    """No vehicle was chosen to decide about."""

    def __init__(self) -> None:
        super().__init__(_("Choose at least one vehicle of the list first."))


class NothingFoundOut(Refusal):
    """No fact was entered."""

    def __init__(self) -> None:
        super().__init__(_("Enter the fact that was found out."))


class SettledMeanwhile(Refusal):
    """Somebody else has settled some of the chosen vehicles."""

    def __init__(self, vins: Collection[str]) -> None:
        super().__init__(
            _(
                "Nothing was decided: settled meanwhile is %(vins)s. Reload the page"
                " and choose again."
            )
            % {"vins": ", ".join(sorted(vins))}
        )
        self.vins = tuple(sorted(vins))


def find_out(
    *,
    row: CampaignVehicle,
    facts: Mapping[str, Any],
    source: str,
    by: StaffMember,
    at: dt.datetime,
) -> CampaignVehicle:
    """Write down a missing fact of a vehicle and match it again.

    ``facts`` by the names of the vehicle's fields; ``source`` says where it was found
    out. Gives the row as it stands then. Raises ReasonMissing without a source,
    NothingFoundOut, and NothingRules.
    """
    if not source.strip():
        raise ReasonMissing
    told = {name: value for name, value in facts.items() if value not in {None, ""}}
    if not told:
        raise NothingFoundOut
    with transaction.atomic():
        names = change_facts(vehicle=row.vehicle, facts=told, by=by, at=at)
        record(
            act=FOUND_OUT,
            subject=row.campaign,
            by=by,
            at=at,
            store=row.store,
            after={"row": row.pk, "facts": {name: str(told[name]) for name in names}},
            why=source.strip(),
        )
        row.vehicle.refresh_from_db()
        judge_again(row=row, by=by, at=at)
    row.refresh_from_db()
    return row


def decide_many(
    *,
    campaign: Campaign,
    store: Store,
    row_ids: Collection[int],
    belongs: bool,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> int:
    """Say of vehicles with an open question whether they belong; gives how many.

    All or none, each kept with who and why; what was booked for those that do not
    belong is taken off its visit. Raises NothingChosen, ReasonMissing,
    SettledMeanwhile.
    """
    if not row_ids:
        raise NothingChosen
    if not why.strip():
        raise ReasonMissing
    outcome = CONFIRMED if belongs else RULED_OUT
    with transaction.atomic():
        rows = list(
            CampaignVehicle.objects.select_for_update(of=("self",))
            .filter(campaign=campaign, store=store, pk__in=row_ids)
            .select_related("vehicle", "store")
            .order_by("pk")
        )
        open_ids = set(
            CampaignVehicle.objects.filter(pk__in=[row.pk for row in rows])
            .filter(asks_somebody())
            .values_list("pk", flat=True)
        )
        settled = [row.vehicle.vin for row in rows if row.pk not in open_ids]
        if settled or len(rows) < len(set(row_ids)):
            raise SettledMeanwhile(settled or [_("another store's vehicle")])
        before = {row.pk: row.work_state for row in rows}
        write_moves(
            moves=[
                Move(row=row, to=_after(row, belongs=belongs), why=why, outcome=outcome)
                for row in rows
            ],
            effective_on=timezone.localdate(at),
            by=by,
            at=at,
        )
        for row in rows:
            record(
                act=DECIDED,
                subject=campaign,
                by=by,
                at=at,
                store=store,
                before={"work_state": before[row.pk]},
                after={
                    "row": row.pk,
                    "work_state": row.work_state,
                    "outcome": outcome,
                },
                why=why.strip(),
            )
        gone = [row.pk for row in rows if row.work_state not in STILL_OPEN]
        drop_jobs(row_ids=gone, by=by, at=at, why=why.strip())
    return len(rows)


def _after(row: CampaignVehicle, *, belongs: bool) -> WorkState:
    """Give where a decision leads: out, or to where the work may go on."""
    if not belongs:
        return WorkState.REMOVED
    before = WorkState(row.work_state)
    return WorkState.OPEN if before is WorkState.TO_VERIFY else before
