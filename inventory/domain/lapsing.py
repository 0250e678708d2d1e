"""Letting go what is promised to somebody who did not come."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from typing import TYPE_CHECKING, TypeAlias

from django.utils.translation import gettext as _

from inventory.domain.reserving import lapse
from inventory.models import Reservation


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Collection

    from dealership.models import StaffMember, Store

    StillWanted: TypeAlias = Callable[[Collection[int], dt.date], set[int]]

_still_wanted: dict[str, StillWanted] = {}


def tells_who_comes(kind: str) -> Callable[[StillWanted], StillWanted]:
    """Register who knows whether the subjects of one kind still want their parts.

    The function takes the ids of subjects ``kind:<id>`` and the first day that is not
    yet overdue, and gives the ids that keep their promise. Subjects of a kind that
    nobody speaks for lapse by their day alone.
    """

    def register(function: StillWanted) -> StillWanted:
        _still_wanted[kind] = function
        return function

    return register


def lapse_overdue(
    *, store: Store, today: dt.date, by: StaffMember | None, at: dt.datetime
) -> list[Reservation]:
    """Lapse what was needed before the store's days of grace and is not coming.

    Gives the reservations that were let go; a repeat finds none.
    """
    first_good_day = today - timedelta(days=store.no_show_grace_days)
    overdue = Reservation.objects.filter(store=store, needed_on__lt=first_good_day)
    subjects = overdue.live().order_by("subject").values_list("subject", flat=True)
    gone: list[Reservation] = []
    for subject in _not_coming(list(subjects.distinct()), first_good_day):
        gone += lapse(subject=subject, by=by, at=at, why=_("did not come"))
    return gone


def _not_coming(subjects: list[str], first_good_day: dt.date) -> list[str]:
    """Drop the subjects whose promise still stands."""
    ids: dict[str, list[int]] = defaultdict(list)
    for subject in subjects:
        kind, _colon, number = subject.partition(":")
        if kind in _still_wanted and number.isdecimal():
            ids[kind].append(int(number))
    kept = {
        f"{kind}:{pk}"
        for kind, numbers in ids.items()
        for pk in _still_wanted[kind](numbers, first_good_day)
    }
    return [subject for subject in subjects if subject not in kept]
