"""Invented campaigns at invented stores, made on purpose by other laws than the model's.

The forecast takes one curve for all campaigns, one pace number for each, and chance.
Here nothing is so. Law A: in each campaign another share of owners never comes, and
those who come are of two kinds, prompt and slow, each at a speed that differs from
campaign to campaign. Law B: one curve for all, but a pace that varies with a
coefficient of .45, and good and bad weeks. Both have a reminder to those still open,
owners who leave the area or scrap the vehicle, and holiday weeks in which people put
the visit off. All figures are assumptions, no published source.

The seeds stand here and were set before any rule was tried on them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np


if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

WEEKS = 78
"""How long a campaign is followed, in weeks since the owner letter."""

HISTORY = 24
"""Closed campaigns that a simulated store learns from."""

TRIED = 60
"""Campaigns on which the rules are tried at each store: 300 with five seeds."""

SEEDS = (11, 23, 37, 53, 71)

_NEVER = 10 * WEEKS
_LEAVES_A_WEEK = 0.0025
_REMINDED = (18, 31)
_HOLIDAYS_A_YEAR = 3
_PUT_OFF = 0.6


class Law(StrEnum):
    """How owners come."""

    TWO_KINDS = "A"
    ONE_CURVE = "B"


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One campaign at one store as it happened, week by week since the letter.

    ``asked`` and ``left`` have one number a week: owners who asked for the remedy,
    and vehicles that went out of reach. ``reminded`` is the week of the reminder.
    """

    vehicles: int
    reminded: int
    asked: tuple[int, ...]
    left: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedStore:
    """What a store has seen, and the campaigns on which the rules are tried."""

    law: Law
    seed: int
    history: tuple[Course, ...]
    tried: tuple[Course, ...]


def make_store(
    law: Law, seed: int, *, history: int = HISTORY, tried: int = TRIED
) -> SimulatedStore:
    """Make one store; the same law and seed give the same campaigns in the same order."""
    chance = np.random.default_rng([seed, ord(law.value)])
    courses = [make_course(law, chance) for _number in range(history + tried)]
    return SimulatedStore(
        law=law,
        seed=seed,
        history=tuple(courses[:history]),
        tried=tuple(courses[history:]),
    )


def make_course(law: Law, chance: Generator) -> Course:
    """Let one campaign run its course."""
    vehicles = int(chance.integers(30, 251))
    reminded = int(chance.integers(*_REMINDED))
    if law is Law.TWO_KINDS:
        comes = _two_kinds(vehicles, reminded, chance)
    else:
        comes = _one_curve(vehicles, reminded, chance)
    comes = _put_off(comes, chance)
    leaves = chance.geometric(_LEAVES_A_WEEK, vehicles)
    gone = leaves <= comes  # who leaves first asks no more
    return Course(
        vehicles=vehicles,
        reminded=reminded,
        asked=_by_week(comes[~gone]),
        left=_by_week(leaves[gone]),
    )


def _two_kinds(vehicles: int, reminded: int, chance: Generator) -> NDArray[np.int64]:
    """Give the week in which each owner asks under law A."""
    ever, prompt = chance.beta(8, 4), chance.beta(5, 5)
    speed = chance.lognormal(0, 0.35)
    quick = chance.random(vehicles) < prompt
    weeks = speed * np.where(
        quick,
        4.0 * chance.weibull(1.1, vehicles),
        18.0 * chance.weibull(1.0, vehicles),
    )
    weeks[chance.random(vehicles) >= ever] = _NEVER
    moved = chance.random(vehicles) < chance.beta(3, 22)
    later = reminded + 4.0 * chance.weibull(1.1, vehicles)
    weeks = np.where((weeks > reminded) & moved, np.minimum(weeks, later), weeks)
    return np.floor(weeks).astype(np.int64)


def _one_curve(vehicles: int, reminded: int, chance: Generator) -> NDArray[np.int64]:
    """Give the week in which each owner asks under law B."""
    pace = chance.gamma(1 / 0.45**2, 0.45**2)
    noise = chance.lognormal(-0.02, 0.2, WEEKS)
    edges = np.arange(WEEKS + 1)
    usual = np.diff(1.1 * (1 - np.exp(-edges / 14)) ** 0.9)
    again = np.zeros(WEEKS)
    again[reminded:] = 0.25 * usual[: WEEKS - reminded]
    hazard = np.cumsum(pace * noise * (usual + again))
    drawn = chance.exponential(1.0, vehicles)
    weeks = np.searchsorted(hazard, drawn, side="left")
    weeks[weeks >= WEEKS] = _NEVER
    return weeks.astype(np.int64)


def _put_off(weeks: NDArray[np.int64], chance: Generator) -> NDArray[np.int64]:
    """Move most of those who would ask in a holiday week to one of the next two."""
    count = round(_HOLIDAYS_A_YEAR * WEEKS / 52)
    holidays = chance.choice(np.arange(1, WEEKS), size=count, replace=False)
    off = np.isin(weeks, holidays) & (chance.random(len(weeks)) < _PUT_OFF)
    return np.where(off, weeks + chance.integers(1, 3, len(weeks)), weeks)


def _by_week(weeks: NDArray[np.int64]) -> tuple[int, ...]:
    counts = np.bincount(weeks[weeks < WEEKS], minlength=WEEKS)
    return tuple(int(number) for number in counts)
