"""Work in the background: setting stock against open vehicles."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.reckoning import RECONCILE, reconcile
from dealership.domain.jobs import JobRun, handles


@handles(RECONCILE, words=gettext_lazy("Setting stock against open vehicles"))
def reconcile_stores(run: JobRun, *, store_id: int | None = None) -> dict[str, Any]:
    """Work out the proposals of all stores, or of one."""
    now = run.now()
    worked = reconcile(
        today=timezone.localdate(now),
        at=now,
        store_id=store_id,
        progress=lambda done, total: run.progress(done, total, _("stores")),
    )
    return worked.told()
