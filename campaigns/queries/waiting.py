"""The waiting list: who asked first, what they need, what is kept for them.

A piece that is free is offered in list order and is not held until somebody books.
It counts all the same: whoever is not on the list, or stands further down, is promised
only what the people before them leave. One who waits for two pieces keeps them from
the next who would need one, so that nobody is passed over.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db.models import Case, IntegerField, Value, When

from campaigns.models import PartRequest
from campaigns.queries.remedies import earmarks_of, needs_of
from campaigns.rules.lifecycle import STILL_OPEN, RequestState
from inventory.queries.numbers import (
    draw_together,
    numbers_of,
    ordered_as,
    part_ids_of,
)
from inventory.queries.stock import StockOf, stock_of


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from django.db.models import QuerySet

    from campaigns.models import Campaign, CampaignVehicle
    from dealership.models import Store
    from inventory.models import Earmark, Part

ON_THE_LIST = (RequestState.WAITING, RequestState.OFFERED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One place on the list, and the pieces that it takes."""

    request: PartRequest
    needs: Mapping[Part, int]

    @property
    def campaign(self) -> Campaign:
        """Give the campaign it asks for."""
        return self.request.campaign_vehicle.campaign

    @property
    def is_offered(self) -> bool:
        """Tell whether pieces are set aside for it."""
        return self.request.state == RequestState.OFFERED


def on_the_list(store: Store) -> QuerySet[PartRequest]:
    """Give a store's list: who has an offer first, then who asked first.

    A vehicle that wants no work any more, because it was remedied elsewhere or left the
    campaign, keeps nothing from the others. Opened again, it has its place again.
    """
    return (
        PartRequest.objects.in_store(store)
        .filter(state__in=ON_THE_LIST, campaign_vehicle__work_state__in=STILL_OPEN)
        .select_related(
            "campaign_vehicle__campaign__earmark", "campaign_vehicle__vehicle"
        )
        .order_by(
            Case(
                When(state=RequestState.OFFERED, then=Value(0)),
                default=Value(1),
                output_field=IntegerField(),
            ),
            "asked_on",
            "pk",
        )
    )


def waiting_list(*, store: Store, today: dt.date) -> list[Asked]:
    """Give a store's list in order, with what each needs, in a few queries."""
    requests = list(on_the_list(store))
    needs = needs_of([one.campaign_vehicle for one in requests], today=today)
    return [
        Asked(request=one, needs=needs[one.campaign_vehicle_id]) for one in requests
    ]


def before(asked: Sequence[Asked], row: CampaignVehicle | None) -> list[Asked]:
    """Keep those who come before a vehicle; all of them if it is not on the list."""
    ahead = []
    for one in asked:
        if row is not None and one.request.campaign_vehicle_id == row.pk:
            break
        ahead.append(one)
    return ahead


def place_of(asked: Sequence[Asked], row: CampaignVehicle) -> int | None:
    """Give the place of a vehicle among those who wait for its campaign, from 1."""
    same = [
        one.request.campaign_vehicle_id
        for one in asked
        if one.campaign.pk == row.campaign_id
    ]
    return same.index(row.pk) + 1 if row.pk in same else None


@dataclass(slots=True)
class Shelf:
    """What can be given away today, drawn down in list order.

    The promise line of each campaign's pockets bounds what it gets, and what one
    campaign takes from the common stock is gone for the others. Numbers that serve
    alike count together, under the one that is ordered.
    """

    stock: StockOf
    today: dt.date
    # by (part ordered, earmark): pieces set aside for a campaign, of those the common
    _asked: Counter[tuple[int, int]] = field(default_factory=Counter)
    _from_common: Counter[tuple[int, int]] = field(default_factory=Counter)
    _promise: dict[tuple[tuple[int, ...], int], int] = field(default_factory=dict)
    _free: dict[tuple[int, int | None], int] = field(init=False)
    # by (part, earmark or None): free pieces taken out of each pocket
    drawn: Counter[tuple[int, int | None]] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self._free = {
            (one.part_id, one.earmark_id): one.free for one in self.stock.balances
        }

    def has(self, campaign: Campaign, needs: Mapping[Part, int]) -> bool:
        """Tell whether all pieces of one vehicle can be given away today."""
        return all(
            self._left(campaign.earmark, numbers_of(needs, part)) >= pieces
            for part, pieces in needs.items()
        )

    def take(self, campaign: Campaign, needs: Mapping[Part, int]) -> None:
        """Set the pieces of one vehicle aside, as far as they are there."""
        for part, pieces in needs.items():
            numbers = numbers_of(needs, part)
            own = (numbers[-1].pk, campaign.earmark.pk)
            self._asked[own] += pieces
            left = pieces - self._draw_all(numbers, campaign.earmark.pk, pieces)
            self._from_common[own] += self._draw_all(numbers, None, left)

    def _draw_all(
        self, numbers: Iterable[Part], earmark_id: int | None, pieces: int
    ) -> int:
        """Take free pieces of one number after the other; gives how many there were."""
        left = pieces
        for one in numbers:
            left -= self._draw((one.pk, earmark_id), left)
        return pieces - left

    def _draw(self, pocket: tuple[int, int | None], pieces: int) -> int:
        """Take free pieces out of a pocket; gives how many there were."""
        drawn = min(pieces, self._free.get(pocket, 0))
        if drawn:
            self._free[pocket] -= drawn
            self.drawn[pocket] += drawn
        return drawn

    def _left(self, earmark: Earmark, numbers: tuple[Part, ...]) -> int:
        """Give what a campaign could still get of numbers that serve alike."""
        ordered = numbers[-1].pk
        key = (tuple(one.pk for one in numbers), earmark.pk)
        if key not in self._promise:
            self._promise[key] = draw_together(
                self.stock,
                numbers=numbers,
                earmark_ids={earmark.pk, None},
                today=self.today,
                days=1,
            ).free_now
        taken_by_others = sum(
            pieces
            for (part_id, other), pieces in self._from_common.items()
            if part_id == ordered and other != earmark.pk
        )
        asked = self._asked[ordered, earmark.pk]
        return self._promise[key] - asked - taken_by_others


