"""Learning from closed campaigns how owners come."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from campaigns.models import Campaign, ClosedResponse, LearnedResponse
from campaigns.queries.experience import (
    LATEST,
    closed_marks,
    course_of,
    courses,
)
from campaigns.rules.lifecycle import CampaignState
from inventory.forecasting.response import experience_kept, learn


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from campaigns.queries.experience import Mark


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

    Gives how many were fitted. Only the sets that differ from those last fitted are
    read; with the same closed campaigns nothing is done.
    """
    _keep_missing()
    known = {(one.store_id, one.campaign_class): one for one in _learned()}
    marks = {scope: found[-LATEST:] for scope, found in closed_marks().items()}
    prints = {scope: _fingerprint(found) for scope, found in marks.items()}
    changed = [
        scope
        for scope, fingerprint in prints.items()
        if scope not in known or known[scope].fingerprint != fingerprint
    ]
    read = courses({one.id for scope in changed for one in marks[scope]})
    for scope in changed:
        store_id, campaign_class = scope
        row = known.get(scope) or LearnedResponse(
            store_id=store_id, campaign_class=campaign_class
        )
        row.fingerprint = prints[scope]
        row.learned = experience_kept(learn([read[one.id] for one in marks[scope]]))
        row.made_at = at
        row.save()
    gone = [one.pk for scope, one in known.items() if scope not in marks]
    if gone:
        LearnedResponse.objects.filter(pk__in=gone).delete()
    return len(changed)


def _fingerprint(marks: Iterable[Mark]) -> str:
    """Give 64 hexadecimal digits that change with any course of a set."""
    words = " ".join(f"{one.id}:{one.made_at.isoformat()}" for one in marks)
    return hashlib.sha256(words.encode()).hexdigest()


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
    return list(LearnedResponse.objects.defer("learned"))
