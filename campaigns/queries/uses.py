"""From what campaigns and service items want to what one part is wanted for."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING, TypeAlias

from campaigns.queries.remedies import ALL
from inventory.forecasting.demand import CampaignUse, CertainUse, Cohort
from inventory.forecasting.response import built_in


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from campaigns.models import Campaign, Remedy, ScheduledItem
    from campaigns.queries.demand import Wanted
    from campaigns.queries.records import Cell, Record
    from inventory.forecasting.response import Experience

MILES_A_YEAR = 12_000
"""What a vehicle is driven in a year where nobody knows better: common practice, no
source."""

WEEKS_A_YEAR = 365 / 7
MONTHS_A_YEAR = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Takes:
    """What one variant, or vehicles whose variant is not told, take of a part.

    ``share`` of the vehicles take ``pieces``; ``conditional``: the share is learned
    from the vehicles looked at so far.
    """

    pieces: int
    share: float
    conditional: bool


Takers: TypeAlias = dict[int, dict[Takes, list[int | None]]]
"""By part: the variants that take it alike; None stands for those not told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UseOf:
    """One campaign's use of one part at one store; counts are in pieces.

    ``use`` is None where no vehicle is expected any more. ``own`` has the days of own
    stock, None where no day is set.
    """

    part_id: int
    campaign: Campaign
    use: CampaignUse | None
    waiting: int
    in_work: int
    own: tuple[tuple[dt.date | None, int], ...]

    def certain(self, today: dt.date, window: int) -> list[CertainUse]:
        """Give the work that will surely be done; without a day, after the window."""
        later = today + timedelta(days=window + 1)
        found = [
            CertainUse(
                label=f"{self.campaign.code} own stock", day=day or later, pieces=pieces
            )
            for day, pieces in self.own
        ]
        if self.in_work:
            found.append(
                CertainUse(
                    label=f"{self.campaign.code} in the workshop",
                    day=today,
                    pieces=self.in_work,
                )
            )
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class PartUse:
    """A service item's use of one part at one store.

    ``weekly`` pieces at the usual rate, and the pieces booked by day.
    """

    part_id: int
    label: str
    weekly: float
    booked: tuple[tuple[dt.date, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _AtStore:
    """One campaign at one store: what is wanted there and how it has run."""

    campaign: Campaign
    wanted: Wanted
    cell: Cell
    record: Record | None
    experience: Experience
    today: dt.date


def part_uses(
    campaign: Campaign,
    remedy: Remedy,
    wanted: Wanted,
    *,
    cell: Cell,
    today: dt.date,
    experience: Experience | None = None,
    takers: Takers | None = None,
) -> list[UseOf]:
    """Spread one campaign's vehicles at one store over the parts of its remedy.

    ``experience`` is what closed campaigns taught, None where they are too few.
    ``takers`` (see ``takers_of``) are worked out here where they are not given.

    Variants that take a part alike are one use; where there are several, each is named
    after its variants.
    """
    record = wanted.records.get(cell)
    at = _AtStore(
        campaign=campaign,
        wanted=wanted,
        cell=cell,
        record=record,
        experience=experience or built_in(_age(record, today)),
        today=today,
    )
    found = []
    for part_id, alike in sorted((takers or takers_of(remedy)).items()):
        for takes, variants in alike.items():
            one = _use(at, part_id, takes, variants)
            if one is not None:
                found.append((one, variants))
    return [_named(one, variants, found, remedy) for one, variants in found]


def whole_campaign(
    campaign: Campaign,
    wanted: Wanted,
    *,
    cell: Cell,
    today: dt.date,
    experience: Experience | None = None,
) -> UseOf | None:
    """Give all vehicles of a campaign at one store as one use of one piece each."""
    record = wanted.records.get(cell)
    at = _AtStore(
        campaign=campaign,
        wanted=wanted,
        cell=cell,
        record=record,
        experience=experience or built_in(_age(record, today)),
        today=today,
    )
    kinds = (wanted.cohorts, wanted.booked, wanted.waiting, wanted.in_work, wanted.own)
    variants = {one for kind in kinds for one in kind.get(cell, {})}
    one_each = Takes(pieces=1, share=1.0, conditional=False)
    return _use(at, 0, one_each, sorted(variants, key=lambda one: one or 0))


def _named(
    one: UseOf,
    variants: Sequence[int | None],
    found: Sequence[tuple[UseOf, Sequence[int | None]]],
    remedy: Remedy,
) -> UseOf:
    """Name a use after its variants where the campaign uses the part in several ways."""
    alone = sum(other.part_id == one.part_id for other, _variants in found) == 1
    if alone or one.use is None:
        return one
    codes = {variant.pk: variant.code for variant in remedy.variants.all()}
    names = ["?" if pk is None else codes[pk] for pk in variants]
    label = f"{one.campaign.code} {' '.join(names)}"
    return replace(one, use=replace(one.use, label=label))


def _age(record: Record | None, today: dt.date) -> float | None:
    """Give the vehicles' age in years, by their model year; None when unknown."""
    mean = record.mean_model_year if record else None
    return None if mean is None else today.year - mean


def takers_of(remedy: Remedy) -> Takers:
    """Group the variants of a remedy by what they take of each part.

    Vehicles whose variant cannot be told are spread evenly over the variants.
    """
    variants = list(remedy.variants.all())
    lines: dict[int, dict[int, tuple[int, int]]] = defaultdict(dict)
    for variant in variants:
        for line in variant.parts.all():
            lines[line.part_id][variant.pk] = line.quantity, line.share_basis_points
    found: dict[int, dict[Takes, list[int | None]]] = {}
    for part_id, by_variant in lines.items():
        alike: dict[Takes, list[int | None]] = defaultdict(list)
        for variant_id, (pieces, points) in sorted(by_variant.items()):
            takes = Takes(pieces=pieces, share=points / ALL, conditional=points < ALL)
            alike[takes].append(variant_id)
        most = max(pieces for pieces, _points in by_variant.values())
        mean = sum(pieces * points / ALL for pieces, points in by_variant.values())
        share = mean / most / len(variants)
        unsure = Takes(pieces=most, share=share, conditional=share < 1)
        alike[unsure].append(None)
        found[part_id] = dict(alike)
    return found


def _use(
    at: _AtStore, part_id: int, takes: Takes, variants: Sequence[int | None]
) -> UseOf | None:
    """Count what these variants want of one part; None where they want nothing."""
    wanted, cell, record, known = at.wanted, at.cell, at.record, at.experience
    cohorts = _joined(wanted.cohorts.get(cell, {}), variants)
    booked = sorted(
        day for one in variants for day in wanted.booked.get(cell, {}).get(one, ())
    )
    waiting = sum(wanted.waiting.get(cell, {}).get(one, 0) for one in variants)
    in_work = sum(wanted.in_work.get(cell, {}).get(one, 0) for one in variants)
    own: Counter[dt.date | None] = Counter()
    for one in variants:
        own.update(wanted.own.get(cell, {}).get(one, {}))
    if not (cohorts or booked or waiting or in_work or own):
        return None
    needed, not_needed = _looked_at(at, takes, variants, part_id)
    use = CampaignUse(
        label=at.campaign.code,
        curve=known.curve,
        cohorts=cohorts,
        booked=tuple(booked),
        asked=record.asked if record else 0,
        expected=round(record.expected(known.curve), 6) if record else 0.0,
        prior=known.prior,
        errors=known.errors,
        exits=known.exits,
        learned_from=known.campaigns,
        pieces_per_vehicle=takes.pieces,
        published_share=takes.share,
        needed=needed,
        not_needed=not_needed,
        last_day=at.campaign.eligible_until,
        reminder_in=_reminder_in(at.campaign, at.today),
    )
    days = sorted(own.items(), key=lambda row: (row[0] is None, row[0]))
    return UseOf(
        part_id=part_id,
        campaign=at.campaign,
        use=use if cohorts or booked else None,
        waiting=waiting * takes.pieces,
        in_work=in_work * takes.pieces,
        own=tuple((day, n * takes.pieces) for day, n in days),
    )


def _reminder_in(campaign: Campaign, today: dt.date) -> float | None:
    """Give the weeks until the reminder that is planned; None without one to come."""
    day = campaign.reminder_on
    return (day - today).days / 7 if day is not None and day >= today else None


def _joined(
    by_variant: Mapping[int | None, Iterable[Cohort]], variants: Sequence[int | None]
) -> tuple[Cohort, ...]:
    """Put the vehicles of several variants together, by weeks since the letter."""
    found: Counter[tuple[float, float]] = Counter()
    for one in variants:
        for cohort in by_variant.get(one, ()):
            latest = cohort.weeks_since_letter
            first = (
                latest if cohort.weeks_since_first is None else cohort.weeks_since_first
            )
            found[latest, first] += cohort.vehicles
    return tuple(
        Cohort(
            weeks_since_letter=latest,
            vehicles=vehicles,
            weeks_since_first=first if first > latest else None,
        )
        for (latest, first), vehicles in sorted(found.items())
    )


def _looked_at(
    at: _AtStore, takes: Takes, variants: Sequence[int | None], part_id: int
) -> tuple[int, int]:
    """Count the vehicles that needed a conditional part and those that did not."""
    if not takes.conditional:
        return 0, 0
    looked = at.wanted.looked.get(at.cell, {})
    chosen = [one for pk, one in looked.items() if None in variants or pk in variants]
    needed = sum(one.fitted.get(part_id, 0) for one in chosen)
    return needed, sum(one.repairs for one in chosen) - needed


def item_uses(
    item: ScheduledItem,
    remedy: Remedy,
    fleet: Iterable[tuple[str, str, int]],
    booked: Iterable[tuple[int, dt.date, int]],
) -> list[PartUse]:
    """Give what one service item takes of each part, and what is booked for it.

    ``fleet`` counts a store's vehicles by line and engine; ``booked`` its visits by
    variant and day. Each vehicle comes round once in the interval, and the share that
    comes to us is the item's; where months and miles are both given, the sooner rules.
    """
    vehicles = sum(
        number
        for line, engine, number in fleet
        if (not item.lines or line in item.lines)
        and (not item.engines or engine in item.engines)
    )
    weekly = vehicles * item.share_done_here_basis_points / ALL * _rounds_a_week(item)
    visits = list(booked)
    variants = list(remedy.variants.all())
    found = []
    for part_id in sorted({line.part_id for v in variants for line in v.parts.all()}):
        pieces = {
            one.pk: sum(
                line.quantity * line.share_basis_points / ALL
                for line in one.parts.all()
                if line.part_id == part_id
            )
            for one in variants
        }
        rate = weekly * sum(pieces.values()) / len(variants)
        days: Counter[dt.date] = Counter()
        for variant_id, day, number in visits:
            days[day] += round(number * pieces.get(variant_id, 0))
        taken = tuple(sorted((day, n) for day, n in days.items() if n))
        if rate or taken:
            found.append(
                PartUse(part_id=part_id, label=item.code, weekly=rate, booked=taken)
            )
    return found


def _rounds_a_week(item: ScheduledItem) -> float:
    """Give how often a week one vehicle is due."""
    years = []
    if item.due_after_months:
        years.append(item.due_after_months / MONTHS_A_YEAR)
    if item.due_after_miles:
        years.append(item.due_after_miles / MILES_A_YEAR)
    return 1 / (min(years) * WEEKS_A_YEAR) if years else 0.0
