"""Closed campaigns played again, day by day, as if the proposals had been followed.

On each past day of decision the forecast and the proposal are worked out with what was
known on that day: who had asked, who had left, which letters were out, and the curve of
campaigns closed by then. What owners did next is known now, so the forecast can be held
against it, and two simple rules can be followed beside the proposals, on the same
owners, to see what each would have cost.

A vehicle takes one kit of parts on the day its owner asks for it. Days count from the
campaign's start; all counts are in kits.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING

from dealership.rules.money import return_credit_cents
from inventory.forecasting import reorder
from inventory.forecasting.batch import look_ahead_many
from inventory.forecasting.calibration import Said
from inventory.forecasting.demand import CampaignUse, Cohort
from inventory.forecasting.promise import Receipt
from inventory.forecasting.proposal import (
    PartPosition,
    ProposalKind,
    ReturnTerms,
    decide,
)
from inventory.forecasting.reorder import CostTerms, costs_of
from inventory.forecasting.response import EARLY_WEEKS, stood_at


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from dealership.rules.money import Cents
    from inventory.forecasting.proposal import Outlook
    from inventory.forecasting.reorder import Costs
    from inventory.forecasting.response import ClosedCampaign, Experience, StoodAt

FIRST_BATCH = 0.20
"""Kits that are there when the letters go out, as a share of the vehicles, whatever the
rule: a judgement, no source."""

AVERAGE_WEEKS = 4
"""Weeks whose average the rule of the last weeks takes."""

_DAY_ZERO = date(2001, 1, 1)  # any day will do: only differences count
_YEAR = 365


class Rule(StrEnum):
    """How it is decided what to have."""

    PROPOSALS = "proposals"
    EVERY_VEHICLE = "every_vehicle"
    LAST_WEEKS = "last_weeks"


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Under what conditions kits are bought, kept and sent back.

    ``cost_terms`` None: the store has not said what a customer without a part costs;
    then no cost is told. ``returns_day`` is the last day for returns, in days since the
    start; None: none are taken. ``first_day`` is the day on which the campaign became
    known, 0 or before. A later letter is known ``planned_days`` before it is posted.
    """

    unit_cost_cents: Cents
    lead_days: int
    review_days: int = 7
    pack: int = 1
    cost_terms: CostTerms | None = None
    yearly_holding: Decimal = reorder.YEARLY_HOLDING
    returns_day: int | None = None
    restocking: Decimal = Decimal("0.15")
    freight_cents: Cents = 0
    service_limit: float = reorder.SERVICE_LIMIT
    first_batch: float = FIRST_BATCH
    first_day: int = 0
    planned_days: int = 0

    @property
    def window_days(self) -> int:
        """Give the days until the delivery after next."""
        return self.lead_days + self.review_days

    @property
    def credit_cents(self) -> Cents:
        """Give what a kit that is sent back in time brings."""
        return return_credit_cents(1, self.unit_cost_cents, self.restocking)

    def costs(self, day: int) -> Costs | None:
        """Give the costs of an order that is placed on this day."""
        if self.cost_terms is None:
            return None
        in_time = (
            self.returns_day is not None and self.returns_day - day >= self.lead_days
        )
        return costs_of(
            self.cost_terms,
            unit_cents=self.unit_cost_cents,
            review_days=self.review_days,
            brings_cents=self.credit_cents if in_time else 0,
            yearly=self.yearly_holding,
        )


@dataclass(slots=True, kw_only=True)
class Tally:
    """What following one rule came to in one campaign.

    ``missed``: customers who found no kit on the day they asked. ``kit_days``: kits on
    the shelf, summed over the evenings. ``left_over``: on the shelf and on order at the
    end, of no use to anybody.
    """

    rule: Rule
    asked: int = 0
    missed: int = 0
    kit_days: int = 0
    sent_back: int = 0
    left_over: int = 0
    bought: int = 0

    @property
    def served(self) -> float | None:
        """Give the share of customers who found a kit at once; None without any."""
        return 1 - self.missed / self.asked if self.asked else None

    def cost_cents(self, conditions: Conditions) -> float | None:
        """Give missing, keeping, sending back and never using together, in cents."""
        costs = conditions.costs(0)
        if costs is None:
            return None
        unit = conditions.unit_cost_cents
        keeping = self.kit_days * unit * float(conditions.yearly_holding) / _YEAR
        back = self.sent_back * (unit - conditions.credit_cents)
        return costs.short_cents * self.missed + keeping + back + unit * self.left_over


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """One campaign played again: what was forecast, and what each rule came to.

    ``learned_from`` are the campaigns that the last forecast's curve came from.
    """

    label: str
    vehicles: int
    asked: int
    learned_from: int
    said: tuple[Said, ...]
    tallies: tuple[Tally, ...]

    def tally(self, rule: Rule) -> Tally:
        """Give what one rule came to."""
        return next(one for one in self.tallies if one.rule is rule)


