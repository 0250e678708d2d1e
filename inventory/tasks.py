"""Work in the background: promises that nobody came for."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy

from dealership.domain.jobs import JobRun, handles
from dealership.models import Store
from inventory.domain.lapsing import lapse_overdue


@handles("inventory.lapse", words=gettext_lazy("Freeing parts nobody came for"))
def lapse_promises(run: JobRun) -> dict[str, Any]:
    """Let go what is promised to visits that did not come, store by store."""
    stores = list(Store.objects.all())
    gone = 0
    for done, store in enumerate(stores):
        run.progress(done, len(stores), store.code)
        now = run.now()
        today = timezone.localdate(now)
        gone += len(lapse_overdue(store=store, today=today, by=None, at=now))
    return {"lapsed": gone}
