"""What the days and weeks to come may bring, worked out when somebody looks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from campaigns.queries.demand import wanted_of
from campaigns.queries.experience import experience_for
from campaigns.queries.positions import cases_of, read_house
from campaigns.queries.uses import whole_campaign
from inventory.forecasting.demand import campaign_demand
from inventory.forecasting.distribution import Demand


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import Campaign
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
