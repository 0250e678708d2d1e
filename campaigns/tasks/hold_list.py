"""The daily check of the stores' own vehicles against all campaigns."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy

from campaigns.domain.hold_list import check_stock
from dealership.domain.jobs import JobRun, handles
from dealership.models import Store


CHECK_STOCK = "campaigns.check_stock"


@handles(CHECK_STOCK, words=gettext_lazy("Checking the stores' own vehicles"))
def check_all_stock(run: JobRun) -> dict[str, Any]:
    """Check the stock of each store; a store that is checked twice tells nothing new."""
    stores = list(Store.objects.order_by("code"))
    held = 0
    for done, store in enumerate(stores):
        run.progress(done, len(stores), store.code)
        held += check_stock(store=store, by=run.job.asked_by, at=run.now()).held
    run.progress(len(stores), len(stores), "")
    return {"stores": len(stores), "held": held}
