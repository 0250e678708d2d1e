"""A proposal as picture and paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from dealership.documents.charts import draw_costs
from dealership.documents.pdf import render_pdf
from dealership.rules.money import plain_money


if TYPE_CHECKING:
    from collections.abc import Sequence

    from dealership.documents.pdf import Page

CENTS = 100


def draw_cost_curve(
    curve: Sequence[Sequence[int]],
    *,
    chosen: int,
    currency: str,
    narrow: bool = False,
) -> SafeString:
    """Draw what orders would cost on average as SVG; empty without costs.

    Each row has the pieces and the cents of missing, of keeping, of never using.
    """
    if not curve:
        return SafeString("")
    points = [
        {
            "x": float(order),
            "all": (missing + keeping + never) / CENTS,
            "missing": missing / CENTS,
            "keeping": keeping / CENTS,
            "never": never / CENTS,
        }
        for order, missing, keeping, never in curve
    ]
    drawn = draw_costs(
        points=points,
        lines=[
            ("all", _("together")),
            ("missing", _("customers without a part")),
            ("keeping", _("keeping pieces")),
            ("never", _("pieces nobody uses")),
        ],
        x_title=_("pieces ordered"),
        y_title=currency,
        chosen=chosen,
        said=cost_words(curve, chosen=chosen, currency=currency),
        narrow=narrow,
    )
    # Drawn by our own chart module from numbers; its words are escaped there.
    return mark_safe(drawn)  # noqa: S308


def cost_words(curve: Sequence[Sequence[int]], *, chosen: int, currency: str) -> str:
    """Say what the proposed order costs on average against none; empty without costs."""
    totals = {row[0]: sum(row[1:]) for row in curve}
    if chosen not in totals or 0 not in totals:
        return ""
    return _(
        "Ordering %(n)d costs %(cents)s %(currency)s on average in missed customers,"
        " keeping and unused pieces; ordering nothing %(none)s."
    ) % {
        "n": chosen,
        "cents": plain_money(totals[chosen]),
        "none": plain_money(totals[0]),
        "currency": currency,
    }


def proposal_pdf(context: dict[str, Any], *, page: Page) -> bytes:
    """Lay out a proposal with its pictures and figures. Raises PdfEngineMissing."""
    # the same drawings as in the page, in black
    inked = {
        name: mark_safe(context[name].replace("currentColor", "#000000"))  # noqa: S308
        for name in ("cost_curve", "course_drawn")
    }
    return render_pdf(
        "documents/proposal.html",
        {**context, **inked},
        page=page,
        css=("css/paper.css", "print/report.css", "print/proposal.css"),
    )
