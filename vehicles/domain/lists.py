"""Steering a list on its way in: taken, corrected, decided, applied, abandoned."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from dealership.domain.audit import record as write_audit
from dealership.domain.jobs import enqueue
from dealership.domain.uploads import keep_upload
from dealership.models import Job
from dealership.rules.refusals import Refusal
from vehicles.domain.merging import Merger
from vehicles.domain.reading import terms_of, with_year
from vehicles.models import StagedRow, VehicleList
from vehicles.models.vehicle_list import LIST_STATE_WORDS
from vehicles.queries.lists import clean_row_of, count_states
from vehicles.rules.columns import check_mapping
from vehicles.rules.records import Severity
from vehicles.rules.standing import ListState, RowState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from django.core.files.base import File

    from dealership.models import StaffMember, Store

READ_LIST = "vehicles.read_list"
APPLY_LIST = "vehicles.apply_list"
KEEP_YEARS = 5
"""18 USC 2721(c): who passes on records of a State keeps for five years to whom."""


class ListCannotMove(Refusal):
    """The list is in a state in which this cannot be done with it."""

    def __init__(self, vehicle_list: VehicleList) -> None:
        super().__init__(
            _("This list is %(state)s. Reload the page to see how it stands.")
            % {"state": LIST_STATE_WORDS[ListState(vehicle_list.state)]}
        )
        self.state = ListState(vehicle_list.state)


class NothingToApply(Refusal):
    """No row of the list says anything new."""

    def __init__(self) -> None:
        super().__init__(
            _("No row of this list says anything new, so there is nothing to apply.")
        )


class NotOneOfTheYears(Refusal):
    """The chosen model year is none that the VIN allows."""

    def __init__(self, row_number: int, years: list[int]) -> None:
        told = " or ".join(map(str, years)) or _("no model year")
        super().__init__(
            _("The VIN in row %(row)d allows %(years)s. Choose one of them.")
            % {"row": row_number, "years": told}
        )


def take_list(
    *,
    key: str,
    file: File[bytes],
    name: str,
    choices: Mapping[str, Any],
    store: Store,
    by: StaffMember,
    at: dt.datetime,
    today: dt.date,
) -> VehicleList:
    """Keep a list and ask for its reading. The same key gives the first list.

    ``choices``: kind, source, only_for. Raises EmptyUpload, UploadTooLarge.
    """
    first = _taken(key)
    if first is not None:
        return first
    with transaction.atomic():
        first = _taken(key)
        if first is not None:
            return first
        upload = keep_upload(
            file=file,
            name=name,
            store=store,
            by=by,
            at=at,
            keep_until=_keep_until(today),
        )
        vehicle_list = VehicleList.objects.create(
            store=store, upload=upload, choices=dict(choices), made_by=by, made_at=at
        )
        _ask_reading(vehicle_list, by, at, unique_key=key)
        write_audit(
            act="vehicle_list.taken",
            subject=vehicle_list,
            by=by,
            at=at,
            store=store,
            after={"upload": str(upload.pk), "source": choices.get("source", "")},
        )
    return vehicle_list


def _taken(key: str) -> VehicleList | None:
    job = Job.objects.filter(kind=READ_LIST, unique_key=key).first()
    if job is None:
        return None
    return VehicleList.objects.get(pk=job.arguments["vehicle_list_id"])


def _keep_until(today: dt.date) -> dt.date:
    last = today.replace(day=min(today.day, 28))
    return last.replace(year=last.year + KEEP_YEARS)


def _ask_reading(
    vehicle_list: VehicleList,
    by: StaffMember,
    at: dt.datetime,
    unique_key: str | None = None,
) -> None:
    vehicle_list.state = ListState.WAITING
    vehicle_list.staged_rows_done = 0
    vehicle_list.error = ""
    vehicle_list.job = enqueue(
        kind=READ_LIST,
        arguments={"vehicle_list_id": vehicle_list.pk},
        by=by,
        store=vehicle_list.store,
        now=at,
        unique_key=unique_key,
    )
    vehicle_list.save()


def _locked(vehicle_list: VehicleList) -> VehicleList:
    """Read a list for changing it, with its job."""
    rows = VehicleList.objects.select_for_update(of=("self",))
    return rows.select_related("store", "job").get(pk=vehicle_list.pk)


def is_idle(vehicle_list: VehicleList) -> bool:
    """Tell whether no work on the list is under way or waiting."""
    if vehicle_list.state in {ListState.STAGED, ListState.FAILED}:
        return True
    busy = vehicle_list.state in {ListState.WAITING, ListState.APPLYING}
    return busy and (vehicle_list.job is None or vehicle_list.job.is_finished)


def correct_columns(
    *,
    vehicle_list: VehicleList,
    mapping: Mapping[str, int],
    date_orders: Mapping[str, str],
    by: StaffMember,
    at: dt.datetime,
) -> VehicleList:
    """Take a person's word for what the columns hold, and read the list again.

    Raises MappingFault, and ListCannotMove once rows of it were applied.
    """
    check_mapping(mapping, columns=len(vehicle_list.headers))
    orders = {name: order for name, order in date_orders.items() if order}
    return _read_again(
        vehicle_list,
        by=by,
        at=at,
        mapping=dict(mapping),
        date_orders=orders,
        choices=vehicle_list.choices | {"mapped": True},
    )


def correct_sheet(
    *,
    vehicle_list: VehicleList,
    sheet: str,
    header_row: int | None,
    by: StaffMember,
    at: dt.datetime,
) -> VehicleList:
    """Read another sheet or another row of headers. Raises ListCannotMove."""
    choices = vehicle_list.choices | {"sheet": sheet, "header_row": header_row}
    choices.pop("mapped", None)
    return _read_again(vehicle_list, by=by, at=at, choices=choices, date_orders={})


def choose_kind(
    *, vehicle_list: VehicleList, kind: str, by: StaffMember, at: dt.datetime
) -> VehicleList:
    """Say of what kind the vehicles of a list are where no row says it."""
    choices = vehicle_list.choices | {"kind": kind}
    return _read_again(vehicle_list, by=by, at=at, choices=choices)


def choose_years(
    *, vehicle_list: VehicleList, pick: str, by: StaffMember, at: dt.datetime
) -> VehicleList:
    """Take the early or the late model year wherever a VIN of the list allows two."""
    choices = vehicle_list.choices | {"year_pick": pick}
    return _read_again(vehicle_list, by=by, at=at, choices=choices)


def _read_again(
    vehicle_list: VehicleList, *, by: StaffMember, at: dt.datetime, **facts: object
) -> VehicleList:
    with transaction.atomic():
        row = _locked(vehicle_list)
        if not is_idle(row) or row.is_begun:
            raise ListCannotMove(row)
        for name, value in facts.items():
            setattr(row, name, value)
        _ask_reading(row, by, at)
        write_audit(
            act="vehicle_list.corrected",
            subject=row,
            by=by,
            at=at,
            store=row.store,
            after={"facts": sorted(facts)},
        )
    return row


def decide_year(
    *,
    vehicle_list: VehicleList,
    row_number: int,
    year: int,
    by: StaffMember,
    at: dt.datetime,
    day: dt.date,
) -> StagedRow:
    """Settle the model year of one row whose VIN allows two.

    Raises ListCannotMove, and NotOneOfTheYears for any other year.
    """
    with transaction.atomic():
        parent = _locked(vehicle_list)
        if parent.state != ListState.STAGED:
            raise ListCannotMove(parent)
        staged = StagedRow.objects.get(vehicle_list=parent, row_number=row_number)
        years = staged.record.get("model_years", [])
        if year not in years or staged.state != RowState.ASK:
            raise NotOneOfTheYears(row_number, years)
        row = with_year(clean_row_of(staged), year)
        staged.state, faults = RowState.ASK, row.faults
        if row.worst is not Severity.ASK:
            terms = terms_of(parent, day=day)
            merger = Merger.over([row.record], terms, review=True)
            outcome = merger.take(row_number, row.record)
            staged.state, faults = outcome.state, (*faults, *outcome.faults)
        staged.record = row.record.to_json()
        staged.faults = [fault.to_json() for fault in faults]
        staged.save(update_fields=["state", "record", "faults"])
        years_said = parent.choices.get("years", {}) | {str(row_number): year}
        parent.choices = parent.choices | {"years": years_said}
        parent.counts = count_states(parent)
        parent.save(update_fields=["choices", "counts"])
        write_audit(
            act="vehicle_list.year_decided",
            subject=parent,
            by=by,
            at=at,
            store=parent.store,
            after={"row": row_number, "model_year": year},
        )
    return staged


def apply_list(
    *, vehicle_list: VehicleList, by: StaffMember, at: dt.datetime
) -> VehicleList:
    """Ask for the staged rows to be applied, or for the rest of them.

    Asking again while it is under way changes nothing. Raises NothingToApply, and
    ListCannotMove for a list that is not read or is abandoned.
    """
    with transaction.atomic():
        row = _locked(vehicle_list)
        under_way = row.state == ListState.APPLYING and not is_idle(row)
        if under_way or row.state == ListState.APPLIED:
            return row
        if row.state not in {ListState.STAGED, ListState.APPLYING}:
            raise ListCannotMove(row)
        if not row.counts.get(RowState.NEW) and not row.counts.get(RowState.CHANGED):
            raise NothingToApply
        row.state = ListState.APPLYING
        row.job = enqueue(
            kind=APPLY_LIST,
            arguments={"vehicle_list_id": row.pk},
            by=by,
            store=row.store,
            now=at,
        )
        row.save(update_fields=["state", "job"])
        write_audit(
            act="vehicle_list.apply_asked",
            subject=row,
            by=by,
            at=at,
            store=row.store,
            after=row.counts,
        )
    return row


def stop_applying(*, vehicle_list_id: int) -> None:
    """Lay a list down where its applying was cancelled; what is applied stays."""
    VehicleList.objects.filter(pk=vehicle_list_id, state=ListState.APPLYING).update(
        state=ListState.STAGED
    )


def abandon_list(
    *, vehicle_list: VehicleList, by: StaffMember, at: dt.datetime
) -> VehicleList:
    """Put a list aside; the file is kept, its staged rows go.

    What was applied of it before stays. Raises ListCannotMove while work is under way
    and once it is applied.
    """
    with transaction.atomic():
        row = _locked(vehicle_list)
        if row.state == ListState.ABANDONED:
            return row
        if not is_idle(row):
            raise ListCannotMove(row)
        if not row.is_begun:
            StagedRow.objects.filter(vehicle_list=row).delete()
        row.packs.all().delete()
        row.state = ListState.ABANDONED
        row.save(update_fields=["state"])
        write_audit(
            act="vehicle_list.abandoned", subject=row, by=by, at=at, store=row.store
        )
    return row
