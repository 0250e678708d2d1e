"""The figures of a completion report, and the dates that law and terms set."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.queries.completion import counts
from campaigns.queries.curve import Curve, curve_of
from campaigns.rules.categories import (
    Category,
    emissions_lines,
    safety_lines,
)
from campaigns.rules.deadlines import DeadlineKind, deadlines_of, report_schedule
from campaigns.rules.lifecycle import CampaignClass


if TYPE_CHECKING:
    import datetime as dt

    from django.utils.functional import _StrPromise

    from campaigns.models import Campaign, Report
    from campaigns.rules.deadlines import Deadline, ReportDue

LINE_WORDS: dict[str, _StrPromise] = {
    "involved": gettext_lazy("Involved"),
    "population": gettext_lazy("Involved"),
    "inspected_repaired": gettext_lazy("Inspected and repaired"),
    "inspected_no_repair": gettext_lazy("Inspected, no repair needed"),
    "inspected": gettext_lazy("Inspected"),
    "needing_repair": gettext_lazy("Found to need repair"),
    "repaired": gettext_lazy("Repaired"),
    "unreachable": gettext_lazy("Cannot be reached"),
    "unavailable": gettext_lazy("Not available"),
    Category.EXPORTED: gettext_lazy("exported"),
    Category.STOLEN: gettext_lazy("stolen"),
    Category.SCRAPPED: gettext_lazy("scrapped"),
    Category.NOT_NOTIFIED: gettext_lazy("notice not received"),
    Category.OTHER_REASON: gettext_lazy("other reason"),
    "disqualified": gettext_lazy("Disqualified: poor maintenance or use"),
    "still_open": gettext_lazy("Still open"),
    "to_verify": gettext_lazy("still to be verified"),
}
DEADLINE_WORDS = {
    DeadlineKind.CLAIM: gettext_lazy("Claims until"),
    DeadlineKind.RETURN: gettext_lazy("Parts returnable until"),
    DeadlineKind.REMEDY_OFFERED: gettext_lazy("Remedy offered until"),
}


def figures_of(report: Report) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Work out the figures and the curve of a report, as plain values.

    Only what was recorded by the time it was asked for goes in, so that the same
    report can be worked out again later to the digit.
    """
    campaign = report.campaign
    population = counts(
        campaign=campaign,
        store_ids=[report.store_id],
        as_of=report.as_of,
        known_at=report.asked_at,
    )
    done = population.completion
    emissions = campaign.campaign_class == CampaignClass.EMISSIONS
    lines = emissions_lines(done) if emissions else safety_lines(done)
    reachable = done.involved - done.unreachable
    figures = {
        "lines": [
            {"code": str(one.code), "vehicles": one.vehicles, "part_of": one.part_of}
            for one in lines
        ],
        "stretches": [list(one) for one in population.stretches()],
        "involved": done.involved,
        "reachable": reachable,
        "complete": done.complete,
        "below_line": done.to_verify_below_line,
        "removed": done.removed,
        "letters_on": _iso(campaign.letters_on),
        "announced_on": _iso(campaign.announced_on),
    }
    curve = curve_of(
        campaign=campaign,
        store=report.store,
        as_of=report.as_of,
        known_at=report.asked_at,
    )
    figures |= {"watched": curve.watched, "last_week": round(curve.last_week, 4)}
    return figures, points_of(curve)


def points_of(curve: Curve) -> list[dict[str, Any]]:
    """Give the points of a curve as plain values, rounded so that they can be kept."""
    return [
        {
            "week": round(point.week, 4),
            "at_risk": point.at_risk,
            "done": point.asked,
            "completed": round(point.completed, 8),
            "low": None if point.low is None else round(point.low, 8),
            "high": None if point.high is None else round(point.high, 8),
        }
        for point in curve.points
    ]


def digest_of(figures: dict[str, Any], curve: list[dict[str, Any]]) -> str:
    """Give the digest of a report's figures (SHA-256 of their canonical JSON)."""
    text = json.dumps([figures, curve], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def table_of(figures: dict[str, Any]) -> list[dict[str, Any]]:
    """Give the lines of a report in words, with both shares (0 to 1, or None)."""
    reachable = figures["reachable"]
    rows = []
    for line in figures["lines"]:
        code, n = line["code"], line["vehicles"]
        beyond = {code, line["part_of"]} & {"unreachable", "unavailable"}
        whole = code in {"involved", "population"}
        no_share = not reachable or beyond or whole
        rows.append(
            {
                "code": code,
                "words": str(LINE_WORDS[code]),
                "vehicles": n,
                "part": bool(line["part_of"]),
                "of_all": n / figures["involved"] if figures["involved"] else None,
                "of_reachable": None if no_share else n / reachable,
            }
        )
    return rows


def shares_of(figures: dict[str, Any]) -> tuple[float | None, float | None]:
    """Give the share complete of all, and of those that can be reached."""
    done, involved = figures["complete"], figures["involved"]
    reachable = figures["reachable"]
    return (
        done / involved if involved else None,
        done / reachable if reachable else None,
    )


def curve_words(figures: dict[str, Any], curve: list[dict[str, Any]]) -> str:
    """Say the completion curve in a sentence."""
    if not curve:
        return _("No work is done yet, so there is no curve.")
    last = curve[-1]
    return _(
        "%(share).0f of 100 are done by week %(week).0f after the letter;"
        " %(n)d vehicles are watched."
    ) % {
        "share": 100 * last["completed"],
        "week": last["week"],
        "n": figures["watched"],
    }


def reports_due(campaign: Campaign, today: dt.date) -> tuple[ReportDue, ...]:
    """Give the manufacturer's reports that are still to come, the next ones first."""
    began = campaign.letters_on or campaign.announced_on
    schedule = report_schedule(CampaignClass(campaign.campaign_class), began)
    return tuple(one for one in schedule if one.due >= today)


def last_days(campaign: Campaign, today: dt.date) -> list[tuple[_StrPromise, Deadline]]:
    """Give the campaign's own last days, the nearest first."""
    found = deadlines_of(
        (
            (DeadlineKind.CLAIM, campaign.claims_until),
            (DeadlineKind.RETURN, campaign.returns_until),
            (DeadlineKind.REMEDY_OFFERED, campaign.eligible_until),
        ),
        today=today,
    )
    return [(DEADLINE_WORDS[one.kind], one) for one in found]


def _iso(day: dt.date | None) -> str:
    return day.isoformat() if day else ""