def to_be_offered(
    asked: Sequence[Asked], *, store: Store, today: dt.date
) -> list[Asked]:
    """Give those for whom all pieces are free today, in list order.

    Who has an offer already keeps the pieces; who cannot be served yet keeps what is
    there, so nobody further down gets it first.
    """
    parts = {pk for one in asked for pk in part_ids_of(one.needs)}
    shelf = Shelf(stock=stock_of(store=store, part_ids=parts), today=today)
    found = []
    for one in asked:
        served = bool(one.needs) and shelf.has(one.campaign, one.needs)
        if served and not one.is_offered:
            found.append(one)
        shelf.take(one.campaign, one.needs)
    return found


def kept_for(
    ahead: Iterable[Asked], *, campaign: Campaign | None, stock: StockOf
) -> dict[int, int]:
    """Give the pieces kept for others, as one campaign meets them.

    By the id of the part as it is ordered: numbers that serve alike count together.

    Those ahead in the same campaign keep what they need. Those of another campaign
    count only where they were offered pieces that their own pocket does not hold.
    ``campaign`` is None for a scheduled item, which draws on the common stock alone.
    """
    kept: Counter[int] = Counter()
    others: Counter[tuple[int, int]] = Counter()
    serving: dict[int, set[int]] = {}
    for one in ahead:
        for part, pieces in one.needs.items():
            ordered = ordered_as(one.needs, part).pk
            if campaign is not None and one.campaign.pk == campaign.pk:
                kept[ordered] += pieces
            elif one.is_offered:
                others[ordered, one.campaign.earmark.pk] += pieces
                numbers = {number.pk for number in numbers_of(one.needs, part)}
                serving[ordered] = serving.get(ordered, numbers) & numbers
    for (part_id, earmark_id), pieces in others.items():
        own = sum(
            balance.free
            for balance in stock.balances
            if balance.part_id in serving[part_id] and balance.earmark_id == earmark_id
        )
        kept[part_id] += max(0, pieces - own)
    return dict(kept)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartThere:
    """How one part of a plan stands, in pieces.

    ``free_now`` is what this vehicle could have today, others' pieces taken off.
    ``earliest`` is the first day on which all of ``wanted`` can be promised; None when
    no delivery on its way brings them. ``others_free``: numbers beside ``part`` that
    serve and of which pieces are free, counted in ``free_now``.
    """

    part: Part
    wanted: int
    free_now: int
    kept: int
    earliest: dt.date | None
    others_free: tuple[tuple[Part, int], ...] = ()

    @property
    def is_here(self) -> bool:
        """Tell whether all wanted pieces can be had today."""
        return self.free_now >= self.wanted


@dataclass(frozen=True, slots=True, kw_only=True)
class Availability:
    """How the parts of one plan stand together."""

    parts: tuple[PartThere, ...]
    today: dt.date

    @property
    def is_here(self) -> bool:
        """Tell whether everything can be had today."""
        return all(one.is_here for one in self.parts)

    @property
    def earliest(self) -> dt.date | None:
        """Give the first day on which everything can be promised, or None."""
        days = [one.earliest for one in self.parts]
        if None in days:
            return None
        return max((day for day in days if day is not None), default=self.today)

    @property
    def missing(self) -> tuple[PartThere, ...]:
        """Give the parts that are not here today."""
        return tuple(one for one in self.parts if not one.is_here)


def availability(
    needs: Mapping[Part, int],
    *,
    campaign: Campaign | None,
    stock: StockOf,
    kept: Mapping[int, int],
    today: dt.date,
) -> Availability:
    """Tell from when the parts of one vehicle can be promised.

    Never more than the promise line allows after what is ``kept`` for others.
    """
    earmarks = earmarks_of(campaign) if campaign else [None]
    ids = {one.pk if one else None for one in earmarks}
    found = []
    for part, wanted in needs.items():
        numbers = numbers_of(needs, part)
        together = draw_together(stock, numbers=numbers, earmark_ids=ids, today=today)
        others = kept.get(numbers[-1].pk, 0)
        barred = all(one.recalled for one in numbers)
        found.append(
            PartThere(
                part=part if part in numbers else numbers[-1],
                wanted=wanted,
                free_now=0 if barred else max(0, together.free_now - others),
                kept=others,
                earliest=None if barred else together.earliest(wanted + others),
                others_free=tuple(
                    (one.part, one.free_now)
                    for one in together.pictures
                    if one.part != part and one.free_now and not barred
                ),
            )
        )
    return Availability(parts=tuple(found), today=today)
