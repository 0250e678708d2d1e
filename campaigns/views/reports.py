"""Pages: reports."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods, require_safe

from campaigns.domain.reports import ask_report, facts_of
from campaigns.forms.reports import AskReportForm
from campaigns.models import Report
from campaigns.queries.completion import counts
from campaigns.queries.reports import (
    curve_words,
    last_days,
    reports_due,
    shares_of,
    table_of,
)
from campaigns.rules.lifecycle import ReportState
from campaigns.views.letters import handed_out
from campaigns.views.places import add_refusal, campaign_of, campaign_places
from dealership.rules.jobs import JobState
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of
from dealership.views.jobs import job_card


if TYPE_CHECKING:
    from django.http import HttpRequest

A_PAGE = 50


@require_safe
@guarded(Capability.SEE_REPORTS)
def reports(request: HttpRequest) -> HttpResponse:
    """List the store's reports, the newest first."""
    rows = Report.objects.for_staff(staff_of(request)).in_store(store_of(request))
    rows = rows.select_related("campaign", "asked_by")
    page = Paginator(rows, A_PAGE).get_page(request.GET.get("page"))
    for report in page:
        shares = shares_of(report.figures) if report.figures else (None, None)
        report.shares = shares  # type: ignore[attr-defined]
    return render(request, "campaigns/reports.html", {"page_obj": page})


@require_safe
@guarded(Capability.SEE_REPORTS)
def report(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one report as it was made, or how far it is."""
    row = _report_of(request, pk)
    made = row.state == ReportState.MADE
    context = {
        "report": row,
        "made": made,
        "failed": _has_failed(row),
        "rows": table_of(row.figures) if made else [],
        "shares": shares_of(row.figures) if made else (None, None),
        "stretches": [tuple(one) for one in row.figures.get("stretches", [])],
        "facts": facts_of(row, row.digest),
        "curve_said": curve_words(row.figures, row.curve) if made else "",
        # drawn by our own chart module from numbers; its words are escaped there
        "curve_drawn": mark_safe(row.curve_svg),  # noqa: S308
        "card": None
        if made or row.job is None
        else job_card(row.job, staff_of(request), timezone.now()),
    }
    return render(request, "campaigns/report.html", context)


def _has_failed(row: Report) -> bool:
    """Tell whether it was given up and nobody has started it again."""
    again = row.job is not None and row.job.state != JobState.FAILED
    return row.state == ReportState.FAILED and not again


def _report_of(request: HttpRequest, pk: int) -> Report:
    mine = Report.objects.for_staff(staff_of(request))
    found: Report = get_object_or_404(
        mine.select_related("campaign", "store", "job", "asked_by"), pk=pk
    )
    hold_to_store(request, found.store_id)
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.SEE_REPORTS)
def campaign_report(request: HttpRequest, code: str) -> HttpResponse:
    """Show how far the campaign is in the store, its dates, and ask for a report."""
    campaign, store = campaign_of(code), store_of(request)
    today = timezone.localdate()
    form = AskReportForm(request.POST or None, initial={"as_of": today})
    may_make = staff_of(request).may(Capability.MAKE_REPORTS, store.pk)
    if request.method == "POST":
        if not may_make:
            raise PermissionDenied
        if form.is_valid():
            try:
                asked = ask_report(
                    key=form.cleaned_data["key"],
                    campaign=campaign,
                    store=store,
                    as_of=form.cleaned_data["as_of"],
                    today=today,
                    by=staff_of(request),
                    at=timezone.now(),
                )
            except Refusal as refusal:
                add_refusal(form, refusal)
            else:
                return redirect("campaigns:report", pk=asked.pk)
    made = Report.objects.for_staff(staff_of(request)).in_store(store)
    now = counts(campaign=campaign, store_ids=[store.pk])
    context = {
        "campaign": campaign,
        "campaign_places": campaign_places(request, campaign),
        "counts": now,
        "stretches": now.stretches(),
        "due": reports_due(campaign, today),
        "last_days": last_days(campaign, today),
        "reports": made.filter(campaign=campaign)[:20],
        "form": form,
        "may_make": may_make,
        "today": today,
    }
    return render(request, "campaigns/report_campaign.html", context)


@require_safe
@guarded(Capability.SEE_REPORTS)
def report_file(request: HttpRequest, pk: int, kind: str) -> FileResponse:
    """Hand out a file of a report."""
    row = _report_of(request, pk)
    kept = getattr(row, kind)
    if not kept:
        raise Http404
    name = f"report-{row.campaign.code}-{row.store.code}-{row.as_of}.{kind}"
    return handed_out(FileResponse(kept.open(), as_attachment=True, filename=name))


patterns = [
    path("campaigns/<str:code>/report/", campaign_report, name="campaign_report"),
    path("reports/", reports, name="reports"),
    path("reports/<int:pk>/", report, name="report"),
    *(
        path(
            f"reports/<int:pk>/report.{kind}",
            report_file,
            {"kind": kind},
            name=f"report_{kind}",
        )
        for kind in ("pdf", "csv", "xlsx")
    ),
]
