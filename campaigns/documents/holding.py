"""The claim for unsold new vehicles as a letter to the manufacturer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dealership.documents.pdf import render_pdf


if TYPE_CHECKING:
    from dealership.documents.pdf import Page


def holding_claim_pdf(context: dict[str, Any]) -> bytes:
    """Lay the claim out on the store's paper. Raises PdfEngineMissing."""
    page: Page = "a4" if context["store"].paper == "a4" else "letter"
    return render_pdf("documents/holding_claim.html", context, page=page)