# The shelf under one rule -----------------------------------------------------------


@dataclass(slots=True)
class _Shelf:
    """Kits at one store under one rule, and what was counted on the way."""

    tally: Tally
    on_hand: int = 0
    waiting: int = 0
    coming: Counter[int] = field(default_factory=Counter)

    def live(self, day: int, asked: int) -> None:
        """Let a day pass: what is due comes first, who waits is served first."""
        self.on_hand += self.coming.pop(day, 0)
        served = min(self.on_hand, self.waiting)
        self.on_hand -= served
        self.waiting -= served
        found = min(self.on_hand, asked)
        self.on_hand -= found
        self.waiting += asked - found
        self.tally.asked += asked
        self.tally.missed += asked - found
        self.tally.kit_days += self.on_hand

    @property
    def on_order(self) -> int:
        """Give the kits still to come."""
        return self.coming.total()

    def order(self, kits: int, day: int) -> None:
        """Order kits that come on a later day."""
        if kits > 0:
            self.coming[day] += kits
            self.tally.bought += kits

    def send_back(self, kits: int) -> None:
        """Send kits back; more than are there cannot be."""
        gone = max(0, min(kits, self.on_hand))
        self.on_hand -= gone
        self.tally.sent_back += gone

    def end(self) -> None:
        """Count what is of no use to anybody any more."""
        self.tally.left_over += max(0, self.on_hand + self.on_order - self.waiting)


# One campaign -----------------------------------------------------------------------


@dataclass(slots=True)
class _Play:
    """One campaign while it is played."""

    campaign: ClosedCampaign
    conditions: Conditions
    known: Callable[[int], Experience]
    asked: Counter[int]
    days: int
    shelves: dict[Rule, _Shelf]
    said: list[Said] = field(default_factory=list)
    learned_from: int = 0

    def asked_between(self, start: int, end: int) -> int:
        """Count who asked after one day and not after another."""
        return sum(n for day, n in self.asked.items() if start < day <= end)


