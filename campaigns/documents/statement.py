"""The statement of a campaign's account as a paper and as a workbook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from dealership.documents.pdf import page_of, render_pdf
from dealership.documents.sheets import to_xlsx


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from dealership.documents.sheets import Cell
    from dealership.models import Store

MONEY_COLUMNS = frozenset({4, 5, 6})


def statement_pdf(
    found: Any,  # noqa: ANN401 (a record of the queries, which stand above)
    told: Any,  # noqa: ANN401 (likewise)
    *,
    held: Sequence[tuple[object, int, Sequence[Any]]],
    store: Store,
    everywhere: bool,
    printed_at: dt.datetime,
) -> bytes:
    """Lay out the dated lines, and what the balance is made of, on the store's paper.

    ``found`` is a CampaignAccount, ``told`` its Statement; ``held`` is (words, cents,
    rows) a figure. Raises PdfEngineMissing.
    """
    page = page_of(store.paper)
    context = {
        "found": found,
        "told": told,
        "campaign": found.campaign,
        "held": held,
        "store": store,
        "everywhere": everywhere,
        "printed_at": printed_at,
    }
    return render_pdf("documents/statement.html", context, page=page)


def statement_xlsx(
    told: Any,  # noqa: ANN401 (a record of the queries, which stand above)
    *,
    code: str,
    currency: str,
    made: dt.date,
) -> bytes:
    """Write the statement as a workbook: opening, each line, closing; no formula."""
    head = [
        _("Day"),
        _("What"),
        _("Row"),
        _("Pieces"),
        _("More, %(currency)s") % {"currency": currency},
        _("Less, %(currency)s") % {"currency": currency},
        _("Balance, %(currency)s") % {"currency": currency},
    ]
    return to_xlsx(
        head, _cells(told), sheet=code, made=made, money_columns=MONEY_COLUMNS
    )


def _cells(told: Any) -> Iterable[Sequence[Cell]]:  # noqa: ANN401 (see above)
    """Give the rows of the sheet; money in whole cents."""
    yield (
        told.since,
        _("opening balance"),
        None,
        None,
        None,
        None,
        told.opening_cents,
    )
    for line in told.lines:
        yield (
            line.on,
            str(line.words),
            line.row.what,
            line.row.pieces or None,
            line.more_cents,
            line.less_cents,
            line.balance_cents,
        )
    yield (
        told.until,
        _("closing balance"),
        None,
        None,
        told.more_cents,
        told.less_cents,
        told.closing_cents,
    )
