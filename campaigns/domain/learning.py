"""Learning from closed campaigns how owners come."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from campaigns.models import Campaign, ClosedResponse, LearnedResponse
from campaigns.queries.experience import closed_campaigns, course_of
from campaigns.rules.lifecycle import CampaignState
from inventory.forecasting.response import experience_kept, learn


if TYPE_CHECKING:
    import datetime as dt

LATEST = 60
"""Closed campaigns that are learned from at the most, the latest ones."""


def keep_response(
    *, campaign: Campaign, at: dt.datetime, today: dt.date
) -> list[ClosedResponse]:
    """Keep how a campaign ran at each store, as it is closed. Again: anew."""
    with transaction.atomic():
        ClosedResponse.objects.filter(campaign=campaign).delete()
        return ClosedResponse.objects.bulk_create(
            ClosedResponse(campaign=campaign, store_id=store_id, seen=rows, made_at=at)
            for store_id, rows in sorted(course_of(campaign, last_day=today).items())
        )


def learn_responses(*, at: dt.datetime) -> int:
    """Fit curves, pace, errors and exits anew where the closed campaigns differ.

    Gives how many were fitted. With the same closed campaigns nothing is done.
    """
    _keep_missing()
    known = {(one.store_id, one.campaign_class): one for one in _learned()}
    fitted = 0
    found = closed_campaigns()
    for scope, rows in found.items():
        latest = rows[-LATEST:]
        marks = [f"{row.pk}:{row.made_at.isoformat()}" for row, _campaign in latest]
        fingerprint = hashlib.sha256(" ".join(marks).encode()).hexdigest()
        old = known.get(scope)
        if old is not None and old.fingerprint == fingerprint:
            continue
        store_id, campaign_class = scope
        row = old or LearnedResponse(store_id=store_id, campaign_class=campaign_class)
        row.fingerprint = fingerprint
        row.learned = experience_kept(learn([campaign for _row, campaign in latest]))
        row.made_at = at
        row.save()
        fitted += 1
    gone = [one.pk for scope, one in known.items() if scope not in found]
    LearnedResponse.objects.filter(pk__in=gone).delete()
    return fitted


def _keep_missing() -> None:
    """Keep how campaigns ran that were closed before anybody kept it."""
    missing = Campaign.objects.filter(
        state=CampaignState.CLOSED, closed_at__isnull=False, responses=None
    )
    for campaign in missing.order_by("pk"):
        assert campaign.closed_at is not None, "asked for above"
        keep_response(
            campaign=campaign,
            at=campaign.closed_at,
            today=timezone.localdate(campaign.closed_at),
        )


def _learned() -> list[LearnedResponse]:
    return list(LearnedResponse.objects.all())
