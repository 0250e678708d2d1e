"""Papers of the shelves: bin labels, the blind count sheet, the pick list of a day."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dealership.documents.barcodes import data_matrix
from dealership.documents.pdf import page_of, render_pdf


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from dealership.models import Store

LABEL_CODE = "20mm"
LINE_CODE = "11mm"


def bin_labels_pdf(
    *,
    store: Store,
    bins: Sequence[Any],  # rows, read by those above
    parts: dict[int, list[str]],
) -> bytes:
    """Lay out one label a bin: its code to read and to scan, and what lies in it.

    ``parts`` by bin id, as it should be printed. Raises PdfEngineMissing.
    """
    labels = [
        {
            "code": one.code,
            "drawn": _code(one.code, side=LABEL_CODE),
            "parts": parts.get(one.pk, []),
        }
        for one in bins
    ]
    return _sheet("documents/bin_labels.html", store, {"labels": labels})


def count_sheet_pdf(
    *,
    count: Any,  # noqa: ANN401 (a row, read by those above)
    lines: Sequence[Any],
    today: dt.date,
) -> bytes:
    """Lay out a blind count sheet: where, what, an empty box, and no quantity.

    Raises PdfEngineMissing.
    """
    rows = [
        {"line": one, "drawn": _code(one.part.number, side=LINE_CODE)} for one in lines
    ]
    context = {
        "count": count,
        "drawn": _code(f"COUNT {count.store.code} {count.number}", side="24mm"),
        "rows": rows,
        "today": today,
    }
    return _sheet("documents/count_sheet.html", count.store, context)


def pick_list_pdf(
    *,
    store: Store,
    day: dt.date,
    picks: Sequence[Any],  # records of the queries, which stand above
    today: dt.date,
) -> bytes:
    """Lay out what to take off the shelves for a day, bin by bin.

    Raises PdfEngineMissing.
    """
    rows = [
        {"pick": one, "drawn": _code(one.part.number, side=LINE_CODE)} for one in picks
    ]
    context = {
        "day": day,
        "rows": rows,
        "pieces": sum(one.pieces for one in picks),
        "today": today,
    }
    return _sheet("documents/pick_list.html", store, context)


def _code(text: str, *, side: str) -> str:
    """Draw a code to scan; text that it cannot hold is only printed beside it."""
    if not text.isascii() or not text.isprintable():
        return ""
    return data_matrix(text, side=side)


def _sheet(template: str, store: Store, context: dict[str, Any]) -> bytes:
    page = page_of(store.paper)
    css = ("css/paper.css", "print/shelves.css")
    return render_pdf(template, {"store": store, **context}, page=page, css=css)
