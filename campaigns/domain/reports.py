"""Completion reports: asked for once, made once, kept as they were made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.documents.reports import draw_curve, report_pdf, report_tables
from campaigns.models import Report
from campaigns.queries.outlook import fan_of
from campaigns.queries.reports import (
    curve_words,
    digest_of,
    figures_of,
    shares_of,
    table_of,
)
from campaigns.rules.lifecycle import ReportState
from dealership.documents.pdf import page_of
from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import Campaign
    from dealership.models import StaffMember, Store

REPORT_KIND = "campaigns.make_report"


class DayNotCome(Refusal):
    """A report as of a day that has not come."""

    field = "as_of"

    def __init__(self, as_of: dt.date) -> None:
        super().__init__(
            _("%(day)s has not come yet. Choose today or a day before.")
            % {"day": as_of.isoformat()}
        )
        self.as_of = as_of


class BeforeCampaign(Refusal):
    """A report as of a day before the campaign was announced."""

    field = "as_of"

    def __init__(self, campaign: Campaign) -> None:
        super().__init__(
            _("Campaign %(code)s was announced on %(day)s. Choose that day or later.")
            % {"code": campaign.code, "day": campaign.announced_on.isoformat()}
        )


def ask_report(
    *,
    key: str,
    campaign: Campaign,
    store: Store,
    as_of: dt.date,
    today: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> Report:
    """Ask for a store's completion report as of the end of a day.

    It is made in the background. The same key gives the first report. Raises
    DayNotCome, BeforeCampaign.
    """
    if as_of > today:
        raise DayNotCome(as_of)
    if as_of < campaign.announced_on:
        raise BeforeCampaign(campaign)
    with transaction.atomic():
        report, new = Report.objects.get_or_create(
            key=key,
            defaults={
                "campaign": campaign,
                "store": store,
                "as_of": as_of,
                "asked_by": by,
                "asked_at": at,
            },
        )
        if not new:
            return report
        report.job = enqueue(
            kind=REPORT_KIND,
            arguments={"report_id": report.pk},
            by=by,
            store=store,
            now=at,
            unique_key=f"report {report.pk}",
        )
        report.save(update_fields=["job"])
        record(
            act="report.asked",
            subject=report,
            by=by,
            at=at,
            store=store,
            after={"campaign": campaign.code, "as_of": as_of.isoformat()},
        )
    return report


def note_failure(*, report_id: int, at: dt.datetime) -> None:
    """Say of a report that its making was given up; it may be tried again.

    Runs in the transaction in which the job is given up. One that is made stays.
    """
    report = (
        Report.objects.select_for_update().select_related("store").get(pk=report_id)
    )
    if report.state != ReportState.WAITING:
        return
    report.state = ReportState.FAILED
    report.save(update_fields=["state"])
    record(
        act="report.failed",
        subject=report,
        by=None,
        at=at,
        store=report.store,
        before={"state": ReportState.WAITING},
        after={"state": ReportState.FAILED},
    )


def make_report(*, report_id: int, at: dt.datetime) -> Report:
    """Work out a report, draw it, write its files, and keep it.

    One that is made already stays as it is. Raises PdfEngineMissing.
    """
    reports = Report.objects.select_related("campaign", "store")
    report = reports.get(pk=report_id)
    if report.state == ReportState.MADE:
        return report
    figures, curve = figures_of(report)
    said = curve_words(figures, curve)
    digest = digest_of(figures, curve)
    # a forecast is no figure of the report: the digest does not vouch for it
    figures["fan"] = _fan(report, figures, curve)
    svg = draw_curve(
        curve, last_week=figures["last_week"], said=said, fan=figures["fan"]
    )
    rows = table_of(figures)
    facts = facts_of(report, digest)
    pdf = report_pdf(
        {
            "report": report,
            "rows": rows,
            "facts": facts,
            "stretches": [tuple(one) for one in figures["stretches"]],
            "shares": shares_of(figures),
            "figures": figures,
            "curve_said": said,
        },
        curve_svg=svg,
        page=page_of(report.store.paper),
    )
    csv, xlsx = report_tables(rows, facts, made=timezone.localdate(report.asked_at))
    with transaction.atomic():
        row = Report.objects.select_for_update().get(pk=report_id)
        if row.state == ReportState.MADE:
            return row
        row.figures, row.curve, row.curve_svg, row.digest = figures, curve, svg, digest
        name = f"{report.campaign.code}-{report.store.code}-{report.as_of}"
        row.pdf.save(f"{name}.pdf", ContentFile(pdf), save=False)
        row.csv.save(f"{name}.csv", ContentFile(csv), save=False)
        row.xlsx.save(f"{name}.xlsx", ContentFile(xlsx), save=False)
        row.state, row.made_at = ReportState.MADE, at
        row.save()
        record(
            act="report.made",
            subject=row,
            by=row.asked_by,
            at=at,
            store=report.store,
            after={"digest": digest, "involved": figures["involved"]},
        )
    return row


def _fan(
    report: Report, figures: dict[str, Any], curve: list[dict[str, Any]]
) -> list[dict[str, float]]:
    """Forecast how the curve goes on; only where the report stands on its own day."""
    if not curve or timezone.localdate(report.asked_at) != report.as_of:
        return []
    return fan_of(
        report.campaign,
        store=report.store,
        today=report.as_of,
        week=max(figures["last_week"], 1.0),
        completed=curve[-1]["completed"],
    )


def facts_of(report: Report, digest: str) -> list[tuple[str, str]]:
    """Give what a report says about itself, label and value."""
    campaign = report.campaign
    facts: list[tuple[str, Any]] = [
        (_("Kind"), _("dealer's count, not a regulatory filing")),
        (_("Manufacturer"), campaign.maker),
        (_("Manufacturer's number"), campaign.maker_number),
        (_("Regulator's number"), campaign.regulator_number),
        (_("Our number"), f"{campaign.code} {campaign.title}"),
        (_("Class"), campaign.get_campaign_class_display()),
        (_("Store"), f"{report.store.code} {report.store.name}"),
        (_("Owner letters from"), campaign.letters_on),
        (_("As of the end of"), report.as_of),
        (_("Asked for on"), timezone.localdate(report.asked_at)),
        (_("Digest"), digest[:16]),
    ]
    return [(label, str(value)) for label, value in facts if value]
