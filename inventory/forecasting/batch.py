"""The forecasts of many campaigns and parts at once, in columns.

The same formulas as ``campaign_demand`` and ``look_ahead``, which look at one; here
one operation goes over all cohorts, pairs of cohorts, or outcomes. A night works out
some ten thousand parts, each for three stretches of days.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import special

from inventory.forecasting.demand import (
    LEAST_UNBOOKED,
    CampaignDemand,
    CampaignUse,
    campaign_demand,
)
from inventory.forecasting.distribution import NONE_WANTED, Demand
from inventory.forecasting.proposal import (
    Outlook,
    PartPosition,
    Proposal,
    conclude,
    put_together,
    stretches_of,
)


if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from inventory.forecasting.response import ResponseCurve


Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]

_AT_ONCE = 250_000
"""Outcomes in one block: what a processor's cache holds."""

_TAIL = 1e-12
_CERTAIN = 1 - 1e-12


@dataclass(frozen=True, slots=True)
class Ask:
    """A campaign, a stretch of days from today, and the error of its forecast."""

    use: CampaignUse
    days: int
    booked: int
    error: float


def propose_many(
    positions: Sequence[PartPosition], fingerprints: Sequence[str] | None = None
) -> list[Proposal]:
    """Give the proposal of each position; see ``propose``.

    ``fingerprints``: those of the positions, where the caller has them already.
    """
    known = fingerprints or [one.fingerprint() for one in positions]
    return [
        conclude(position, outlook, fingerprint=mark)
        for position, outlook, mark in zip(
            positions, look_ahead_many(positions), known, strict=True
        )
    ]


def look_ahead_many(positions: Sequence[PartPosition]) -> list[Outlook]:
    """Forecast the demand that each proposal weighs; see ``look_ahead``."""
    asks: list[Ask] = []
    places: list[list[int]] = []
    alone: dict[int, CampaignDemand] = {}
    for position in positions:
        mine = []
        for stretch in stretches_of(position):
            for use in position.campaigns:
                days = stretch.days
                if use.last_day is not None:
                    days = min(days, (use.last_day - position.today).days + 1)
                error = use.errors.rest if stretch.rest else use.error
                within = sum((day - position.today).days <= days for day in use.booked)
                mine.append(len(asks))
                if days <= 0:
                    alone[len(asks)] = campaign_demand(
                        use, today=position.today, days=days, error=error
                    )
                asks.append(Ask(use, days, within, error))
        places.append(mine)
    found = campaign_demands(asks, alone)
    return [
        put_together(position, [found[place] for place in mine])
        for position, mine in zip(positions, places, strict=True)
    ]


def campaign_demands(
    asks: Sequence[Ask], known: dict[int, CampaignDemand] | None = None
) -> list[CampaignDemand]:
    """Give the demand of each ask; ``known`` has those that are not to be worked out."""
    known = known or {}
    places = [place for place in range(len(asks)) if place not in known]
    told = [asks[place] for place in places]
    unbooked = _unbooked(told)
    chances = np.array([one.use.show_rate * one.use.share.mean for one in told])
    booked = binomials(np.array([one.booked for one in told], dtype=np.int64), chances)
    found = dict(known)
    for place, ask, sure, rest in zip(places, told, booked, unbooked, strict=True):
        pieces = ask.use.pieces_per_vehicle
        found[place] = CampaignDemand(
            label=ask.use.label,
            booked_vehicles=ask.booked,
            booked=sure if pieces == 1 else sure.times(pieces),
            unbooked=rest if pieces == 1 else rest.times(pieces),
        )
    return [found[place] for place in range(len(asks))]


# Cohorts ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Cohorts:
    """All cohorts of all asks in columns; ``ask`` says whose each is.

    ``ahead`` has the share not yet booked by weeks ahead, the last one for all later
    weeks; 1 throughout where it is not known.
    """

    ask: Ints
    vehicles: Floats
    letters: Floats
    weeks: Floats
    pace: Floats
    exits: Floats
    ahead: Floats


