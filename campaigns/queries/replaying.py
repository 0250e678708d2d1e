"""What a replay of a store's closed campaigns needs, and what was known on which day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db.models import Avg
from django.utils import timezone

from campaigns.models import CampaignVehicle, ClosedResponse, StoreReplay
from campaigns.queries.experience import LATEST, seen_of
from campaigns.queries.remedies import ALL, load_remedies
from campaigns.queries.uses import takers_of
from campaigns.rules.lifecycle import CampaignState
from dealership.rules.money import share_of_basis_points
from inventory.forecasting.reorder import CostTerms
from inventory.forecasting.replay import Conditions
from inventory.forecasting.response import (
    FEWEST_FOR_A_CURVE,
    ClosedCampaign,
    built_in,
    learn,
)
from inventory.models import Part


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from campaigns.models import Campaign, Remedy
    from dealership.models import Store
    from inventory.forecasting.response import Experience


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """One closed campaign at one store, with the day on which it was closed."""

    campaign: Campaign
    store_id: int
    closed_on: dt.date
    course: ClosedCampaign


@dataclass(slots=True)
class Taught:
    """What closed campaigns taught by a day, each set fitted once."""

    rows: list[Closed]
    _fitted: dict[tuple[int, ...], Experience] = field(default_factory=dict)

    def by(
        self,
        day: dt.date,
        *,
        store_id: int,
        campaign: Campaign,
        age_years: float | None,
    ) -> Experience:
        """Give what was known on a day: own store before group, own class before all."""
        known = [place for place, one in enumerate(self.rows) if one.closed_on <= day]
        return self._nearest(known, store_id, campaign, age_years)

    def from_others(
        self, *, store_id: int, campaign: Campaign, age_years: float | None
    ) -> Experience:
        """Give what all other campaigns teach, closed before it or not."""
        others = [
            place
            for place, one in enumerate(self.rows)
            if one.campaign.pk != campaign.pk
        ]
        return self._nearest(others, store_id, campaign, age_years)

    def _nearest(
        self,
        places: list[int],
        store_id: int,
        campaign: Campaign,
        age_years: float | None,
    ) -> Experience:
        own = [place for place in places if self.rows[place].store_id == store_id]
        for some in (own, places):
            alike = [
                place
                for place in some
                if self.rows[place].campaign.campaign_class == campaign.campaign_class
            ]
            for found in (alike, some):
                if len({self.rows[one].campaign.pk for one in found}) >= (
                    FEWEST_FOR_A_CURVE
                ):
                    return self._fit(tuple(found[-LATEST:]))
        return built_in(age_years)

    def _fit(self, places: tuple[int, ...]) -> Experience:
        if places not in self._fitted:
            self._fitted[places] = learn([self.rows[one].course for one in places])
        return self._fitted[places]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToReplay:
    """One closed campaign of the store, ready to be played again."""

    closed: Closed
    conditions: Conditions
    start: dt.date
    age_years: float | None

    def known(self, taught: Taught) -> Callable[[int], Experience]:
        """Give what was known on a day of the campaign, counted from its start."""
        return lambda day: taught.by(
            self.start + dt.timedelta(days=day),
            store_id=self.closed.store_id,
            campaign=self.closed.campaign,
            age_years=self.age_years,
        )

    def others(self, taught: Taught) -> Callable[[int], Experience]:
        """Give what all other campaigns teach, whatever the day."""
        found = taught.from_others(
            store_id=self.closed.store_id,
            campaign=self.closed.campaign,
            age_years=self.age_years,
        )
        return lambda _day: found


def closed_rows() -> list[Closed]:
    """Give the closed campaigns of all stores; the latest closed come last."""
    rows = (
        ClosedResponse.objects.filter(
            campaign__state=CampaignState.CLOSED, campaign__closed_at__isnull=False
        )
        .select_related("campaign")
        .order_by("campaign__closed_at", "campaign", "store")
    )
    found = []
    for row in rows:
        assert row.campaign.closed_at is not None, "asked for above"
        course = ClosedCampaign(label=row.campaign.code, seen=seen_of(row.seen))
        if any(one.stints() for one in course.seen):
            found.append(
                Closed(
                    campaign=row.campaign,
                    store_id=row.store_id,
                    closed_on=timezone.localdate(row.campaign.closed_at),
                    course=course,
                )
            )
    return found


def to_replay(store: Store, rows: Iterable[Closed]) -> list[ToReplay]:
    """Give the store's own closed campaigns with the conditions of their kits."""
    mine = [one for one in rows if one.store_id == store.pk]
    ids = [one.campaign.pk for one in mine]
    remedies = {pk: one for (_kind, pk), one in load_remedies(campaign_ids=ids).items()}
    parts = Part.objects.in_bulk()
    years = _model_years(store, ids)
    found = []
    for one in mine:
        campaign = one.campaign
        start = campaign.letters_on or campaign.announced_on
        year = years.get(campaign.pk)
        found.append(
            ToReplay(
                closed=one,
                conditions=conditions_of(
                    store, campaign, remedies.get(campaign.pk), parts, start
                ),
                start=start,
                age_years=None if year is None else start.year - year,
            )
        )
    return found


