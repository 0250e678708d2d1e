"""How the owners of each store have kept their bookings, and how far ahead they book."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import Count, DurationField, ExpressionWrapper, F
from django.db.models.functions import TruncDate

from campaigns.models import Repair, Visit
from campaigns.rules.lifecycle import RepairState, VisitState
from inventory.forecasting.habits import WALKED_IN, learned_show_rate, unbooked_ahead


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

REMEMBERED_DAYS = 364
"""Days back that are looked at: seasons are in it once."""

_HAPPENED = (VisitState.ARRIVED, VisitState.DONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """What a store's visits of the last year came to.

    ``unbooked_ahead`` is the share not yet booked by weeks ahead; empty with too few
    repairs.
    """

    kept: int = 0
    missed: int = 0
    unbooked_ahead: tuple[float, ...] = ()

    def show_rate(self, usual: float) -> float:
        """Give the share of booked visits that happen; ``usual`` is the store's own."""
        return round(learned_show_rate(usual, kept=self.kept, missed=self.missed), 6)


NO_HABITS = Habits()


def habits_of(store_ids: Collection[int], *, today: dt.date) -> dict[int, Habits]:
    """Read the visits for campaigns in the last year, counted by the database."""
    since = today - timedelta(days=REMEMBERED_DAYS)
    ahead: dict[int, Counter[int]] = defaultdict(Counter)
    missed: Counter[int] = Counter()
    visits: Any = (
        Visit.objects.filter(
            store__in=store_ids,
            on__gte=since,
            on__lt=today,
            state__in=[*_HAPPENED, VisitState.MISSED],
            jobs__campaign_vehicle__isnull=False,
        )
        .order_by()
        .annotate(
            ahead=ExpressionWrapper(
                F("on") - TruncDate("booked_at"), output_field=DurationField()
            )
        )
        .values_list("store_id", "state", "ahead")
        .annotate(n=Count("pk"))
    )
    for store_id, state, days, number in visits:
        if state == VisitState.MISSED:
            missed[store_id] += number
        else:
            ahead[store_id][max(0, days.days)] += number
    kept = {store_id: by_days.total() for store_id, by_days in ahead.items()}
    walked: Any = (
        Repair.objects.filter(
            store__in=store_ids,
            visit_job=None,
            campaign_vehicle__isnull=False,
            state=RepairState.COMPLETED,
            opened_at__date__gte=since,
            opened_at__date__lt=today,
        )
        .order_by()
        .values_list("store_id")
        .annotate(n=Count("pk"))
    )
    for store_id, number in walked:
        ahead[store_id][WALKED_IN] += number
    return {
        store_id: Habits(
            kept=kept.get(store_id, 0),
            missed=missed[store_id],
            unbooked_ahead=unbooked_ahead(ahead[store_id]),
        )
        for store_id in {*ahead, *missed}
    }