def _unbooked(asks: Sequence[Ask]) -> list[Demand]:
    """Give how many of the vehicles not booked come and need the part."""
    if not asks:
        return []
    cohorts, curves = _stand_in_columns(asks)
    hazard = np.zeros(len(cohorts.ask))
    for curve, rows in curves:
        for some in _of_like_length(cohorts.weeks, rows):
            hazard[some] = _beside_exits(curve, cohorts, some)
    pace = cohorts.pace
    chance = -np.expm1(-pace * hazard)
    chance *= _kept_shares(asks, cohorts, chance)[cohorts.ask]
    hazard = -np.log1p(-np.minimum(chance, _CERTAIN)) / pace
    return _matched(asks, *_moments(asks, cohorts, hazard))


def _stand_in_columns(
    asks: Sequence[Ask],
) -> tuple[_Cohorts, list[tuple[ResponseCurve, Ints]]]:
    """Stand the cohorts in columns, and say which rows follow which curve."""
    rows: list[tuple[float, ...]] = []
    by_curve: dict[int, list[int]] = defaultdict(list)
    curves: dict[int, ResponseCurve] = {}
    for place, ask in enumerate(asks):
        use = ask.use
        pace, weeks = use.pace.mean, ask.days / 7
        curves[id(use.curve)] = use.curve
        mine = by_curve[id(use.curve)]
        for cohort in use.cohorts:
            if cohort.vehicles <= 0:
                continue
            known = cohort.letters(use.reminder_in)
            one, two, three = (*known, np.inf, np.inf)[:3]
            mine.append(len(rows))
            rows.append(
                (place, cohort.vehicles, one, two, three, weeks, pace, use.exits)
            )
    whole = np.array(rows, dtype=float).reshape(-1, 8)
    of_ask = whole[:, 0].astype(np.int64)
    cohorts = _Cohorts(
        ask=of_ask,
        vehicles=whole[:, 1],
        letters=whole[:, 2:5],
        weeks=whole[:, 5],
        pace=whole[:, 6],
        exits=whole[:, 7],
        ahead=_shares_ahead(asks)[of_ask],
    )
    return cohorts, [
        (curves[key], np.array(mine, dtype=np.int64))
        for key, mine in by_curve.items()
        if mine
    ]


def _shares_ahead(asks: Sequence[Ask]) -> Floats:
    """Give a row of shares for each ask, all of one length."""
    length = max((len(one.use.unbooked_ahead) for one in asks), default=0) or 1
    shares = np.ones((len(asks), length))
    for place, ask in enumerate(asks):
        known = ask.use.unbooked_ahead
        if known:
            shares[place, : len(known)] = known
            shares[place, len(known) :] = known[-1]
    return shares


