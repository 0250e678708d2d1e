"""Reading lists of vehicles on their way in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Count, Q, Sum

from vehicles.models import StagedRow, Vehicle, VehicleChange, VehicleList
from vehicles.rules.records import CleanRow, Fault, VehicleRecord
from vehicles.rules.standing import ListState, RowState


if TYPE_CHECKING:
    from django.db.models import QuerySet

    from dealership.models import StaffMember
    from vehicles.models.vehicle_list import VehicleListQuerySet

TO_APPLY = (RowState.NEW, RowState.CHANGED)
TO_MEND = (RowState.REFUSED, RowState.ASK)


def count_states(vehicle_list: VehicleList) -> dict[str, int]:
    """Count the rows in each state, and all of them.

    Rows with nothing wrong in them were counted as they were read.
    """
    rows = StagedRow.objects.filter(vehicle_list=vehicle_list, is_sample=False)
    found = dict(rows.order_by().values_list("state").annotate(n=Count("pk")))
    plain = vehicle_list.reading.get("plain", {})
    counts = {
        state.value: found.get(state.value, 0) + plain.get(state.value, 0)
        for state in RowState
    }
    return counts | {"rows": sum(counts.values())}


def lists_of(staff: StaffMember) -> VehicleListQuerySet:
    """Give the lists of a person's stores, the latest first."""
    rows = VehicleList.objects.for_staff(staff)
    return rows.select_related("upload", "store", "made_by", "job")


def staged_rows(vehicle_list: VehicleList, state: str = "") -> QuerySet[StagedRow]:
    """Give the rows of a list in the order of the file, of one state or of all."""
    rows = StagedRow.objects.filter(vehicle_list=vehicle_list)
    return (rows.filter(state=state) if state else rows).order_by("row_number")


def how_far(vehicle_list: VehicleList) -> tuple[int, int]:
    """Give how many rows of a list are applied, and how many are to be in all."""
    rows = staged_rows(vehicle_list).filter(state__in=TO_APPLY, is_sample=False)
    waiting = vehicle_list.packs.aggregate(n=Sum("rows"))["n"] or 0
    done = rows.filter(row_number__lte=vehicle_list.applied_up_to_row).count()
    packed = vehicle_list.packed_rows_applied
    return done + packed, rows.count() + packed + waiting


def clean_row_of(row: StagedRow) -> CleanRow:
    """Give a staged row as the rules know it."""
    return CleanRow(
        row.row_number,
        VehicleRecord.from_json(row.record),
        tuple(Fault.from_json(told) for told in row.faults),
    )


def taken_in_before(vehicle_list: VehicleList) -> VehicleList | None:
    """Find the latest applied list of the store made of the very same file."""
    return (
        VehicleList.objects.filter(
            store=vehicle_list.store_id,
            upload__sha256=vehicle_list.upload.sha256,
            state=ListState.APPLIED,
            pk__lt=vehicle_list.pk,
        )
        .order_by("-pk")
        .first()
    )


def touched_vehicle_ids(vehicle_list: VehicleList) -> list[int]:
    """Give the vehicles that applying a list added or changed."""
    upload = vehicle_list.upload_id
    changed = VehicleChange.objects.filter(upload=upload).values("vehicle")
    vehicles = Vehicle.objects.filter(
        Q(from_upload=upload) | Q(pk__in=changed), store=vehicle_list.store_id
    )
    return list(vehicles.order_by("pk").values_list("pk", flat=True))
