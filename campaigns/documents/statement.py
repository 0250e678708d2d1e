"""The statement of a campaign's account as a paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dealership.documents.pdf import render_pdf


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from dealership.documents.pdf import Page
    from dealership.models import Store


def statement_pdf(
    found: Any,  # noqa: ANN401 (a record of the queries, which stand above)
    *,
    owed: Sequence[tuple[object, int, Sequence[Any]]],
    held: Sequence[tuple[object, int, Sequence[Any]]],
    store: Store,
    everywhere: bool,
    printed_at: dt.datetime,
) -> bytes:
    """Lay out both sides with every row behind each figure, on the store's paper.

    ``found`` is a CampaignAccount; a side is (words, cents, rows) a figure. Raises
    PdfEngineMissing.
    """
    page: Page = "a4" if store.paper == "a4" else "letter"
    context = {
        "found": found,
        "campaign": found.campaign,
        "owed": owed,
        "held": held,
        "store": store,
        "everywhere": everywhere,
        "printed_at": printed_at,
    }
    return render_pdf("documents/statement.html", context, page=page)
