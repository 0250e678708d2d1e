"""What an account is made of: rows by figure, for a set of campaigns and stores."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db.models import Q


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from campaigns.models import Campaign


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line behind a figure: what it is, since when, pieces and cents at cost.

    ``since`` is None where no paper gives a day. ``page`` and ``pk`` name the page that
    shows it; empty where there is none. ``store`` and ``part`` are ids; 0 where a row
    is not of one part.
    """

    what: str
    since: dt.date | None
    pieces: int
    cents: int
    store: int
    part: int = 0
    page: str = ""
    pk: int = 0


@dataclass(slots=True)
class Ledger:
    """Rows gathered for one campaign, by figure.

    ``passed`` holds what was owed for a while and is not any more: pairs of rows that
    cancel each other, on different days.
    """

    rows: dict[str, list[Row]] = field(default_factory=lambda: defaultdict(list))
    passed: list[Row] = field(default_factory=list)

    def add(self, figure: str, row: Row) -> None:
        """Put a row under a figure; one of nothing is left out."""
        if row.cents or row.pieces:
            self.rows[figure].append(row)

    def total(self, figure: str) -> int:
        """Give the cents of a figure."""
        return sum(row.cents for row in self.rows[figure])


@dataclass(slots=True, kw_only=True)
class Scope:
    """Which stores and campaigns are asked about, and a ledger for each campaign."""

    stores: tuple[int, ...]
    ledgers: dict[int, Ledger]
    by_earmark: dict[int, int]
    disputed: dict[str, int] = field(default_factory=dict)
    """Damaged pieces in dispute, by the source of their cost layer."""

    @classmethod
    def of(cls, campaigns: Sequence[Campaign], store_ids: Iterable[int]) -> Scope:
        """Begin with empty ledgers."""
        return cls(
            stores=tuple(store_ids),
            ledgers={one.pk: Ledger() for one in campaigns},
            by_earmark={one.earmark_id: one.pk for one in campaigns},
        )

    @property
    def earmarks(self) -> tuple[int, ...]:
        """Give the earmarks of the campaigns."""
        return tuple(self.by_earmark)

    @property
    def campaigns(self) -> tuple[int, ...]:
        """Give the campaigns' ids."""
        return tuple(self.ledgers)

    def home(self, earmark: int | None) -> Ledger:
        """Give the ledger of an earmark that was asked about."""
        return self.ledgers[self.by_earmark[earmark or 0]]

    def layers(self, path: str = "") -> Q:
        """Keep what belongs to the stores and earmarks, seen from ``path``."""
        return Q(
            **{f"{path}store__in": self.stores, f"{path}earmark__in": self.earmarks}
        )
