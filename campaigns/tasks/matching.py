"""Work in the background: reading lists of VINs, matching vehicles, applying."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter
from typing import Any

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.applying import apply_chunk
from campaigns.domain.matching import match_chunk, to_match, told_counts
from campaigns.domain.reckoning import ask_reconcile
from campaigns.domain.rematching import rematch, ruling_versions, touched_by_list
from campaigns.domain.vin_lists import Choices, take_in_list
from campaigns.models import Campaign, CriteriaVersion
from dealership.domain.jobs import JobRun, handles
from dealership.models import Job, Upload
from vehicles.domain.applying import VEHICLES_APPLIED
from vehicles.models import VehicleList


def _matched(job: Job) -> str:
    version = CriteriaVersion.objects.select_related("campaign").get(
        pk=job.arguments["version_id"]
    )
    return reverse("campaigns:match", args=[version.campaign.code])


def _population(job: Job) -> str:
    version = CriteriaVersion.objects.select_related("campaign").get(
        pk=job.arguments["version_id"]
    )
    return reverse("campaigns:population", args=[version.campaign.code])


def _listed(job: Job) -> str:
    campaign = Campaign.objects.get(pk=job.arguments["campaign_id"])
    return reverse("campaigns:population", args=[campaign.code])


@handles(
    "campaigns.match",
    words=gettext_lazy("Matching vehicles with a campaign"),
    leads_to=_matched,
)
def match(run: JobRun, *, version_id: int) -> dict[str, Any]:
    """Match all vehicles against a version, chunk after chunk."""
    version = CriteriaVersion.objects.get(pk=version_id)
    total = to_match(version)
    done = int(version.counts.get("seen", 0))
    while True:
        run.progress(done, max(total, done), _("vehicles looked at"))
        seen = match_chunk(version_id=version_id)
        if seen is None:
            break
        done += seen
    version.refresh_from_db()
    return told_counts(version)


@handles(
    "campaigns.apply",
    words=gettext_lazy("Applying an amendment"),
    leads_to=_population,
)
def apply(run: JobRun, *, version_id: int) -> dict[str, Any]:
    """Apply what a match found, chunk after chunk, then have proposals follow."""
    version = CriteriaVersion.objects.get(pk=version_id)
    total = version.changes.count()
    done = version.changes.filter(applied=True).count()
    while True:
        run.progress(done, total, _("vehicles"))
        applied = apply_chunk(version_id=version_id, at=run.now())
        if applied is None:
            break
        done += applied
    ask_reconcile(store=None, by=run.job.asked_by, now=run.now())
    version.refresh_from_db()
    return told_counts(version)


@handles(VEHICLES_APPLIED, words=gettext_lazy("Judging new and changed vehicles"))
def judge_applied(
    run: JobRun, *, vehicle_list_id: int | None, vehicle_ids: list[int]
) -> dict[str, Any]:
    """Judge the vehicles that came in or changed by the criteria that rule."""
    wanted, source = Q(pk__in=vehicle_ids), _("vehicle card")
    if vehicle_list_id is not None:
        vehicle_list = VehicleList.objects.select_related("upload").get(
            pk=vehicle_list_id
        )
        wanted = touched_by_list(vehicle_list)
        source = _("list %(name)s") % {"name": vehicle_list.upload.original_name}
    versions = ruling_versions()
    counts: Counter[str] = Counter()
    for number, version in enumerate(versions):
        run.progress(number, len(versions), _("campaigns"))
        counts.update(
            rematch(
                version=version,
                wanted=wanted,
                source=source,
                by=run.job.asked_by,
                at=run.now(),
                today=timezone.localdate(run.now()),
            )
        )
    if counts:
        ask_reconcile(store=None, by=run.job.asked_by, now=run.now())
    return dict(counts)


@handles(
    "campaigns.take_list",
    words=gettext_lazy("Reading the manufacturer's VIN list"),
    leads_to=_listed,
)
def take_list(
    run: JobRun,
    *,
    campaign_id: int,
    upload_id: str,
    choices: dict[str, Any],
    listed_on: str,
) -> dict[str, Any]:
    """Take in a list of VINs, all or nothing."""
    campaign = Campaign.objects.get(pk=campaign_id)
    upload = Upload.objects.select_related("store").get(pk=uuid.UUID(upload_id))
    return take_in_list(
        campaign=campaign,
        upload=upload,
        choices=Choices(**choices),
        listed_on=dt.date.fromisoformat(listed_on),
        by=run.job.asked_by,
        at=run.now(),
    )
