"""Doing things the way a hurried house does them: some twice, some that are refused.

Each act goes through a function of the domain. Some requests are sent twice at once,
some again on a later day; a refused or repeated one must leave no trace.
"""

import datetime as dt
import heapq
import itertools
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from django.db import connection

from campaigns.models import ClaimAct, MoneyFile, PartFitted, Payment, Visit
from dealership.models import AuditEntry
from dealership.rules.refusals import Refusal
from inventory.models import (
    BillLine,
    Credit,
    Entry,
    Movement,
    Reservation,
    ShipmentLine,
    WriteOff,
)
from tests.simulation.stage import moment


SENT_TWICE = 0.08
SENT_AGAIN_LATER = 0.04
WATCHED = (
    *(Movement, Entry, Reservation, BillLine, ShipmentLine, Credit, WriteOff),
    *(Payment, ClaimAct, PartFitted, Visit, MoneyFile, AuditEntry),
)


_TABLES = [model._meta.db_table for model in WATCHED]
_NEWEST = ", ".join(map("(SELECT max(id) FROM {})".format, _TABLES))


def trace() -> tuple[int | None, ...]:
    """Give the newest row of each table that an act may add to."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {_NEWEST}")
        return cursor.fetchone()


class LeftATrace(AssertionError):
    """A refused or repeated act has changed something."""


@dataclass
class Doer:
    """Does acts, counts them, and repeats some."""

    chance: random.Random
    today: dt.date
    done: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    did: Counter[tuple[int, str]] = field(default_factory=Counter)
    """What people did, in pieces or cents, by store: counted before the books see it."""
    minutes: itertools.count = field(default_factory=lambda: itertools.count(0))
    keys: itertools.count = field(default_factory=lambda: itertools.count(1))
    calendar: list = field(default_factory=list)
    order: itertools.count = field(default_factory=itertools.count)

    @property
    def at(self) -> dt.datetime:
        """Give the moment; every act of a day is a little later than the one before."""
        spent = min(next(self.minutes), 599)
        return moment(self.today, 8 + spent // 60, spent % 60)

    def key(self, what: str) -> str:
        """Give a key for one act."""
        return f"{what}-{next(self.keys)}"

    def maybe(self, share: float) -> bool:
        """Let chance decide."""
        return self.chance.random() < share

    def later(self, days: int, act: Callable[[], object]) -> None:
        """Put an act on a working day."""
        day = self.today + dt.timedelta(days=days)
        while day.weekday() > 4:
            day += dt.timedelta(days=1)
        heapq.heappush(self.calendar, (day, next(self.order), act))

    def begin(self, day: dt.date) -> None:
        """Begin a day and do what is on the calendar."""
        self.today, self.minutes = day, itertools.count(0)
        while self.calendar and self.calendar[0][0] <= day:
            _day, _order, act = heapq.heappop(self.calendar)
            act()

    def do(self, function: Callable, **facts: object):
        """Do one act; None where it is refused. Some are done twice, or again later."""
        name = function.__name__
        facts.setdefault("at", self.at)
        before = trace()
        try:
            result = function(**facts)
        except Refusal as refusal:
            self.refused[type(refusal).__name__] += 1
            self._same(before, f"refused {name}")
            return None
        self.done[name] += 1
        if self.maybe(SENT_TWICE):
            self.faults["request sent twice"] += 1
            self._again(function, facts)
        elif self.maybe(SENT_AGAIN_LATER):
            days = self.chance.randint(1, 20)
            self.later(days, lambda: self._much_later(function, facts))
        return result

    def _again(self, function: Callable, facts: dict[str, object]) -> None:
        before = trace()
        function(**facts)
        self._same(before, f"repeated {function.__name__}")

    def _much_later(self, function: Callable, facts: dict[str, object]) -> None:
        """Send an old request again; it may be refused by now, and changes nothing."""
        self.faults["request sent again on a later day"] += 1
        before = trace()
        try:
            function(**facts)
        except Refusal as refusal:
            self.refused[f"late {type(refusal).__name__}"] += 1
        self._same(before, f"{function.__name__} of an earlier day")

    def _same(self, before: tuple[int, ...], what: str) -> None:
        after = trace()
        if before != after:
            tables = [
                model.__name__
                for model, old, new in zip(WATCHED, before, after, strict=True)
                if old != new
            ]
            raise LeftATrace(f"{self.today}: {what} wrote to {', '.join(tables)}")
