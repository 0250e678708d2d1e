"""Taking in the manufacturer's status lists, again and again.

What was done elsewhere is closed and what the manufacturer refused is opened again;
what is recorded here as done by a person of the house is never overridden: it becomes
a difference that somebody decides.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.domain.announcing import ReasonMissing
from campaigns.domain.booking import drop_jobs
from campaigns.domain.lifecycle import Move, refuse_days_ahead, write_moves
from campaigns.domain.matching import RULED_OUT
from campaigns.models import CampaignVehicle, StatusDifference, StatusList
from campaigns.queries.status_lists import Compared, compare, count_follows
from campaigns.rules.lifecycle import STILL_OPEN, WorkState
from campaigns.rules.status_rows import (
    ListedStatus,
    Meets,
    StatusFault,
    StatusRead,
    read_rows,
)
from dealership.documents.tabular import Limits, open_table, write_refused
from dealership.domain.audit import record
from dealership.domain.uploads import keep_upload
from dealership.rules.refusals import Refusal
from vehicles.rules.dates import DateOrder


if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.core.files.base import File

    from campaigns.models import Campaign
    from dealership.models import StaffMember, Store

LIMITS = Limits(columns=100, rows=100_000, cell=1_000)
KEEP = dt.timedelta(days=3_652)
"""As long as other lists of a campaign (49 CFR 576.5: ten years)."""


class CampaignNotSaid(Refusal):
    """Neither a column of the list nor the person says which campaign it is about."""

    field = "campaign"

    def __init__(self) -> None:
        super().__init__(
            _("No column of the file names the campaign. Choose it on the form.")
        )


class ListGone(Refusal):
    """The kept file has passed its day."""

    def __init__(self) -> None:
        super().__init__(_("The file is not kept any more; send it again."))


class HereItIsDone(Refusal):
    """The list cannot be followed against a repair that is in the books."""

    def __init__(self, vin: str) -> None:
        super().__init__(
            _(
                "Vehicle %(vin)s was remedied here: its repair, parts and claim are in"
                " the books. Undo the repair there if it was recorded wrongly; else say"
                " why ours stands."
            )
            % {"vin": vin}
        )
        self.vin = vin


class SettledAlready(Refusal):
    """Somebody has decided the difference, or the vehicle has moved meanwhile."""

    def __init__(self, vin: str) -> None:
        super().__init__(
            _("Vehicle %(vin)s was settled meanwhile. Reload the page.") % {"vin": vin}
        )
        self.vin = vin


def keep_status_list(
    *,
    file: File[bytes],
    name: str,
    listed_on: dt.date,
    campaign: Campaign | None,
    date_order: str,
    store: Store,
    by: StaffMember,
    at: dt.datetime,
) -> StatusList:
    """Keep a list as it came. The same content again answers with the first one.

    Raises EmptyUpload, UploadTooLarge, DayAhead, CampaignNotSaid and what
    ``read_status_list`` raises: a file that cannot be read is not kept.
    """
    refuse_days_ahead(listed_on, at)
    with transaction.atomic():
        upload = keep_upload(
            file=file,
            name=name,
            store=store,
            by=by,
            at=at,
            keep_until=timezone.localdate(at) + KEEP,
        )
        same = StatusList.objects.filter(store=store, sha256=upload.sha256).first()
        if same:
            return same
        made = StatusList.objects.create(
            store=store,
            campaign=campaign,
            upload=upload,
            sha256=upload.sha256,
            listed_on=listed_on,
            date_order=date_order,
            made_by=by,
            made_at=at,
        )
        read = read_status_list(made)
        if campaign is None and "campaign" not in read.columns:
            raise CampaignNotSaid
        record(
            act="status_list.kept",
            subject=made,
            by=by,
            at=at,
            store=store,
            after={"sha256": upload.sha256, "listed_on": listed_on.isoformat()},
        )
    return made


def read_status_list(status_list: StatusList) -> StatusRead:
    """Read the kept file; a row dated after the list itself is refused.

    Raises ListGone, UnreadableList, StatusColumnMissing and DateOrderOpen.
    """
    upload = status_list.upload
    if upload.erased_at:
        raise ListGone
    table = open_table(Path(upload.file.path), upload.original_name, limits=LIMITS)
    order = status_list.date_order
    read = read_rows(
        table.columns,
        ((row.number, row.cells) for row in table.rows()),
        order=DateOrder(order) if order else None,
    )
    late = [row for row in read.rows if row.dated and row.dated > status_list.listed_on]
    if not late:
        return read
    told = {row.row for row in late}
    faults = [
        StatusFault(
            row=row.row,
            column=read.columns["dated"],
            value=str(row.dated),
            sentence=_("This day lies after the date of the list itself."),
        )
        for row in late
    ]
    return StatusRead(
        rows=tuple(row for row in read.rows if row.row not in told),
        faults=tuple(sorted((*read.faults, *faults), key=lambda one: one.row)),
        columns=read.columns,
    )


def faults_of_list(status_list: StatusList) -> bytes:
    """Write the refused rows as CSV, each with what is wrong, to be sent back.

    Raises what ``read_status_list`` raises.
    """
    read = read_status_list(status_list)
    upload = status_list.upload
    table = open_table(Path(upload.file.path), upload.original_name, limits=LIMITS)
    wrong = {one.row: [one] for one in read.faults}
    rows = [row for row in table.rows() if row.number in wrong]
    return write_refused(table.columns, rows, wrong)


def apply_status_list(
    *, status_list: StatusList, by: StaffMember, at: dt.datetime
) -> StatusList:
    """Close and reopen what follows, and keep the differences; all or nothing.

    Asked for again it answers with what was done. Raises what ``read_status_list``
    raises.
    """
    with transaction.atomic():
        held = (
            StatusList.objects.select_for_update(of=("self",))
            .select_related("store", "upload")
            .get(pk=status_list.pk)
        )
        if held.applied_at is not None:
            return held
        read = read_status_list(held)
        compared = compare(held, read)
        source = _("manufacturer's list of %(day)s") % {"day": held.listed_on}
        _close(held, compared, source=source, by=by, at=at)
        _reopen(held, compared, source=source, by=by, at=at)
        _keep_differences(held, compared)
        held.counts = count_follows(compared) | {"faults": len(read.faults)}
        held.applied_by, held.applied_at = by, at
        held.save(update_fields=["counts", "applied_by", "applied_at"])
        record(
            act="status_list.applied",
            subject=held,
            by=by,
            at=at,
            store=held.store,
            after=held.counts,
        )
    return held


def _close(
    status_list: StatusList,
    compared: Iterable[Compared],
    *,
    source: str,
    by: StaffMember,
    at: dt.datetime,
) -> None:
    days: dict[dt.date, list[CampaignVehicle]] = defaultdict(list)
    for one in compared:
        if one.follows is Meets.CLOSES and one.mine is not None:
            days[one.said.dated or status_list.listed_on].append(one.mine)
    why = _("Remedied elsewhere")
    for day, rows in days.items():
        moves = [Move(row=r, to=WorkState.REMEDIED_ELSEWHERE, why=why) for r in rows]
        write_moves(moves=moves, effective_on=day, by=by, at=at, source=source)
        drop_jobs(row_ids=[row.pk for row in rows], by=by, at=at, why=why)


def _reopen(
    status_list: StatusList,
    compared: Iterable[Compared],
    *,
    source: str,
    by: StaffMember,
    at: dt.datetime,
) -> None:
    why = _("The manufacturer does not count the work elsewhere")
    rows = [one.mine for one in compared if one.follows is Meets.REOPENS and one.mine]
    write_moves(
        moves=[Move(row=row, to=WorkState.OPEN, why=why) for row in rows],
        effective_on=status_list.listed_on,
        by=by,
        at=at,
        source=source,
    )


def _keep_differences(status_list: StatusList, compared: Iterable[Compared]) -> None:
    """Keep what a person is asked; a later list takes the place of an open question."""
    asked = [one for one in compared if one.follows is Meets.ASKS and one.mine]
    rows = [one.mine.pk for one in asked if one.mine]
    waiting = {
        row.campaign_vehicle_id: row
        for row in StatusDifference.objects.unsettled().filter(
            campaign_vehicle__in=rows
        )
    }
    new: list[StatusDifference] = []
    for one in asked:
        assert one.mine is not None
        row = waiting.get(one.mine.pk) or StatusDifference(campaign_vehicle=one.mine)
        row.status_list = status_list
        row.row_number = one.said.row
        row.said = one.said.status
        row.said_on = one.said.dated
        row.work_state = one.mine.work_state
        if row.pk is None:
            new.append(row)
        else:
            row.save()
    StatusDifference.objects.bulk_create(new, batch_size=1_000)


def settle_difference(
    *,
    difference: StatusDifference,
    ours_stands: bool,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> StatusDifference:
    """Decide one difference: what is recorded here stands, or the list is followed.

    Raises ReasonMissing, HereItIsDone where a repair in the books stands against it,
    MoveNotAllowed, and SettledAlready.
    """
    if not why.strip():
        raise ReasonMissing
    with transaction.atomic():
        held = (
            StatusDifference.objects.select_for_update(of=("self",))
            .select_related(
                "status_list",
                "campaign_vehicle__vehicle",
                "campaign_vehicle__store",
                "campaign_vehicle__campaign",
            )
            .get(pk=difference.pk)
        )
        row = held.campaign_vehicle
        moved = row.work_state != held.work_state
        if held.settled_at is not None or (moved and not ours_stands):
            raise SettledAlready(row.vehicle.vin)
        if not ours_stands:
            _follow(held, row, why=why.strip(), by=by, at=at)
        held.ours_stands, held.why = ours_stands, why.strip()[:200]
        held.settled_by, held.settled_at = by, at
        held.save(update_fields=["ours_stands", "why", "settled_by", "settled_at"])
        record(
            act="status_difference.settled",
            subject=held,
            by=by,
            at=at,
            store=row.store,
            before={"work_state": held.work_state, "said": held.said},
            after={"work_state": row.work_state, "ours_stands": ours_stands},
            why=why.strip(),
        )
    return held


def _follow(
    held: StatusDifference,
    row: CampaignVehicle,
    *,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> None:
    """Move a vehicle to where the list has it."""
    if row.work_state == WorkState.REMEDIED_HERE:
        raise HereItIsDone(row.vehicle.vin)
    said = ListedStatus(held.said)
    to = {
        ListedStatus.DONE: WorkState.REMEDIED_ELSEWHERE,
        ListedStatus.OUT: WorkState.REMOVED,
    }.get(said, WorkState.OPEN)
    write_moves(
        moves=[
            Move(
                row=row,
                to=to,
                why=why,
                outcome=RULED_OUT if said is ListedStatus.OUT else None,
            )
        ],
        effective_on=timezone.localdate(at),
        by=by,
        at=at,
        source=_("manufacturer's list of %(day)s")
        % {"day": held.status_list.listed_on},
    )
    if to not in STILL_OPEN:
        drop_jobs(row_ids=[row.pk], by=by, at=at, why=why)
