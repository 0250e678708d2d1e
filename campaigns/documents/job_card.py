"""The job card as a paper for the bay."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dealership.documents.pdf import page_of, render_pdf


if TYPE_CHECKING:
    from collections.abc import Sequence


TRIES = 3
"""Empty boxes a check gets on paper: common practice, no source."""


def job_card_pdf(card: Any, *, lines: Sequence[Any]) -> bytes:  # noqa: ANN401 (a record of the queries, which stand above)
    """Lay out the job card on the store's paper.

    ``card`` is a JobCard, ``lines`` its priced lines once it is signed off. Raises
    PdfEngineMissing.
    """
    store = card.repair.store
    page = page_of(store.paper)
    context = {"card": card, "repair": card.repair, "lines": lines, "store": store}
    context["tries"] = range(TRIES)
    return render_pdf("documents/job_card.html", context, page=page)
