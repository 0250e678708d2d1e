"""Parts that came in go to whom they are due; visits nobody came to are closed."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from campaigns.domain.booking import lapse_missed
from campaigns.domain.reckoning import ask_reconcile
from campaigns.domain.requests import offer_waiting, pass_on
from dealership.domain.jobs import JobRun, handles
from dealership.models import Store
from inventory.models import Shipment


RECEIVED = "inventory.received"
FREED = "inventory.freed"
MISSED_VISITS = "campaigns.missed_visits"


@handles(RECEIVED, words=_("Giving parts that came in to those who wait"))
def pass_on_received(run: JobRun, *, shipment_id: int) -> dict[str, Any]:
    """Keep the promises on a delivery, then offer what is left to the waiting list.

    The store's proposals are worked out anew after it.
    """
    shipment = Shipment.objects.select_related("store").get(pk=shipment_id)
    now = run.now()
    offers = pass_on(
        store=shipment.store,
        part_ids=set(shipment.lines.values_list("part_id", flat=True)),
        by=None,
        at=now,
        today=timezone.localdate(now),
    )
    ask_reconcile(store=shipment.store, by=None, now=now)
    return {"offered": len(offers)}


@handles(FREED, words=_("Giving parts that became free to those who wait"))
def pass_on_freed(run: JobRun, *, store_id: int, part_ids: list[int]) -> dict[str, Any]:
    """Offer pieces that came from another store, a count or quarantine.

    The store's proposals are worked out anew after it.
    """
    store = Store.objects.get(pk=store_id)
    now = run.now()
    today = timezone.localdate(now)
    offers = pass_on(store=store, part_ids=set(part_ids), by=None, at=now, today=today)
    ask_reconcile(store=store, by=None, now=now)
    return {"offered": len(offers)}


@handles(MISSED_VISITS, words=_("Closing visits that nobody came to"))
def close_missed_visits(run: JobRun) -> dict[str, Any]:
    """End visits after each store's days of grace; their parts are free again.

    Parts that became free in another way, as where a vehicle on the list was remedied
    elsewhere, are offered to the next in line.
    """
    ended, now = 0, run.now()
    stores = Store.objects.order_by("pk")
    for number, store in enumerate(stores, start=1):
        ended += len(lapse_missed(store=store, by=None, at=now))
        offer_waiting(store=store, by=None, at=now, today=timezone.localdate(now))
        run.progress(number, len(stores))
    return {"ended": ended}
