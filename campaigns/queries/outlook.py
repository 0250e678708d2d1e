"""What the days and weeks to come may bring, worked out when somebody looks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q

from campaigns.models import Campaign
from campaigns.queries.curve import curve_of
from campaigns.queries.demand import wanted_of
from campaigns.queries.experience import experience_for
from campaigns.queries.positions import cases_of, read_house
from campaigns.queries.reports import curve_words, points_of
from campaigns.queries.uses import whole_campaign
from campaigns.rules.lifecycle import STILL_OPEN
from inventory.forecasting.demand import campaign_demand
from inventory.forecasting.distribution import Demand


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

    from dealership.models import Store
    from inventory.forecasting.proposal import PartPosition
    from inventory.models import Part

FAN_WEEKS = (1, 2, 3, 4, 6, 8, 10, 13, 16, 20, 26)
"""Weeks from today for which the fan of a campaign is worked out."""

_OUTCOMES = {"lowest": 0.10, "low": 0.25, "y": 0.50, "high": 0.75, "highest": 0.90}


def position_of(*, part: Part, store: Store, today: dt.date) -> PartPosition | None:
    """Give the facts about one part at one store now; None where there are none."""
    house = read_house()
    cases = cases_of(house=house, stores=[store], today=today)
    found = cases.get((store.pk, house.counts_as(part.pk)))
    return found.position if found else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How a campaign has run at a store, and what may come: a picture's figures."""

    code: str
    points: list[dict[str, Any]]
    last_week: float
    fan: list[dict[str, float]]
    said: str


def course_so_far(
    codes: Collection[str], *, store: Store, today: dt.date
) -> Course | None:
    """Give the course of the one of these campaigns with most open vehicles here.

    None where none of them has a vehicle in the store.
    """
    campaign = (
        Campaign.objects.filter(code__in=codes)
        .annotate(
            still_open=Count(
                "vehicles",
                filter=Q(vehicles__store=store, vehicles__work_state__in=STILL_OPEN),
            )
        )
        .filter(still_open__gt=0)
        .order_by("-still_open", "code")
        .first()
    )
    if campaign is None:
        return None
    curve = curve_of(campaign=campaign, store=store, as_of=today)
    points = points_of(curve)
    figures = {"watched": curve.watched}
    return Course(
        code=campaign.code,
        points=points,
        last_week=curve.last_week,
        fan=fan_of(
            campaign,
            store=store,
            today=today,
            week=max(curve.last_week, 1.0),
            completed=points[-1]["completed"] if points else 0.0,
        ),
        said=curve_words(figures, points),
    )


def fan_of(
    campaign: Campaign,
    *,
    store: Store,
    today: dt.date,
    week: float,
    completed: float,
) -> list[dict[str, float]]:
    """Forecast the completion curve from its end: half of the outcomes, and 8 of 10.

    ``week`` and ``completed`` are where the curve stands today. Empty where nobody is
    expected any more.
    """
    house = read_house()
    remedy = house.remedies.get(campaign.pk)
    if campaign.pk not in house.campaigns or remedy is None:
        return []
    cell = store.pk, campaign.pk
    wanted = wanted_of(
        campaigns=[campaign],
        remedies={campaign.pk: remedy},
        store_ids=[store.pk],
        today=today,
    )
    known = experience_for(
        house.experience, store_id=store.pk, campaign_class=campaign.campaign_class
    )
    found = whole_campaign(campaign, wanted, cell=cell, today=today, experience=known)
    if found is None or found.use is None:
        return []
    use, surely = found.use, found.waiting + found.in_work
    still_open = use.open_vehicles + surely
    fan = [{"x": week, **dict.fromkeys(_OUTCOMES, completed)}]
    for weeks in FAN_WEEKS:
        forecast = campaign_demand(
            use, today=today, days=weeks * 7, error=use.errors.rest
        )
        comes = forecast.total.plus(Demand.certain(surely))
        point = {
            name: completed + (1 - completed) * comes.level(share) / still_open
            for name, share in _OUTCOMES.items()
        }
        fan.append(
            {
                "x": round(week + weeks, 4),
                **{name: round(min(1.0, one), 6) for name, one in point.items()},
            }
        )
    return fan
