"""Where money is tied up: by campaign, store and part, by state and age."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import TYPE_CHECKING

from campaigns.models import Campaign
from campaigns.queries.account import held_rows
from campaigns.rules.exposure import AgeBand, Held, age_band
from campaigns.rules.lifecycle import CampaignState
from dealership.models import Store
from inventory.models import Part


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable

    from campaigns.queries.account_rows import Row

STATES = tuple(one.name for one in fields(Held))
"""The states of the right side, in their order."""

TO_CLAIM = frozenset({"used_not_claimed", "claimed_not_paid"})
"""States that the last day for claims presses."""

TO_RETURN = frozenset({"on_hand"})
"""States that the last day for returns presses."""


class By(StrEnum):
    """By what exposure is added up."""

    CAMPAIGN = "campaign"
    STORE = "store"
    PART = "part"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row of the right side with where it belongs and how old it is."""

    campaign: Campaign
    store: Store
    part: Part | None
    state: str
    band: AgeBand
    days: int
    row: Row

    @property
    def last_day(self) -> dt.date | None:
        """Give the deadline that presses this state."""
        if self.state in TO_CLAIM:
            return self.campaign.claims_until
        return self.campaign.returns_until if self.state in TO_RETURN else None


@dataclass(slots=True, kw_only=True)
class Sum:
    """Cents of one campaign, store or part: by state, by age, and in all."""

    key: str
    words: str
    campaign: Campaign | None = None
    states: dict[str, int] = field(default_factory=lambda: dict.fromkeys(STATES, 0))
    bands: dict[AgeBand, int] = field(default_factory=lambda: dict.fromkeys(AgeBand, 0))
    total: int = 0

    def add(self, line: Line) -> None:
        """Count one line in."""
        cents = line.row.cents
        self.states[line.state] += cents
        self.bands[line.band] += cents
        self.total += cents


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which lines are wanted; empty means all."""

    campaign: str = ""
    store: str = ""
    part: str = ""
    state: str = ""
    band: str = ""

    def takes(self, line: Line) -> bool:
        """Tell whether a line is among them."""
        part = line.part.number if line.part else "-"
        pairs = (
            (self.campaign, line.campaign.code),
            (self.store, line.store.code),
            (self.part, part),
            (self.state, line.state),
            (self.band, line.band.value),
        )
        return all(not wish or wish == have for wish, have in pairs)


def exposure_lines(*, store_ids: Collection[int], today: dt.date) -> list[Line]:
    """Give every line in which money of a campaign is tied up, the oldest first.

    The number of queries does not grow with stores, campaigns or parts.
    """
    campaigns = {
        one.pk: one
        for one in Campaign.objects.exclude(state=CampaignState.DRAFT).order_by("code")
    }
    found = held_rows(list(campaigns.values()), store_ids=store_ids)
    stores = Store.objects.in_bulk(list(store_ids))
    parts = _parts(row for states in found.values() for row in _all(states))
    lines = [
        Line(
            campaign=campaigns[pk],
            store=stores[row.store],
            part=parts.get(row.part),
            state=state,
            band=age_band(row.since or today, today),
            days=max((today - (row.since or today)).days, 0),
            row=row,
        )
        for pk, states in found.items()
        for state in STATES
        for row in states[state]
        if row.cents
    ]
    return sorted(lines, key=lambda one: (-one.days, one.campaign.code, one.row.what))


def add_up(lines: Iterable[Line], by: By) -> list[Sum]:
    """Add lines up by campaign, store or part; the most tied up first."""
    sums: dict[str, Sum] = {}
    for line in lines:
        one = _empty(line, by)
        sums.setdefault(one.key, one).add(line)
    return sorted(sums.values(), key=lambda one: (-one.total, one.key))


def whole(lines: Iterable[Line]) -> Sum:
    """Add all lines up."""
    total = Sum(key="", words="")
    for line in lines:
        total.add(line)
    return total


def _empty(line: Line, by: By) -> Sum:
    match by:
        case By.CAMPAIGN:
            one = line.campaign
            return Sum(key=one.code, words=one.title, campaign=one)
        case By.STORE:
            return Sum(key=line.store.code, words=line.store.name)
        case By.PART:
            part = line.part
            return Sum(
                key=part.number if part else "-", words=part.name if part else ""
            )


def _all(states: dict[str, list[Row]]) -> Iterable[Row]:
    return (row for rows in states.values() for row in rows)


def _parts(rows: Iterable[Row]) -> dict[int, Part]:
    wanted: dict[int, None] = defaultdict(None)
    for row in rows:
        if row.part:
            wanted[row.part] = None
    return Part.objects.in_bulk(list(wanted))