def conditions_of(
    store: Store,
    campaign: Campaign,
    remedy: Remedy | None,
    parts: Mapping[int, Part],
    start: dt.date,
) -> Conditions:
    """Give price, lead time and pack of one kit: what a vehicle takes on average.

    The longest lead time of its parts counts; a pack counts where the kit is one piece
    of one part. Without parts nothing costs anything.
    """
    takers = takers_of(remedy) if remedy is not None else {}
    pieces = {part_id: _mean_pieces(remedy, part_id) for part_id in takers}
    cents = sum(parts[pk].unit_cost_cents * mean for pk, mean in pieces.items())
    single = [parts[pk] for pk, mean in pieces.items() if mean == 1]
    back = campaign.returns_until
    return Conditions(
        unit_cost_cents=round(cents),
        lead_days=max((parts[pk].lead_days for pk in pieces), default=0),
        review_days=store.review_days,
        pack=single[0].pack if len(single) == len(pieces) == 1 else 1,
        cost_terms=_cost_terms(store),
        yearly_holding=share_of_basis_points(
            max((parts[pk].annual_holding_basis_points for pk in pieces), default=0)
        ),
        returns_day=(back - start).days if back is not None else None,
        restocking=share_of_basis_points(campaign.restocking_basis_points),
        freight_cents=store.return_freight_cents,
        service_limit=store.service_limit_basis_points / ALL,
        first_day=min(0, (campaign.announced_on - start).days),
    )


def _mean_pieces(remedy: Remedy | None, part_id: int) -> float:
    """Give the pieces of a part that a vehicle takes, on average over the variants."""
    variants = list(remedy.variants.all()) if remedy is not None else []
    total = sum(
        line.quantity * line.share_basis_points / ALL
        for one in variants
        for line in one.parts.all()
        if line.part_id == part_id
    )
    return total / len(variants)


def _cost_terms(store: Store) -> CostTerms | None:
    """Give what the store says of its costs; None where it has not."""
    margin, visit = store.labour_margin_cents, store.second_visit_cents
    if margin is None or visit is None or margin + visit == 0:
        return None
    return CostTerms(
        labour_margin_cents=margin,
        second_visit_cents=visit,
        lost_share=share_of_basis_points(store.lost_share_basis_points),
        handling=share_of_basis_points(store.parts_handling_basis_points),
    )


def _model_years(store: Store, campaign_ids: list[int]) -> dict[int, float]:
    """Give the mean model year of the vehicles of each campaign at a store."""
    told: Any = (
        CampaignVehicle.objects.filter(
            store=store,
            campaign__in=campaign_ids,
            vehicle__model_year__isnull=False,
        )
        .order_by()
        .values_list("campaign_id")
        .annotate(mean=Avg("vehicle__model_year"))
    )
    return dict(told)


def latest_replay(store: Store) -> StoreReplay | None:
    """Give the store's replay, none where none was made yet."""
    return StoreReplay.objects.filter(store=store).select_related("by").first()


def closed_since(store: Store, at: dt.datetime | None) -> int:
    """Count the store's campaigns that can be replayed and were closed after a moment."""
    rows = ClosedResponse.objects.filter(
        store=store, campaign__state=CampaignState.CLOSED
    )
    if at is not None:
        rows = rows.filter(made_at__gt=at)
    return rows.count()
