"""Proving all books, pieces and money, and keeping what came of it."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from django.db import transaction

from campaigns.models import BookProof, Campaign
from campaigns.queries.proofs import prove_money_of
from campaigns.rules.lifecycle import CampaignState
from dealership.domain.audit import record
from dealership.models import Store
from inventory.models import Entry
from inventory.queries.books import faults_of_the_books


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from dealership.models import StaffMember
    from inventory.queries.books import Fault

MOST_FAULTS = 100
"""Faults that a proof keeps word for word; it counts all of them."""


def prove_books(
    *,
    by: StaffMember | None,
    at: dt.datetime,
    step: Callable[[int, int, str], None] | None = None,
) -> BookProof:
    """Work out every balance and account anew, and keep the proof.

    ``step`` is told how far it is: steps done, steps in all, the words of the next. A
    proof with faults stands as an alarm until a clean one is made.
    """
    campaigns = list(Campaign.objects.exclude(state=CampaignState.DRAFT))
    stores = list(Store.objects.all())
    tell = step or _silent
    tell(0, len(stores) + 1, "")
    with transaction.atomic():  # both sides of the books at one instant
        faults, entries = faults_of_the_books(), Entry.objects.count()
    accounts = 0
    for done, store in enumerate(stores, start=1):
        tell(done, len(stores) + 1, store.code)
        with transaction.atomic():
            found = prove_money_of(store, campaigns)
        accounts += found.accounts
        faults += found.faults
    tell(len(stores) + 1, len(stores) + 1, "")
    return _keep(faults, entries=entries, accounts=accounts, by=by, at=at)


def _keep(
    faults: list[Fault],
    *,
    entries: int,
    accounts: int,
    by: StaffMember | None,
    at: dt.datetime,
) -> BookProof:
    with transaction.atomic():
        proof = BookProof.objects.create(
            made_at=at,
            by=by,
            entries=entries,
            accounts=accounts,
            fault_count=len(faults),
            faults=[_written(one) for one in faults[:MOST_FAULTS]],
        )
        record(
            act="books.proved",
            subject=proof,
            by=by,
            at=at,
            after={"entries": entries, "accounts": accounts, "faults": len(faults)},
        )
    return proof


def _written(fault: Fault) -> dict[str, Any]:
    return asdict(fault)


def _silent(done: int, total: int, words: str) -> None:
    """Tell nobody."""
    del done, total, words
