"""Work in the background: completion reports."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.reports import REPORT_KIND, make_report, note_failure
from dealership.domain.jobs import handles


if TYPE_CHECKING:
    import datetime as dt

    from dealership.domain.jobs import JobRun
    from dealership.models import Job


def _page(job: Job) -> str:
    return reverse("campaigns:report", args=[job.arguments["report_id"]])


def _failed(job: Job, now: dt.datetime) -> None:
    note_failure(report_id=job.arguments["report_id"], at=now)


@handles(
    REPORT_KIND,
    words=gettext_lazy("Making a completion report"),
    leads_to=_page,
    when_failed=_failed,
)
def make(run: JobRun, *, report_id: int) -> dict[str, Any]:
    """Make one report; one that is made already stays as it is."""
    run.progress(0, 1, _("counting and drawing"))
    report = make_report(report_id=report_id, at=run.now())
    run.progress(1, 1, _("made"))
    return {"digest": report.digest}
