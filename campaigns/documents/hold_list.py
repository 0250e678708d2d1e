"""The hold list on paper, to hang up where the keys are."""

from __future__ import annotations

from typing import Any

from dealership.documents.pdf import page_of, render_pdf


def hold_list_pdf(context: dict[str, Any]) -> bytes:
    """Lay the list out on the store's paper. Raises PdfEngineMissing."""
    page = page_of(context["store"].paper)
    return render_pdf("documents/hold_list.html", context, page=page)
