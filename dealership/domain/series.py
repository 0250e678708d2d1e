"""Giving out running numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import F

from dealership.models import Series


if TYPE_CHECKING:
    from dealership.models import Store


def next_number(*, store: Store, kind: str) -> int:
    """Give the next number of a series, without gaps.

    Runs in the caller's transaction: a number that is rolled back is given again.
    """
    with transaction.atomic():
        Series.objects.get_or_create(store=store, kind=kind)
        Series.objects.filter(store=store, kind=kind).update(last=F("last") + 1)
        return Series.objects.get(store=store, kind=kind).last
