"""The statement of a campaign: opening balance, dated lines, closing balance."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from campaigns.queries.account_words import ADDED, STATEMENT_WORDS


if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.utils.functional import _StrPromise

    from campaigns.queries.account import CampaignAccount
    from campaigns.queries.account_rows import Row


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementLine:
    """One dated line; ``cents`` below zero settle something."""

    on: dt.date
    words: _StrPromise
    row: Row
    cents: int
    balance_cents: int

    @property
    def more_cents(self) -> int | None:
        """Give what comes on top, None where something is settled."""
        return self.cents if self.cents > 0 else None

    @property
    def less_cents(self) -> int | None:
        """Give what is settled, None where something comes on top."""
        return -self.cents if self.cents < 0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """What was open, what happened, what is open; both days are in it.

    ``since`` and ``until`` are None where the statement has no such end.
    """

    since: dt.date | None
    until: dt.date | None
    opening_cents: int
    lines: tuple[StatementLine, ...]
    closing_cents: int

    @property
    def more_cents(self) -> int:
        """Give the sum of what came on top."""
        return sum(line.more_cents or 0 for line in self.lines)

    @property
    def less_cents(self) -> int:
        """Give the sum of what was settled."""
        return sum(line.less_cents or 0 for line in self.lines)


def statement_of(
    found: CampaignAccount,
    *,
    since: dt.date | None = None,
    until: dt.date | None = None,
) -> Statement:
    """Tell the left side of an account day by day, as a bank tells an account.

    The balance is what is not settled yet: without an end it closes at the exposure.
    """
    opening = balance = 0
    lines: list[StatementLine] = []
    for on, words, row, cents in sorted(_dated(found), key=_order):
        if until and on > until:
            break
        balance += cents
        if since and on < since:
            opening = balance
            continue
        lines.append(
            StatementLine(
                on=on, words=words, row=row, cents=cents, balance_cents=balance
            )
        )
    return Statement(
        since=since,
        until=until,
        opening_cents=opening,
        lines=tuple(lines),
        closing_cents=balance,
    )


_Dated = tuple[dt.date, "_StrPromise", "Row", int]


def _dated(found: CampaignAccount) -> Iterator[_Dated]:
    """Give each row of the left side with its day and sign."""
    for name, words in STATEMENT_WORDS.items():
        sign = 1 if name in ADDED else -1
        for row in found.rows[name]:
            if row.cents:
                assert row.since is not None  # every paper has its day
                yield row.since, words, row, sign * row.cents
    for row in found.passed:
        assert row.since is not None  # every paper has its day
        yield row.since, STATEMENT_WORDS["received_before_bill"], row, row.cents


def _order(one: _Dated) -> tuple[dt.date, bool, str]:
    """Put a day's bills before its payments."""
    on, _words, row, cents = one
    return on, cents < 0, row.what
