"""The claim for unsold new vehicles as a letter to the manufacturer."""

from __future__ import annotations

from typing import Any

from dealership.documents.pdf import page_of, render_pdf


def holding_claim_pdf(context: dict[str, Any]) -> bytes:
    """Lay the claim out on the store's paper. Raises PdfEngineMissing."""
    page = page_of(context["store"].paper)
    return render_pdf("documents/holding_claim.html", context, page=page)
