"""Visits and repairs as the purpose of pieces, in words and with their page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from campaigns.models import Repair, VisitJob
from inventory.queries.subjects import Said, says


if TYPE_CHECKING:
    from collections.abc import Collection


@says("visit_job")
def visit_jobs(ids: Collection[int]) -> dict[int, Said]:
    """Say the vehicle and the day; the page is that of the visit."""
    rows = VisitJob.objects.filter(pk__in=ids).select_related(
        "visit__vehicle", "campaign_vehicle__campaign", "scheduled_item"
    )
    return {
        job.pk: Said(
            words=_("%(code)s on …%(vin)s, visit of %(day)s")
            % {
                "code": _code(job),
                "vin": job.visit.vehicle.vin[-8:],
                "day": job.visit.on.isoformat(),
            },
            page="campaigns:visit",
            pk=job.visit_id,
        )
        for job in rows
    }


def _code(job: VisitJob) -> str:
    row = job.campaign_vehicle
    subject = row.campaign if row else job.scheduled_item
    assert subject is not None, "the database keeps one of them"
    return subject.code


@says("repair")
def repairs(ids: Collection[int]) -> dict[int, Said]:
    """Say the repair order."""
    return {
        one.pk: Said(
            words=_("repair order %(order)s") % {"order": one.repair_order},
            page="campaigns:repair",
            pk=one.pk,
        )
        for one in Repair.objects.filter(pk__in=ids)
    }
