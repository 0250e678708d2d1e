"""Taking the staged rows of a list into the file of vehicles."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from dealership.domain.audit import record as write_audit
from dealership.domain.jobs import enqueue, known_kinds
from vehicles.domain.merging import Merger
from vehicles.domain.reading import terms_of
from vehicles.domain.taking import Pack, take_new
from vehicles.models import VehicleList
from vehicles.queries.lists import TO_APPLY, count_states, staged_rows
from vehicles.rules.records import VehicleRecord
from vehicles.rules.standing import ListState


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember, Store
    from vehicles.models import StagedPack

CHUNK = 2_000
VEHICLES_APPLIED = "vehicles.applied"
"""The kind of job that is left waiting whenever vehicles were added or changed.

Its arguments are ``vehicle_list_id`` (a number, or None where a person changed single
vehicles) and ``vehicle_ids`` (those vehicles; empty where a list is named, whose
vehicles ``vehicles.queries.lists.touched_vehicle_ids`` gives).
"""


def apply_chunk(
    *, vehicle_list_id: int, by: StaffMember | None, at: dt.datetime, day: dt.date
) -> int | None:
    """Apply the next rows in one transaction; gives how many, or None at the end.

    The place in the list is kept with the rows, so a chunk is never applied twice. A
    row is set against what is known now, not when it was reviewed.
    """
    with transaction.atomic():
        vehicle_list = (
            VehicleList.objects.select_for_update(of=("self",))
            .select_related("store")
            .get(pk=vehicle_list_id)
        )
        pack = vehicle_list.packs.first()
        if pack is not None:
            return _apply_pack(vehicle_list, pack, by, at, day)
        rows = staged_rows(vehicle_list).filter(
            state__in=TO_APPLY,
            is_sample=False,
            row_number__gt=vehicle_list.applied_up_to_row,
        )
        told = list(rows.values_list("row_number", "record")[:CHUNK])
        if not told:
            _finish(vehicle_list, by, at)
            return None
        records = [(row, VehicleRecord.from_json(record)) for row, record in told]
        _merge(vehicle_list, records, by, at, day)
        vehicle_list.applied_up_to_row = told[-1][0]
        vehicle_list.save(update_fields=["applied_up_to_row"])
    return len(told)


def _apply_pack(
    vehicle_list: VehicleList,
    stored: StagedPack,
    by: StaffMember | None,
    at: dt.datetime,
    day: dt.date,
) -> int:
    """Apply a pack; it goes with it, so that it is never applied twice."""
    pack, known = Pack.read(stored).split()
    take_new(
        pack=pack,
        terms=terms_of(vehicle_list, day=day),
        at=at,
        upload_id=vehicle_list.upload_id,
    )
    if known:
        _merge(vehicle_list, known, by, at, day)
    vehicle_list.packed_rows_applied += stored.rows
    vehicle_list.save(update_fields=["packed_rows_applied"])
    stored.delete()
    return stored.rows


def _merge(
    vehicle_list: VehicleList,
    records: list[tuple[int, VehicleRecord]],
    by: StaffMember | None,
    at: dt.datetime,
    day: dt.date,
) -> None:
    """Set rows against what is known, one by one, and write what they change."""
    terms = terms_of(vehicle_list, day=day)
    merger = Merger.over((record for _row, record in records), terms)
    for row, record in records:
        merger.take(row, record)
    merger.batch.write(
        at=at,
        by_id=by.pk if by else None,
        store_id=vehicle_list.store_id,
        upload_id=vehicle_list.upload_id,
    )


def _finish(vehicle_list: VehicleList, by: StaffMember | None, at: dt.datetime) -> None:
    """Say that a list is applied, and let campaigns look at its vehicles."""
    if vehicle_list.state == ListState.APPLIED:
        return
    vehicle_list.state = ListState.APPLIED
    vehicle_list.applied_at = at
    vehicle_list.counts = count_states(vehicle_list)
    vehicle_list.save(update_fields=["state", "applied_at", "counts"])
    write_audit(
        act="vehicle_list.applied",
        subject=vehicle_list,
        by=by,
        at=at,
        store=vehicle_list.store,
        after=vehicle_list.counts,
    )
    announce(
        store=vehicle_list.store,
        by=by,
        at=at,
        vehicle_list_id=vehicle_list.pk,
        unique_key=f"list {vehicle_list.pk}",
    )


def announce(
    *,
    store: Store,
    by: StaffMember | None,
    at: dt.datetime,
    vehicle_list_id: int | None = None,
    vehicle_ids: list[int] | None = None,
    unique_key: str | None = None,
) -> None:
    """Leave word that vehicles were added or changed, for whoever matches them."""
    if VEHICLES_APPLIED not in known_kinds():
        return
    enqueue(
        kind=VEHICLES_APPLIED,
        arguments={
            "vehicle_list_id": vehicle_list_id,
            "vehicle_ids": vehicle_ids or [],
        },
        by=by,
        store=store,
        now=at,
        unique_key=unique_key,
    )
