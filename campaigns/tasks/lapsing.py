"""Which visits still claim their parts after their day."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q

from campaigns.models import VisitJob
from campaigns.rules.lifecycle import RepairState, VisitState
from inventory.domain.lapsing import tells_who_comes


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection


@tells_who_comes("visit_job")
def visits_still_on(ids: Collection[int], first_good_day: dt.date) -> set[int]:
    """Keep the parts of vehicles that are here, in work, or expected again."""
    here = Q(visit__state=VisitState.ARRIVED) | Q(repair__state=RepairState.OPEN)
    expected = Q(visit__state=VisitState.BOOKED, visit__on__gte=first_good_day)
    kept = VisitJob.objects.filter(here | expected, pk__in=ids)
    return set(kept.values_list("pk", flat=True))
