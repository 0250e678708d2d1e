"""Work in the background: setting stock against open vehicles."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.reckoning import RECONCILE, reconcile, stores_to_share
from dealership.domain.jobs import JobRun, enqueue, handles


if TYPE_CHECKING:
    from dealership.models import Job

HELP_KIND = "campaigns.help_reconcile"


def _page(_job: Job) -> str:
    return reverse("campaigns:proposals")


@handles(
    RECONCILE,
    words=gettext_lazy("Setting stock against open vehicles"),
    leads_to=_page,
)
def reconcile_stores(run: JobRun, *, store_id: int | None = None) -> dict[str, Any]:
    """Work out the proposals of all stores, or of one.

    Over many stores another worker is asked to help; it is not waited for.
    """
    now = run.now()
    today = timezone.localdate(now)
    if store_id is None and stores_to_share(today=today):
        enqueue(
            kind=HELP_KIND,
            arguments={"begun": now.isoformat()},
            by=run.job.asked_by,
            store=None,
            now=now,
            unique_key=f"{run.job.pk} {now.isoformat()}",
        )
    worked = reconcile(
        today=today,
        at=now,
        store_id=store_id,
        progress=lambda done, total: run.progress(done, total, _("stores")),
    )
    return worked.told()


@handles(
    HELP_KIND,
    words=gettext_lazy("Helping to set stock against open vehicles"),
    leads_to=_page,
)
def help_reconcile(run: JobRun, *, begun: str) -> dict[str, Any]:
    """Take stores of a run from its other end, as long as there are any."""
    at = dt.datetime.fromisoformat(begun)
    worked = reconcile(
        today=timezone.localdate(at),
        at=at,
        helping=True,
        progress=lambda done, total: run.progress(done, total, _("stores")),
    )
    return worked.told()
