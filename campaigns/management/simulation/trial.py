"""The rules tried at invented stores, to see whether the proposals pay."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from statistics import median
from typing import TYPE_CHECKING

from campaigns.management.simulation.truth import (
    HISTORY,
    SEEDS,
    TRIED,
    WEEKS,
    Law,
    make_store,
)
from inventory.forecasting.calibration import calibrate
from inventory.forecasting.reorder import CostTerms
from inventory.forecasting.replay import Conditions, Rule, replay
from inventory.forecasting.response import ClosedCampaign, Seen, learn


if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from campaigns.management.simulation.truth import Course, SimulatedStore
    from inventory.forecasting.calibration import Calibration, Said
    from inventory.forecasting.replay import Replayed
    from inventory.forecasting.response import Experience

CONDITIONS = Conditions(
    unit_cost_cents=10_000,
    lead_days=14,
    review_days=7,
    cost_terms=CostTerms(
        labour_margin_cents=8_500, second_visit_cents=8_500, lost_share=Decimal("0.25")
    ),
    returns_day=40 * 7,
    first_day=-28,
    planned_days=28,
)
"""A kit for 100.00, two weeks to deliver, 85.00 for a customer who finds none, 24 per
cent a year to keep, returns at 85 per cent until week 40; the campaign is known four
weeks before its letters, and a reminder four weeks before it is posted: assumptions, no
source."""

LEAST_SAVED, NEVER_UNDER = 2.5, 1.5
COVERED = 0.74, 0.86
LEVEL_OFF = 0.02


def course_seen(course: Course, label: str) -> ClosedCampaign:
    """Write a course as the house keeps a closed campaign: groups of vehicles alike."""
    rows = [*_groups(course.asked, course, asked=True)]
    rows += _groups(course.left, course, asked=False)
    rest = course.vehicles - sum(course.asked) - sum(course.left)
    if rest:
        letters = 0.0, float(course.reminded)
        rows.append(
            Seen(vehicles=rest, letters=letters, until=float(WEEKS), asked=False)
        )
    return ClosedCampaign(label=label, seen=tuple(rows))


def _groups(by_week: Sequence[int], course: Course, *, asked: bool) -> Iterator[Seen]:
    for week, vehicles in enumerate(by_week):
        if vehicles:
            reminded = week >= course.reminded
            yield Seen(
                vehicles=vehicles,
                letters=(0.0, float(course.reminded)) if reminded else (0.0,),
                until=week + 0.5,
                asked=asked,
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What a store came to: costs of each rule, and the forecasts by age."""

    law: Law
    seed: int
    campaigns: int
    costs: dict[Rule, float]
    served: dict[Rule, float]
    early: Calibration
    late: Calibration
    whole: Calibration
    experience: Experience

    def times(self, rule: Rule) -> float:
        """Give how often the proposals' cost another rule's is."""
        return self.costs[rule] / self.costs[Rule.PROPOSALS]


def try_store(store: SimulatedStore, conditions: Conditions = CONDITIONS) -> Tried:
    """Learn from a store's history, and play the other campaigns by each rule."""
    known = learn(
        [course_seen(one, f"H{n:02}") for n, one in enumerate(store.history)],
        window_weeks=conditions.window_days / 7,
    )
    played = replay(
        [
            (course_seen(one, f"C{n:02}"), conditions, lambda _day: known)
            for n, one in enumerate(store.tried)
        ]
    )
    said = [row for one in played for row in one.said]
    return Tried(
        law=store.law,
        seed=store.seed,
        campaigns=len(played),
        costs={rule: _cost(played, rule, conditions) for rule in Rule},
        served={rule: _served(played, rule) for rule in Rule},
        early=_told(said, lambda one: one.early),
        late=_told(said, lambda one: not one.early),
        whole=_told(said, lambda _one: True),
        experience=known,
    )


def _cost(played: Sequence[Replayed], rule: Rule, conditions: Conditions) -> float:
    return sum(one.tally(rule).cost_cents(conditions) or 0.0 for one in played)


def _served(played: Sequence[Replayed], rule: Rule) -> float:
    tallies = [one.tally(rule) for one in played]
    return 1 - sum(t.missed for t in tallies) / sum(t.asked for t in tallies)


