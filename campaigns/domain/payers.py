"""Setting how a manufacturer pays, and what a store has agreed with it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction

from campaigns.models import PayerTerms, StockAgreement
from campaigns.queries.payers import agreement_of
from dealership.domain.audit import record


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import StaffMember, Store
    from inventory.models import Supplier

ROUNDING = ("rounding", "rounded_on")
AGREED = ("rate_basis_points", "base", "start", "grace_days", "end", "day_count")


def set_payer(
    *,
    supplier: Supplier,
    store: Store,
    facts: Mapping[str, Any],
    by: StaffMember,
    at: dt.datetime,
) -> None:
    """Keep a manufacturer's rounding, and this store's agreement with it.

    The rounding holds for all stores and for claims made from now on; what is claimed
    already stays. What stands as it is leaves no line in the trail.
    """
    with transaction.atomic():
        terms = PayerTerms.objects.filter(supplier=supplier).first()
        terms = terms or PayerTerms(supplier=supplier)
        agreement = agreement_of(store, supplier)
        _change(terms, ROUNDING, facts, None, by=by, at=at)
        _change(agreement, AGREED, facts, store, by=by, at=at)


def _change(
    row: PayerTerms | StockAgreement,
    names: tuple[str, ...],
    facts: Mapping[str, Any],
    store: Store | None,
    *,
    by: StaffMember,
    at: dt.datetime,
) -> None:
    before = {name: getattr(row, name) for name in names}
    after = {name: facts[name] for name in names}
    if before == after and row.pk:
        return
    for name, value in after.items():
        setattr(row, name, value)
    row.save()
    record(
        act="payer.changed",
        subject=row,
        by=by,
        at=at,
        store=store,
        before=before,
        after=after,
    )