def replay(
    campaigns: Sequence[tuple[ClosedCampaign, Conditions, Callable[[int], Experience]]],
    *,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> list[Replayed]:
    """Play campaigns again side by side; the same input gives the same result.

    Each comes with its conditions and with what was known from other campaigns on a
    day of it. ``progress(done, total)`` counts days.
    """
    plays = [_begin(*one) for one in campaigns]
    first = min((one.conditions.first_day for one in plays), default=0)
    last = max((one.days for one in plays), default=-1)
    for day in range(first, last + 1):
        now = [one for one in plays if one.conditions.first_day <= day <= one.days]
        for one in now:
            for shelf in one.shelves.values():
                shelf.live(day, one.asked[day])
        _decide_all([one for one in now if day % one.conditions.review_days == 0], day)
        if not day % 7:
            progress(day - first, last + 1 - first)
    progress(last + 1 - first, last + 1 - first)
    return [_end(one) for one in plays]


def _begin(
    campaign: ClosedCampaign,
    conditions: Conditions,
    known: Callable[[int], Experience],
) -> _Play:
    asked: Counter[int] = Counter()
    for one in campaign.seen:
        if one.asked:
            asked[max(0, round(one.until * 7))] += one.vehicles
    first = reorder.in_packs(
        round(conditions.first_batch * campaign.vehicles), pack=conditions.pack
    )
    return _Play(
        campaign=campaign,
        conditions=conditions,
        known=known,
        asked=asked,
        days=round(campaign.last_week * 7),
        shelves={
            rule: _Shelf(
                tally=Tally(rule=rule, bought=first), coming=Counter({0: first})
            )
            for rule in Rule
        },
    )


def _end(play: _Play) -> Replayed:
    for shelf in play.shelves.values():
        shelf.end()
    return Replayed(
        label=play.campaign.label,
        vehicles=play.campaign.vehicles,
        asked=sum(play.asked.values()),
        learned_from=play.learned_from,
        said=tuple(play.said),
        tallies=tuple(shelf.tally for shelf in play.shelves.values()),
    )


# A day of decision ------------------------------------------------------------------


def _decide_all(plays: Sequence[_Play], day: int) -> None:
    """Let each rule of each campaign decide; the forecasts are worked out together."""
    stood = []
    positions = []
    for one in plays:
        known = one.known(day)
        one.learned_from = known.campaigns
        found = stood_at(one.campaign, day / 7, known.curve)
        stood.append(found)
        positions.append(_position(one, day, found, known))
    for one, found, position, outlook in zip(
        plays, stood, positions, look_ahead_many(positions), strict=True
    ):
        _follow_proposal(one, day, position, outlook)
        _follow_every_vehicle(one, day, found.vehicles)
        _follow_last_weeks(one, day)
        _keep_what_was_said(one, day, found, outlook)


def _position(play: _Play, day: int, stood: StoodAt, known: Experience) -> PartPosition:
    """Put together what was known on a day, as the nightly work would have."""
    terms, shelf = play.conditions, play.shelves[Rule.PROPOSALS]
    today = _DAY_ZERO + timedelta(days=day)
    returns = None
    if terms.returns_day is not None and day <= terms.returns_day:
        returns = ReturnTerms(
            last_day=_DAY_ZERO + timedelta(days=terms.returns_day),
            restocking=terms.restocking,
            freight_cents=terms.freight_cents,
        )
    use = CampaignUse(
        label=play.campaign.label,
        curve=known.curve,
        cohorts=tuple(_cohorts(stood)),
        asked=stood.asked,
        expected=stood.expected,
        prior=known.prior,
        errors=known.errors,
        exits=known.exits,
        learned_from=known.campaigns,
        reminder_in=_planned_letter(play, day),
    )
    return PartPosition(
        today=today,
        free=shelf.on_hand,
        held=0,
        waiting=shelf.waiting,
        unit_cost_cents=terms.unit_cost_cents,
        lead_days=terms.lead_days,
        review_days=terms.review_days,
        pack=terms.pack,
        receipts=tuple(
            Receipt(day=_DAY_ZERO + timedelta(days=due), pieces=pieces)
            for due, pieces in sorted(shelf.coming.items())
        ),
        campaigns=(use,),
        costs=terms.costs(day),
        yearly_holding=terms.yearly_holding,
        returns=returns,
        service_limit=terms.service_limit,
    )


def _cohorts(stood: StoodAt) -> Iterable[Cohort]:
    """Give the open vehicles by the weeks since their letters."""
    for one in stood.open:
        latest, first = one.letters[-1], one.letters[0]
        yield Cohort(
            weeks_since_letter=stood.week - latest,
            vehicles=one.vehicles,
            weeks_since_first=stood.week - first if first < latest else None,
        )


def _planned_letter(play: _Play, day: int) -> float | None:
    """Give the weeks until the next letter that is planned by now; first ones aside."""
    until = (day + play.conditions.planned_days) / 7
    coming = [
        letter
        for one in play.campaign.seen
        for letter in one.letters[1:]
        if day / 7 < letter <= until
    ]
    return min(coming) - day / 7 if coming else None


def _follow_proposal(
    play: _Play, day: int, position: PartPosition, outlook: Outlook
) -> None:
    """Do what the proposal of the day says."""
    shelf = play.shelves[Rule.PROPOSALS]
    kind, quantity, *_why = decide(position, outlook)
    if kind is ProposalKind.RETURN:
        shelf.send_back(quantity)
    elif kind is ProposalKind.ORDER:
        shelf.order(quantity, day + play.conditions.lead_days)


def _follow_every_vehicle(play: _Play, day: int, still_open: int) -> None:
    """Have one kit for every open vehicle, and send the rest back on the last day.

    Once nothing can go back any more, kits are ordered for customers who wait.
    """
    _follow_target(play, Rule.EVERY_VEHICLE, day, still_open)


def _follow_last_weeks(play: _Play, day: int) -> None:
    """Have what the last four weeks' average makes until the delivery after next."""
    _follow_target(play, Rule.LAST_WEEKS, day, _last_weeks_level(play, day))


def _last_weeks_level(play: _Play, day: int) -> int:
    """Give the last weeks' average for the days to the delivery after next, rounded up."""
    span = min(AVERAGE_WEEKS * 7, day + 1) if day > 0 else 1
    came = play.asked_between(day - span, day)
    return -(-came * play.conditions.window_days // span)


def _follow_target(play: _Play, rule: Rule, day: int, target: int) -> None:
    terms, shelf = play.conditions, play.shelves[rule]
    last = terms.returns_day
    over = last is not None and day + terms.review_days > last
    if last is not None and over and day <= last:
        keep = 0 if rule is Rule.EVERY_VEHICLE else target
        shelf.send_back(shelf.on_hand - keep)
    if over and rule is Rule.EVERY_VEHICLE:
        target = 0
    missing = target + shelf.waiting - shelf.on_hand - shelf.on_order
    shelf.order(reorder.in_packs(missing, pack=terms.pack), day + terms.lead_days)


def _keep_what_was_said(
    play: _Play, day: int, stood: StoodAt, outlook: Outlook
) -> None:
    """Hold the forecast of the day against what came; not beyond the campaign's end."""
    end = day + play.conditions.window_days
    if day < 0 or end > play.days or not stood.vehicles:
        return
    play.said.append(
        Said.of(
            outlook.window,
            came=play.asked_between(day, end),
            early=stood.age < EARLY_WEEKS,
            service=outlook.levels.window,
            others=(stood.vehicles, _last_weeks_level(play, day)),
        )
    )