def _told(said: Sequence[Said], which: Callable[[Said], bool]) -> Calibration:
    found = calibrate(one for one in said if which(one))
    if found is None:
        raise ValueError("nothing was forecast")
    return found


def try_all(
    *,
    seeds: Sequence[int] = SEEDS,
    history: int = HISTORY,
    tried: int = TRIED,
    conditions: Conditions = CONDITIONS,
) -> Iterator[Tried]:
    """Try the rules at a store of each law and seed of its random numbers."""
    for law in Law:
        for seed in seeds:
            store = make_store(law, seed, history=history, tried=tried)
            yield try_store(store, conditions)


def median_times(found: Sequence[Tried], rule: Rule) -> float:
    """Give the median over stores of how often the proposals' cost a rule's is."""
    return median(one.times(rule) for one in found)


def lines(found: Sequence[Tried]) -> Iterator[str]:
    """Write what came of the trial as a table for docs: a row a store, then the means."""
    yield (
        "| law, seed | proposals | one for each open vehicle | last 4 weeks"
        " | served at once | 80 % interval, weeks 0 to 12 | later | all"
        " | level said | was | 95 said | was |"
    )
    yield "|---" * 12 + "|"
    for one in found:
        cost = one.costs[Rule.PROPOSALS] / one.campaigns / 100
        every, last = one.times(Rule.EVERY_VEHICLE), one.times(Rule.LAST_WEEKS)
        told = one.whole
        shares = (
            one.served[Rule.PROPOSALS], one.early.within, one.late.within, told.within,
            told.said, told.was, told.usual_said, told.usual_was,
        )  # fmt: skip
        yield (
            f"| {one.law}, {one.seed} | {cost:.0f} | {every:.2f} x | {last:.2f} x | "
            + " | ".join(f"{share:.3f}" for share in shares)
            + " |"
        )
    for law in Law:
        mine = [one for one in found if one.law is law]
        yield (
            f"{law}, all {sum(one.campaigns for one in mine)} campaigns: median"
            f" {median_times(mine, Rule.EVERY_VEHICLE):.2f} and"
            f" {median_times(mine, Rule.LAST_WEEKS):.2f} times the cost, least"
            f" {min(one.times(Rule.EVERY_VEHICLE) for one in mine):.2f} and"
            f" {min(one.times(Rule.LAST_WEEKS) for one in mine):.2f};"
            f" 80 % interval {_pooled(mine, lambda one: one.within):.3f};"
            f" level {_pooled(mine, lambda one: one.said):.3f} said,"
            f" {_pooled(mine, lambda one: one.was):.3f} was;"
            f" 95: {_pooled(mine, lambda one: one.usual_said):.3f} said,"
            f" {_pooled(mine, lambda one: one.usual_was):.3f} was;"
            f" pinball {_pooled(mine, lambda one: one.losses[0]):.3f},"
            f" {_pooled(mine, lambda one: one.losses[1]):.3f},"
            f" {_pooled(mine, lambda one: one.losses[2]):.3f}"
        )


def goals_missed(found: Sequence[Tried]) -> list[str]:
    """Name what was set before the trial and is not reached; empty when all is."""
    missed = []
    for law in Law:
        mine = [one for one in found if one.law is law]
        for rule in (Rule.EVERY_VEHICLE, Rule.LAST_WEEKS):
            middle = median_times(mine, rule)
            least = min(one.times(rule) for one in mine)
            if middle < LEAST_SAVED or least < NEVER_UNDER:
                missed.append(f"{law} {rule}: {middle:.2f} times, least {least:.2f}")
        within = _pooled(mine, lambda one: one.within)
        if not COVERED[0] <= within <= COVERED[1]:
            missed.append(f"{law} 80 per cent interval: {within:.3f}")
        off = _pooled(mine, lambda one: one.was - one.said)
        usual = _pooled(mine, lambda one: one.usual_was - one.usual_said)
        if max(abs(off), abs(usual)) > LEVEL_OFF:
            missed.append(f"{law} order level: off by {off:.3f} and {usual:.3f}")
    return missed


def _pooled(found: Sequence[Tried], figure: Callable[[Calibration], float]) -> float:
    """Give the mean of a figure over all forecasts of these stores."""
    size = sum(one.whole.forecasts for one in found)
    return sum(figure(one.whole) * one.whole.forecasts for one in found) / size
