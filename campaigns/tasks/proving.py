"""The nightly proof of the books."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.proving import prove_books
from dealership.domain.jobs import JobRun, handles
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    from campaigns.models import BookProof
    from dealership.models import Job


class BooksDoNotBalance(Refusal):
    """The books, worked out anew, differ from what stands."""

    def __init__(self, proof: BookProof) -> None:
        super().__init__(
            _(
                "The books do not balance in %(count)d places. Open the proof of the"
                " books on the money page: it names each place. Stop moving what is"
                " named there, keep a copy of the database, and ask whoever looks"
                " after this house."
            )
            % {"count": proof.fault_count}
        )
        self.proof = proof


def _page(_job: Job) -> str:
    return reverse("campaigns:proofs")


@handles(
    "campaigns.prove_books",
    words=gettext_lazy("Proving the books"),
    leads_to=_page,
)
def prove(run: JobRun) -> dict[str, Any]:
    """Prove all books and keep the proof; the job fails where they do not balance."""

    def step(done: int, total: int, words: str) -> None:
        run.progress(done, total, words)

    proof = prove_books(by=run.job.asked_by, at=run.now(), step=step)
    if not proof.is_clean:
        raise BooksDoNotBalance(proof)
    words = _("%(entries)d entries and %(accounts)d accounts balance")
    run.progress(1, 1, words % {"entries": proof.entries, "accounts": proof.accounts})
    return {"entries": proof.entries, "accounts": proof.accounts, "faults": 0}
