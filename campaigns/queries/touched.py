"""Which stores have seen an act since their proposals were worked out last."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from campaigns.models import Reckoning
from campaigns.rules.touching import Touch, touch_of
from dealership.models import AuditEntry


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

OVERLAP = timedelta(minutes=15)
"""An act is told with the moment at which it began, and is seen when it is committed:
acts from so long before the last run are looked at again."""


def touched_stores(store_ids: Collection[int], *, today: dt.date) -> set[int]:
    """Give those of these stores whose proposals may not stand any more.

    All that were not worked out today, since the day is a fact; of the others those
    with an act since, by the audit trail: nothing changes without a line in it.
    """
    marks = dict(
        Reckoning.objects.filter(store__in=store_ids, worked_on=today).values_list(
            "store_id", "seen_until"
        )
    )
    touched = {pk for pk in store_ids if pk not in marks}
    if not marks:
        return touched
    since = min(marks.values()) - OVERLAP
    acts = AuditEntry.objects.filter(at__gte=since).order_by()
    for act, store_id, at in acts.values_list("act", "store_id", "at").iterator():
        touch = touch_of(act)
        if touch is Touch.NOBODY:
            continue
        mine = (
            {store_id}
            if touch is Touch.ITS_STORE and store_id is not None
            else set(marks)
        )
        touched |= {pk for pk in mine if pk in marks and at >= marks[pk] - OVERLAP}
    return touched
