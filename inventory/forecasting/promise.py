"""What can be promised from stock and receipts, and from which day.

P_t = on hand + receipts due by t - reservations up to t is the running balance. The
promise line C_t = min over u >= t of P_u is cumulative available-to-promise with look-
ahead (ASCM dictionary; Schönsleben, Integral Logistics Management, 5.3.5): a promise
within it breaks no later one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """Pieces on their way, expected on a day."""

    day: date
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Reserved:
    """Pieces promised for a day; ``label`` says to whom or for what.

    ``held`` pieces are set aside on the shelf already: nobody else gets them before
    their day, even where a delivery in between would bring others.
    """

    day: date
    pieces: int
    label: str = ""
    held: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PromiseDay:
    """One day: the running balance and what can still be promised from then on.

    Both are in pieces, waiting customers taken off, and may be below zero.
    """

    day: date
    balance: int
    promise: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOut:
    """The first day on which promises exceed what is there, and the promises at fault.

    ``short`` is the number of pieces missing on that day; ``at_fault`` are the
    reservations after the last day on which the balance was not below zero.
    """

    day: date
    short: int
    at_fault: tuple[Reserved, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PromiseLine:
    """Running balance and promise line from today, day by day.

    ``overdue`` are receipts whose day has passed: they are not counted until somebody
    gives them a new date.
    """

    days: tuple[PromiseDay, ...]
    overdue: tuple[Receipt, ...]
    stock_out: StockOut | None

    @property
    def free_today(self) -> int:
        """Give the pieces that can be promised today, zero or more."""
        return max(0, self.days[0].promise)

    def promise_on(self, day: date) -> int:
        """Give the pieces that can be promised for a day, zero or more.

        A day before the line counts as nothing; one after it as its last day.
        """
        place = (day - self.days[0].day).days
        if place < 0:
            return 0
        return max(0, self.days[min(place, len(self.days) - 1)].promise)

    def earliest_day(self, pieces: int) -> date | None:
        """Give the first day on which so many pieces can be promised, or None.

        It breaks no later promise, and no earlier day is possible.
        """
        for entry in self.days:
            if entry.promise >= pieces:
                return entry.day
        return None


def running_balance(
    on_hand: int, receipts: Sequence[int], reserved: Sequence[int]
) -> list[int]:
    """Give P_t for equal buckets of time; lists of equal length, in pieces."""
    change = np.asarray(receipts, dtype=np.int64) - np.asarray(reserved, dtype=np.int64)
    return [int(value) for value in on_hand + np.cumsum(change)]


def promise_line(balance: Sequence[int]) -> list[int]:
    """Give C_t = min over u >= t of P_u; it never falls with t."""
    turned = np.asarray(balance, dtype=np.int64)[::-1]
    return [int(value) for value in np.minimum.accumulate(turned)[::-1]]


def available_to_promise(
    on_hand: int, receipts: Sequence[int], reserved: Sequence[int]
) -> list[int | None]:
    """Give discrete available-to-promise per bucket; None in buckets without receipt.

    The first bucket and each one with a receipt cover the orders up to the next
    receipt; a shortage is pulled back to earlier buckets (Stevenson, Operations
    Management, ch. 11).
    """
    starts = [place for place, pieces in enumerate(receipts) if place == 0 or pieces]
    ends = [*starts[1:], len(receipts)]
    available = [
        (on_hand if start == 0 else 0) + receipts[start] - sum(reserved[start:end])
        for start, end in zip(starts, ends, strict=True)
    ]
    for place in range(len(available) - 1, 0, -1):
        if available[place] < 0:
            available[place - 1] += available[place]
            available[place] = 0
    answer: list[int | None] = [None] * len(receipts)
    for start, pieces in zip(starts, available, strict=True):
        answer[start] = pieces
    return answer


def draw_promise_line(
    *,
    today: date,
    on_hand: int,
    receipts: Sequence[Receipt] = (),
    reserved: Sequence[Reserved] = (),
    next_working_day: Callable[[date], date],
    waiting: int = 0,
    days: int = 120,
) -> PromiseLine:
    """Draw balance and promise from today for at least ``days`` days.

    ``on_hand`` is everything on the shelf that may be used, held pieces included,
    because their holds stand in ``reserved``. ``waiting`` customers come before any
    new promise. A receipt counts from the opening of the next working day after its
    day; one whose day has passed is not counted. A reservation for a day that has
    passed counts today. The line always reaches past the last receipt and promise.
    What is held until a later day stands in the balance, and cannot be promised.
    """
    overdue = tuple(receipt for receipt in receipts if receipt.day < today)
    coming = [
        (next_working_day(receipt.day), receipt.pieces)
        for receipt in receipts
        if receipt.day >= today
    ]
    last = max([today, *(day for day, _ in coming), *(one.day for one in reserved)])
    length = max(days, (last - today).days + 1, 1)
    arriving, leaving, aside = [0] * length, [0] * length, [0] * length
    for day, pieces in coming:
        arriving[(day - today).days] += pieces
    for entry in reserved:
        place = (max(entry.day, today) - today).days
        leaving[place] += entry.pieces
        aside[0 if entry.held else place] += entry.pieces
    balance = running_balance(on_hand - waiting, arriving, leaving)
    free = promise_line(running_balance(on_hand - waiting, arriving, aside))
    line = tuple(
        PromiseDay(day=today + timedelta(days=place), balance=have, promise=left)
        for place, (have, left) in enumerate(zip(balance, free, strict=True))
    )
    return PromiseLine(
        days=line,
        overdue=overdue,
        stock_out=_stock_out(line, reserved, today, waiting=waiting),
    )


def _stock_out(
    line: Sequence[PromiseDay],
    reserved: Sequence[Reserved],
    today: date,
    *,
    waiting: int,
) -> StockOut | None:
    """Find the first day below zero and the reservations since the last good day.

    Customers who wait hold nothing, so they put no reservation at fault.
    """
    for place, entry in enumerate(line):
        have = entry.balance + waiting
        if have < 0:
            after = line[place - 1].day if place else None
            at_fault = tuple(
                one
                for one in reserved
                if max(one.day, today) <= entry.day
                and (after is None or max(one.day, today) > after)
            )
            return StockOut(day=entry.day, short=-have, at_fault=at_fault)
    return None
