"""Papers that a customer takes along: what is open, and what was put right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dealership.documents.pdf import page_of, render_pdf


if TYPE_CHECKING:
    from collections.abc import Sequence

    from dealership.models import Store


def notice_pdf(notice: Any, told: Sequence[Any], *, store: Store) -> bytes:  # noqa: ANN401 (a row of the models)
    """Lay out what is open on a vehicle. Raises PdfEngineMissing."""
    context = {
        "notice": notice,
        "vehicle": notice.vehicle,
        "told": told,
        "store": store,
    }
    return render_pdf("documents/notice.html", context, page=page_of(store.paper))


def proof_pdf(repair: Any, *, store: Store) -> bytes:  # noqa: ANN401 (a row of the models)
    """Lay out the proof that a campaign's work is done. Raises PdfEngineMissing."""
    context = {
        "repair": repair,
        "vehicle": repair.vehicle,
        "campaign": repair.campaign_vehicle.campaign,
        "store": store,
    }
    return render_pdf(
        "documents/proof_of_correction.html", context, page=page_of(store.paper)
    )
