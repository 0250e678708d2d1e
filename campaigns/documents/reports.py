"""A completion report as picture, paper and table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from dealership.documents.charts import draw_band
from dealership.documents.pdf import render_pdf
from dealership.documents.sheets import to_csv, to_xlsx


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from dealership.documents.pdf import Page
    from dealership.documents.sheets import Cell

_DIGITS = 4


def draw_curve(
    curve: Sequence[dict[str, Any]],
    *,
    last_week: float,
    said: str,
    fan: Sequence[dict[str, float]] = (),
    narrow: bool = False,
) -> str:
    """Draw the completion curve with its band as SVG, and what may come after it.

    Empty where there is neither. ``narrow``: for a column of a paper.
    """
    if not curve and not fan:
        return ""
    points: list[dict[str, float | None]] = [{"x": 0, "y": 0, "low": 0, "high": 0}]
    points += [
        {
            "x": point["week"],
            "y": point["completed"],
            "low": point["low"],
            "high": point["high"],
        }
        for point in curve
    ]
    end = max(last_week, 1.0)
    points.append({**points[-1], "x": end})
    return draw_band(
        points=points,
        x_title=_("weeks since the letter"),
        y_title=_("share of vehicles with the work done"),
        last_x=max(end, fan[-1]["x"]) if fan else end,
        said=said,
        fan=fan,
        narrow=narrow,
    )


def report_pdf(context: dict[str, Any], *, curve_svg: str, page: Page) -> bytes:
    """Lay out the report. Raises PdfEngineMissing."""
    # Drawn by our own chart module from numbers; its words are escaped there.
    drawn = mark_safe(curve_svg.replace("currentColor", "#000000"))  # noqa: S308
    return render_pdf(
        "documents/report.html",
        {**context, "curve_drawn": drawn},
        page=page,
        css=("css/paper.css", "print/report.css"),
    )


def report_tables(
    rows: Sequence[dict[str, Any]],
    facts: Sequence[tuple[str, str]],
    *,
    made: dt.date,
) -> tuple[bytes, bytes]:
    """Give the report as CSV and as XLSX: facts on top, then the categories."""
    heads = (
        _("Category"),
        _("Vehicles, cumulative"),
        _("Share of all"),
        _("Share of reachable"),
    )
    body: list[tuple[Cell, ...]] = [
        (
            row["words"] if not row["part"] else f"   {row['words']}",
            row["vehicles"],
            _rounded(row["of_all"]),
            _rounded(row["of_reachable"]),
        )
        for row in rows
    ]
    body.append(("", None, None, None))
    body += [(f"{label}: {value}", None, None, None) for label, value in facts]
    return to_csv(heads, body), to_xlsx(heads, body, sheet=_("Report"), made=made)


def _rounded(share: float | None) -> float | None:
    return None if share is None else round(share, _DIGITS)
