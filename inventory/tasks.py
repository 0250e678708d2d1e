"""Work in the background: proving the books, and promises that nobody came for."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dealership.domain.jobs import JobRun, handles
from dealership.models import Store
from dealership.rules.refusals import Refusal
from inventory.domain.lapsing import lapse_overdue
from inventory.queries.books import Fault, faults_of_the_books


class BooksDoNotBalance(Refusal):
    """The books, worked out anew from their entries, differ from what stands."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__(
            _(
                "The books of parts do not balance in %(count)d places, first: "
                "%(first)s. Stop moving parts, keep a copy of the database, and ask "
                "whoever looks after this house."
            )
            % {"count": len(faults), "first": faults[0]}
        )
        self.faults = faults


@handles("inventory.check_books", words=gettext_lazy("Proving the books of parts"))
def check_books(run: JobRun) -> dict[str, Any]:
    """Prove the books; the job fails, and says where, when they do not balance."""
    run.progress(0, 1, _("working out every balance"))
    faults = faults_of_the_books()
    if faults:
        raise BooksDoNotBalance(faults)
    return {"faults": 0}


@handles("inventory.lapse", words=gettext_lazy("Freeing parts nobody came for"))
def lapse_promises(run: JobRun) -> dict[str, Any]:
    """Let go what is promised to visits that did not come, store by store."""
    stores = list(Store.objects.all())
    gone = 0
    for done, store in enumerate(stores):
        run.progress(done, len(stores), store.code)
        now = run.now()
        today = timezone.localdate(now)
        gone += len(lapse_overdue(store=store, today=today, by=None, at=now))
    return {"lapsed": gone}
