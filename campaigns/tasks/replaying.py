"""Work in the background: playing closed campaigns again."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.replaying import REPLAY, replay_store
from dealership.domain.jobs import JobRun, handles
from dealership.models import Store


@handles(REPLAY, words=gettext_lazy("Playing closed campaigns again"))
def replay_closed(run: JobRun, *, store_id: int) -> dict[str, Any]:
    """Replay the closed campaigns of one store."""
    found = replay_store(
        store=Store.objects.get(pk=store_id),
        by=run.job.asked_by,
        at=run.now(),
        progress=lambda done, total: run.progress(done, total, _("days")),
    )
    return {"campaigns": len(found.result["campaigns"])}
