"""The register of a round on paper: who was written to, and who was not and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from dealership.documents.pdf import page_of, render_pdf
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from dealership.models import Store

MOST_ROWS = 2_000
"""Some 50 pages; more is for a file that can be searched."""


class RegisterTooLong(Refusal):
    """The register has more lines than paper is good for."""

    def __init__(self, rows: int) -> None:
        super().__init__(
            _(
                "The register has %(rows)d lines, too many for paper (at most %(most)d)."
                " Take it as CSV or XLSX."
            )
            % {"rows": rows, "most": MOST_ROWS}
        )
        self.rows = rows


def register_pdf(
    rows: Sequence[tuple[object, ...]],
    *,
    campaign: str,
    number: int,
    store: Store,
    printed_at: dt.datetime,
) -> bytes:
    """Lay out the register on the store's paper.

    ``rows`` are as ``campaigns.queries.letters.register_rows`` gives them. Raises
    RegisterTooLong, PdfEngineMissing.
    """
    if len(rows) > MOST_ROWS:
        raise RegisterTooLong(len(rows))
    page = page_of(store.paper)
    context = {
        "rows": [
            {
                "vin": row[0],
                "why": row[1],
                "code": row[2],
                "name": row[3],
                "place": f"{row[5]} {row[6]}".strip(),
                "page": row[7],
                "printed": row[8],
                "posted": row[9],
            }
            for row in rows
        ],
        "campaign": campaign,
        "number": number,
        "store": store,
        "printed_at": printed_at,
    }
    return render_pdf("documents/letter_register.html", context, page=page)
