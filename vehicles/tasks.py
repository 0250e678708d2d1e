"""Work in the background: reading lists of vehicles, and applying them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dealership.documents.unreadable import UnreadableList
from dealership.domain.jobs import Cancelled, handles
from vehicles.documents.lists import opened_list
from vehicles.domain.applying import apply_chunk
from vehicles.domain.lists import APPLY_LIST, READ_LIST, stop_applying
from vehicles.domain.reading import (
    Stager,
    begin_staging,
    chunks,
    finish_staging,
    note_columns_wanted,
    note_unreadable,
    survey,
)
from vehicles.models import VehicleList
from vehicles.queries.lists import how_far
from vehicles.rules.columns import MappingFault
from vehicles.rules.standing import ListState


if TYPE_CHECKING:
    from dealership.domain.jobs import JobRun
    from dealership.models import Job


def _page(job: Job) -> str:
    return reverse("vehicles:vehicle_list", args=[job.arguments["vehicle_list_id"]])


@handles(READ_LIST, words=gettext_lazy("Reading a list of vehicles"), leads_to=_page)
def read_list(run: JobRun, *, vehicle_list_id: int) -> dict[str, Any]:
    """Read a list, guess its columns and stage its rows."""
    vehicle_list = VehicleList.objects.select_related("store", "upload").get(
        pk=vehicle_list_id
    )
    if vehicle_list.state != ListState.WAITING or vehicle_list.job_id != run.job.pk:
        return {}
    try:
        return _read(run, vehicle_list)
    except UnreadableList as refusal:
        note_unreadable(vehicle_list=vehicle_list, sentence=refusal.sentence)
        raise
    except MappingFault as fault:
        note_columns_wanted(vehicle_list=vehicle_list, sentence=fault.sentence)
        return {}


def _read(run: JobRun, vehicle_list: VehicleList) -> dict[str, Any]:
    choices, upload = vehicle_list.choices, vehicle_list.upload
    begin_staging(vehicle_list=vehicle_list)
    with opened_list(
        upload.file,
        upload.original_name,
        sheet=choices.get("sheet") or None,
        header_row=choices.get("header_row"),
    ) as table:
        total = survey(
            vehicle_list=vehicle_list,
            table=table,
            tick=lambda seen: run.progress(seen, None, _("rows looked through")),
        )
        stager = Stager.of(
            vehicle_list,
            today=timezone.localdate(run.now()),
            day=timezone.localdate(vehicle_list.made_at),
        )
        done = 0
        for chunk in chunks(table.rows()):
            run.progress(done, total, _("rows read"))
            stager.stage(chunk)
            done += len(chunk)
    run.progress(done, total, _("rows read"))
    return finish_staging(vehicle_list=vehicle_list, at=run.now())


@handles(APPLY_LIST, words=gettext_lazy("Taking a list of vehicles in"), leads_to=_page)
def apply_list(run: JobRun, *, vehicle_list_id: int) -> dict[str, Any]:
    """Apply the staged rows of a list, chunk after chunk."""
    vehicle_list = VehicleList.objects.get(pk=vehicle_list_id)
    if vehicle_list.state != ListState.APPLYING or vehicle_list.job_id != run.job.pk:
        return {}
    done, total = how_far(vehicle_list)
    day = timezone.localdate(vehicle_list.made_at)
    try:
        while True:
            run.progress(done, total, _("rows applied"))
            applied = apply_chunk(
                vehicle_list_id=vehicle_list_id,
                by=run.job.asked_by,
                at=run.now(),
                day=day,
            )
            if applied is None:
                break
            done += applied
    except Cancelled:
        stop_applying(vehicle_list_id=vehicle_list_id)
        raise
    return {"rows": done}