def _of_like_length(weeks: Floats, rows: Ints) -> Iterator[Ints]:
    """Cut rows into blocks whose stretches are about as long."""
    ordered = rows[np.argsort(weeks[rows], kind="stable")]
    start = 0
    while start < len(ordered):
        size = max(1, int(_AT_ONCE // (weeks[ordered[start]] + 2)))
        end = min(start + size, len(ordered))
        while (
            end > start + 1 and weeks[ordered[end - 1]] > 2 * weeks[ordered[start]] + 4
        ):
            end = start + (end - start + 1) // 2
        yield ordered[start:end]
        start = end


def _beside_exits(curve: ResponseCurve, cohorts: _Cohorts, rows: Ints) -> Floats:
    """Give each cohort's hazard whose chance is the share that comes.

    Those already booked are not in it (see ``chance_not_booked``). Without exits and
    record of bookings it is the plain increase of the curve.
    """
    weeks, pace, exits = cohorts.weeks[rows], cohorts.pace[rows], cohorts.exits[rows]
    ahead = cohorts.ahead[rows]
    stepped = (exits > 0) | (ahead < 1).any(axis=1)
    last = int(np.ceil(weeks.max()))
    steps = np.arange(last + 1, dtype=float) if stepped.any() else np.array([0.0, last])
    edges = np.minimum(steps[None, :], weeks[:, None])
    hazard = _cumulative(curve, cohorts.letters[rows], edges)
    plain: Floats = np.maximum(hazard[:, -1] - hazard[:, 0], 0.0)
    if not stepped.any():
        return plain
    weekly = -np.expm1(-pace[:, None] * np.diff(hazard, axis=1))
    still_open = np.ones(len(rows))
    new, booked = np.zeros(len(rows)), np.zeros(len(rows))
    for week in range(weekly.shape[1]):
        share = weekly[:, week]
        unbooked = ahead[:, min(week, ahead.shape[1] - 1)]
        new += still_open * share * unbooked
        booked += still_open * share * (1 - unbooked)
        still_open *= np.maximum(0.0, 1 - share - exits)
    came = np.divide(new, 1 - booked, out=np.zeros(len(rows)), where=booked < 1)
    beside = -np.log1p(-np.minimum(came, _CERTAIN)) / pace
    found: Floats = np.where(stepped, beside, plain)
    return found


def _cumulative(curve: ResponseCurve, letters: Floats, edges: Floats) -> Floats:
    """Give the hazard at each edge; see ``ResponseCurve.at``. Absent letters: inf."""
    first, second, third = (letters[:, place, None] for place in range(3))
    total = curve.first.many(np.clip(edges, first, second) - first)
    for letter, until in ((second, third), (third, np.inf)):
        here = np.isfinite(letter)
        if not here.any():
            continue
        within = np.clip(edges, letter, until)
        since = np.where(here, within - np.where(here, letter, 0.0), 0.0)
        if curve.later is not None:
            total += curve.later.many(since)
            continue
        more = curve.first.many(within - first) - curve.first.many(letter - first)
        total += np.where(here, more, 0.0) + curve.reminder * curve.first.many(since)
    return total


def _kept_shares(asks: Sequence[Ask], cohorts: _Cohorts, chance: Floats) -> Floats:
    """Give the share of each forecast still to come beside the booked, 0 to 1."""
    size = len(asks)
    forecast = np.bincount(cohorts.ask, cohorts.vehicles * chance, minlength=size)
    vehicles = np.bincount(cohorts.ask, cohorts.vehicles, minlength=size)
    booked = np.array([one.booked for one in asks], dtype=float)
    shows = np.array([one.use.show_rate for one in asks])
    by_record = np.array([bool(one.use.unbooked_ahead) for one in asks])
    some = (forecast > 0) & (booked > 0) & ~by_record
    average = np.divide(forecast, vehicles, out=np.zeros(size), where=some)
    rest = forecast + booked * (average - shows)
    kept = np.divide(rest, forecast, out=np.ones(size), where=some)
    found: Floats = np.where(some, np.clip(kept, LEAST_UNBOOKED, 1.0), 1.0)
    return found


def _moments(
    asks: Sequence[Ask], cohorts: _Cohorts, hazard: Floats
) -> tuple[Ints, Floats, Floats]:
    """Give vehicles and both moments of each ask; see ``window_moments``."""
    size = len(asks)
    paces = [one.use.pace.blurred(one.error) for one in asks]
    alpha = np.array([one.alpha for one in paces])
    beta = np.array([one.beta for one in paces])
    counts = np.bincount(cohorts.ask, minlength=size)
    vehicles = np.bincount(cohorts.ask, cohorts.vehicles, minlength=size)
    mine = cohorts.ask
    stay = np.exp(-alpha[mine] * np.log1p(hazard / beta[mine]))
    come = np.bincount(mine, cohorts.vehicles * (1 - stay), minlength=size)
    # every pair of cohorts of the same ask
    starts = np.cumsum(counts) - counts
    each = counts[mine]
    left = np.repeat(np.arange(len(mine)), each)
    turn = np.arange(len(left)) - np.repeat(np.cumsum(each) - each, each)
    right = starts[mine[left]] + turn
    of = mine[left]
    both = np.exp(-alpha[of] * np.log1p((hazard[left] + hazard[right]) / beta[of]))
    pairs = 1 - stay[left] - stay[right] + both
    weight = cohorts.vehicles[left] * cohorts.vehicles[right]
    weight -= np.where(left == right, cohorts.vehicles[left], 0.0)
    ordered = np.bincount(of, weight * pairs, minlength=size)
    shares = [one.use.share for one in asks]
    mean = np.array([one.mean for one in shares])
    square = np.array([one.square for one in shares])
    first = np.divide(mean * come, vehicles, out=np.zeros(size), where=vehicles > 0)
    among = vehicles * (vehicles - 1)
    second = np.divide(square * ordered, among, out=np.zeros(size), where=among > 0)
    return vehicles.astype(np.int64), first, second


def _matched(
    asks: Sequence[Ask], vehicles: Ints, first: Floats, second: Floats
) -> list[Demand]:
    """Give the beta-binomial with these moments, or its limit; see ``window_demand``."""
    spread = second - first**2
    none = (vehicles == 0) | (first <= 0)
    limit = (vehicles == 1) | (spread <= _TAIL * first) | (second >= first)
    found: list[Demand] = [NONE_WANTED] * len(asks)
    plain = np.flatnonzero(~none & limit)
    for place, one in zip(
        plain, binomials(vehicles[plain], np.minimum(first[plain], 1.0)), strict=True
    ):
        found[place] = one
    rest = np.flatnonzero(~none & ~limit)
    size = (first[rest] - second[rest]) / spread[rest]
    for place, one in zip(
        rest,
        beta_binomials(vehicles[rest], first[rest] * size, (1 - first[rest]) * size),
        strict=True,
    ):
        found[place] = one
    return found


# Distributions ----------------------------------------------------------------------


def beta_binomials(vehicles: Ints, a: Floats, b: Floats) -> list[Demand]:
    """Give D ~ Beta-binomial(n, a, b) for each n, a and b; a and b above 0.

    p(j + 1) / p(j) = (n - j)(a + j) / ((j + 1)(b + n - j - 1)), as sums of logs.
    """
    found: list[Demand] = [NONE_WANTED] * len(vehicles)
    for rows in _blocks(vehicles):
        n, some_a, some_b = vehicles[rows, None], a[rows, None], b[rows, None]
        j = np.arange(int(n.max()))[None, :]
        # beyond n nothing is read; 1 keeps the logs quiet there
        up = np.where(j < n, (n - j) * (some_a + j), 1.0)
        down = np.where(j < n, (j + 1) * (some_b + n - j - 1), 1.0)
        start = special.betaln(some_a, some_b + n) - special.betaln(some_a, some_b)
        _take(found, rows, n, start, np.log(up / down))
    return found


def binomials(vehicles: Ints, chance: Floats) -> list[Demand]:
    """Give D ~ Binomial(n, chance) for each n and chance, 0 to 1."""
    found: list[Demand] = [NONE_WANTED] * len(vehicles)
    sure = (chance >= 1) & (vehicles > 0)
    for place in np.flatnonzero(sure):
        found[place] = Demand.certain(int(vehicles[place]))
    open_rows = np.flatnonzero((vehicles > 0) & (chance > 0) & ~sure)
    for block in _blocks(vehicles[open_rows]):
        rows = open_rows[block]
        n, p = vehicles[rows, None], chance[rows, None]
        j = np.arange(int(n.max()))[None, :]
        up = np.where(j < n, (n - j) * p, 1.0)
        down = np.where(j < n, (j + 1) * (1 - p), 1.0)
        start: Floats = np.asarray(n * np.log1p(-p), dtype=np.float64)
        _take(found, rows, n, start, np.log(up / down))
    return found


def _blocks(vehicles: Ints) -> Iterator[Ints]:
    """Cut rows into blocks of about as many outcomes each."""
    ordered = np.argsort(vehicles, kind="stable")
    end = len(ordered)
    while end > 0:
        size = max(1, _AT_ONCE // (int(vehicles[ordered[end - 1]]) + 1))
        yield ordered[max(0, end - size) : end]
        end -= size


def _take(
    found: list[Demand], rows: Ints, n: Ints, start: Floats, steps: Floats
) -> None:
    """Turn a block of logs into demands; the tail is cut as ``Demand.of`` cuts it."""
    chances = np.empty((len(rows), steps.shape[1] + 1))
    chances[:, :1] = start
    np.cumsum(steps, axis=1, out=chances[:, 1:])
    chances[:, 1:] += start
    np.exp(chances, out=chances)
    chances[np.arange(chances.shape[1])[None, :] > n] = 0.0
    above = np.cumsum(chances[:, ::-1], axis=1)[:, ::-1]
    lengths = np.maximum(1, (above > _TAIL).sum(axis=1))
    for place, row, length in zip(
        rows.tolist(), chances, lengths.tolist(), strict=True
    ):
        kept = row[:length]
        found[place] = Demand(kept / kept.sum())
