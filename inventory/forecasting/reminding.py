"""Whether one more letter to the owners who have not come yet pays.

With a reminder the hazards add: the curve of the letters so far runs on and the
reminder's begins anew (or, where later letters have a curve of their own, that one
takes over). The reminder pays when the first wave has ebbed, the visits that it brings
are worth more than the letters cost, and the parts for the wave are in hand.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from inventory.forecasting.demand import CampaignUse, Cohort, campaign_demand
from inventory.forecasting.response import hazard_beside_exits, week_edges


LOOK_AHEAD_WEEKS = 26
"""Visits count that come within half a year of the letter: a judgement, no source."""

WAVE_WEEKS = 4
"""A letter's first wave: the built-in curve has its quickest weeks here."""

EBBED = 0.5
"""The wave has ebbed when the next four weeks bring at most this share of the first
four: a judgement, no source."""

LONGEST_WAIT_WEEKS = 26
"""So long after the latest letter the wave counts as ebbed whatever the curve says."""

MOST_LETTERS = 5
"""Letters to one owner, the first included. The most that the trade press tells of:
five letters and cards over two years, for 8 points more (a regulator's officer, not a
controlled test)."""

MOST_LETTERS_A_VISIT = 50
"""Where no margin is entered, a reminder pays down to one visit more in so many letters:
a judgement, no source."""

PARTS_LEVEL = 0.90
"""The parts in hand last through the first wave in so many of outcomes."""


class Verdict(StrEnum):
    """What comes of a look at a reminder."""

    PAYS = "pays"
    NOBODY = "nobody"
    ENOUGH_LETTERS = "enough_letters"
    STILL_COMING = "still_coming"
    TOO_LITTLE = "too_little"
    NO_PARTS = "no_parts"


@dataclass(frozen=True, slots=True, kw_only=True)
class PartInHand:
    """Pieces of one part that are promised to nobody, and those that the wave takes."""

    part_id: int
    spare: int
    wanted: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What a letter costs, and what is left of a visit; None where nobody has said."""

    letter_cents: int
    visit_cents: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What a reminder to ``letters`` owners would bring, and what speaks against it.

    ``without`` and ``extra`` are visits within ``weeks``; ``short`` are the parts that
    would not last through the wave.
    """

    verdict: Verdict
    letters: int
    weeks: int
    without: float = 0.0
    extra: float = 0.0
    extra_cents: int | None = None
    cost_cents: int = 0
    short: tuple[PartInHand, ...] = ()


def judge_reminder(
    use: CampaignUse | None,
    *,
    letters: int,
    rounds: int,
    costs: Costs,
    parts: Sequence[PartInHand],
    today: date,
) -> Judgement:
    """Judge a letter sent today to ``letters`` of the open vehicles.

    ``use`` is the whole campaign at one piece a vehicle; ``rounds`` the letters that
    went out before. The first thing that speaks against it is the verdict.
    """
    weeks = _weeks_left(use, today)
    if use is None or not use.cohorts or not letters or weeks <= 0:
        return Judgement(verdict=Verdict.NOBODY, letters=letters, weeks=max(0, weeks))
    without, with_letter = shares(use, weeks=weeks)
    extra = letters * (with_letter - without)
    worth = None if costs.visit_cents is None else round(extra * costs.visit_cents)
    cost = letters * costs.letter_cents
    short = tuple(one for one in parts if one.spare < one.wanted)
    if rounds >= MOST_LETTERS:
        verdict = Verdict.ENOUGH_LETTERS
    elif not has_ebbed(use):
        verdict = Verdict.STILL_COMING
    elif not (
        extra * MOST_LETTERS_A_VISIT >= letters if worth is None else worth > cost
    ):
        verdict = Verdict.TOO_LITTLE
    else:
        verdict = Verdict.NO_PARTS if short else Verdict.PAYS
    return Judgement(
        verdict=verdict,
        letters=letters,
        weeks=weeks,
        without=letters * without,
        extra=extra,
        extra_cents=worth,
        cost_cents=cost,
        short=short,
    )


def shares(use: CampaignUse, *, weeks: float) -> tuple[float, float]:
    """Give the share of those open that comes within some weeks: without and with.

    The letter goes out today. 1 - exp(-pace x hazard) for each cohort, weighed by its
    vehicles.
    """
    vehicles = sum(one.vehicles for one in use.cohorts)
    found = [
        sum(one.vehicles * _chance(use, one, weeks, reminder) for one in use.cohorts)
        / vehicles
        for reminder in (None, 0.0)
    ]
    return found[0], found[1]


def has_ebbed(use: CampaignUse) -> bool:
    """Tell whether the wave after the latest letter is over.

    Weighed by vehicles: H(now to now + 4) is at most half of H(letter to letter + 4),
    and the first four weeks are past.
    """
    age = use.mean_age_weeks()
    if age < WAVE_WEEKS:
        return False
    first = coming = 0.0
    for one in use.cohorts:
        letters = one.letters()
        latest = letters[-1]
        first += one.vehicles * use.curve.hazard(letters, latest, latest + WAVE_WEEKS)
        coming += one.vehicles * use.curve.hazard(letters, 0, WAVE_WEEKS)
    return coming <= EBBED * first or age >= LONGEST_WAIT_WEEKS


def wanted_in_wave(use: CampaignUse, *, today: date) -> int:
    """Give the pieces of one part that last through the first wave of a reminder.

    In 9 of 10 outcomes; those that are booked have theirs promised and do not count.
    """
    reminded = replace(use, reminder_in=0.0)
    found = campaign_demand(reminded, today=today, days=WAVE_WEEKS * 7)
    return found.unbooked.level(PARTS_LEVEL)


def _chance(
    use: CampaignUse, cohort: Cohort, weeks: float, reminder: float | None
) -> float:
    """Give the chance that a vehicle of a cohort comes within some weeks."""
    pace = use.pace.mean
    path = use.curve.at(cohort.letters(reminder), week_edges(weeks))
    return 1 - math.exp(-pace * hazard_beside_exits(path, pace, use.exits))


def _weeks_left(use: CampaignUse | None, today: date) -> int:
    """Give the weeks that are looked ahead: fewer where the campaign ends sooner."""
    if use is None or use.last_day is None:
        return LOOK_AHEAD_WEEKS
    return min(LOOK_AHEAD_WEEKS, (use.last_day - today).days // 7)
