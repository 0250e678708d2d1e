"""What makes the record of a part thinner than it looks: empty shelves, old lists."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

from django.db.models import Max, Q, Sum
from django.utils import timezone

from campaigns.models import Campaign, ListedVin
from inventory.models import Entry
from inventory.rules.accounts import Account
from vehicles.models import VehicleList


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

    from dealership.models import Store
    from inventory.models import Part

WEEKS_LOOKED_AT = 12
"""Weeks back in which an empty shelf is looked for: a judgement, no source."""

FRESH_DAYS = 14
"""Days after which a list of vehicles is called old: common practice, no source."""


class EmptyWeeks(NamedTuple):
    """Weeks in which no free piece was there at the end of some day, of so many."""

    empty: int
    weeks: int


class OldList(NamedTuple):
    """A campaign whose vehicles were last compared with a list on that day."""

    code: str
    day: dt.date


def empty_weeks(
    *, part: Part, store: Store, codes: Collection[str], today: dt.date
) -> EmptyWeeks:
    """Count the weeks of these campaigns in which the shelf was empty, by the books.

    From the first letters on (else the announcement), at most twelve weeks back, in
    weeks that end yesterday.
    """
    begun = [
        one.letters_on or one.announced_on
        for one in Campaign.objects.filter(code__in=codes)
    ]
    if not begun:
        return EmptyWeeks(0, 0)
    weeks = min((today - min(begun)).days // 7, WEEKS_LOOKED_AT)
    if weeks <= 0:
        return EmptyWeeks(0, 0)
    first = today - timedelta(days=7 * weeks)
    mine = Entry.objects.filter(store=store, part=part, account=Account.FREE)
    at_first = mine.filter(movement__effective_on__lt=first).aggregate(
        n=Sum("quantity")
    )
    by_day = dict(
        mine.filter(movement__effective_on__gte=first)
        .order_by()
        .values_list("movement__effective_on")
        .annotate(n=Sum("quantity"))
    )
    free, empty = at_first["n"] or 0, set()
    for number in range(7 * weeks):
        free += by_day.get(first + timedelta(days=number), 0)
        if free <= 0:
            empty.add(number // 7)
    return EmptyWeeks(len(empty), weeks)


def old_lists(*, store: Store, codes: Collection[str], today: dt.date) -> list[OldList]:
    """Give the campaigns whose last list is older than two weeks, by code.

    A list is the manufacturer's of the campaign, or one of the store's own vehicles;
    where none was ever taken in there is nothing to be old.
    """
    taken = VehicleList.objects.in_store(store).aggregate(last=Max("applied_at"))
    own = timezone.localdate(taken["last"]) if taken["last"] else None
    listed = dict(
        ListedVin.objects.filter(
            Q(store=store) | Q(store=None), campaign__code__in=codes
        )
        .order_by()
        .values_list("campaign__code")
        .annotate(last=Max("listed_on"))
    )
    found = []
    for code in sorted(codes):
        days = [day for day in (own, listed.get(code)) if day is not None]
        if days and (today - max(days)).days > FRESH_DAYS:
            found.append(OldList(code, max(days)))
    return found
