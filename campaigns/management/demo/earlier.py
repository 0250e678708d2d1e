"""Campaigns that ended before this house kept books: only how owners came is known."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from campaigns.domain.announcing import CampaignFacts, enter_campaign
from campaigns.domain.remedies_entry import save_line, save_variant
from campaigns.domain.replaying import replay_store
from campaigns.management.demo.opening import moment
from campaigns.management.demo.scenario import MAKER
from campaigns.models import ClosedResponse, Variant, VariantPart
from campaigns.rules.lifecycle import CampaignClass, CampaignState, Payer
from inventory.forecasting.response import ResponseCurve, reminder_strength
from inventory.forecasting.takeup import cold_start_curve


if TYPE_CHECKING:
    from random import Random

    from campaigns.management.demo.fleet import Cast
    from dealership.models import Store

ENDS_AFTER = 455
"""Days from the letters to the end of each of them."""

TAKEN_OVER = (
    "Taken over from the files that were kept before: only how owners came is known."
)
_LEAVES_A_DAY = 0.0004


class Earlier(NamedTuple):
    """An earlier campaign: days are counted back from today, ``pace`` from the usual."""

    code: str
    number: str
    title: str
    campaign_class: CampaignClass
    part: str
    letters: int
    vehicles: int
    pace: float
    reminder: int


EARLIER = (
    Earlier(
        "SR-23-02", "VX-C311", "Wiper arm nut", CampaignClass.SAFETY,
        "VX-41720-A", 1_240, 96, 1.15, 140,
    ),
    Earlier(
        "SR-23-05", "VX-C327", "Rear lamp socket", CampaignClass.SAFETY,
        "VX-77105", 1_010, 150, 0.85, 168,
    ),
    Earlier(
        "SR-24-01", "VX-C340", "Tow eye thread", CampaignClass.SAFETY,
        "VX-60412", 900, 70, 1.3, 126,
    ),
    Earlier(
        "CS-24-03", "VX-S208", "Glove box hinge", CampaignClass.SATISFACTION,
        "VX-60412", 760, 120, 0.7, 182,
    ),
    Earlier(
        "SR-24-06", "VX-C366", "Fuel door hinge", CampaignClass.SAFETY,
        "VX-52031", 610, 132, 1.0, 154,
    ),
)  # fmt: skip


def take_over(*, random: Random, cast: Cast, today: dt.date) -> None:
    """Enter them as closed, each with how it ran at each store."""
    for one in EARLIER:
        _enter(one, random=random, cast=cast, today=today)


def replay_first_store(*, cast: Cast, today: dt.date) -> None:
    """Have the first store's closed campaigns played again this morning."""
    store = next(iter(cast.stores.values()))
    replay_store(store=store, by=cast.staff["parts"], at=moment(today, 6))


def _enter(one: Earlier, *, random: Random, cast: Cast, today: dt.date) -> None:
    letters = today - dt.timedelta(days=one.letters)
    announced = letters - dt.timedelta(days=21)
    closed = letters + dt.timedelta(days=ENDS_AFTER)
    by, at = cast.staff["service"], moment(announced)
    campaign = enter_campaign(
        code=one.code,
        facts=CampaignFacts(
            maker=MAKER,
            maker_number=one.number,
            title=one.title,
            campaign_class=one.campaign_class,
            bulletin=TAKEN_OVER,
            announced_on=announced,
            parts_available_on=announced + dt.timedelta(days=8),
            letters_on=letters,
            returns_until=letters + dt.timedelta(days=280),
            restocking_basis_points=1_500,
        ),
        supplier=cast.supplier,
        by=by,
        at=at,
    )
    variant = save_variant(
        campaign=campaign,
        variant=Variant(code="A", title=one.title, position=1),
        conditions=[],
        by=by,
        at=at,
    )
    line = VariantPart(
        part=cast.parts[one.part],
        quantity=1,
        share_basis_points=10_000,
        payer=Payer.MANUFACTURER,
    )
    save_line(variant=variant, line=line, by=by, at=at)
    campaign.state, campaign.closed_at = CampaignState.CLOSED, moment(closed)
    campaign.save(update_fields=["state", "closed_at"])
    ClosedResponse.objects.bulk_create(
        ClosedResponse(
            campaign=campaign,
            store=store,
            seen=_course(one, _vehicles(one, store), random),
            made_at=moment(closed),
        )
        for store in cast.stores.values()
    )


def _vehicles(one: Earlier, store: Store) -> int:
    """Give a store its share of the vehicles: half at the largest."""
    return max(12, round(one.vehicles * (0.5 if store.code == "EMR" else 0.25)))


def _course(
    one: Earlier, vehicles: int, random: Random
) -> list[list[int | bool | list[int]]]:
    """Draw when each owner came, day by day, from the built-in curve at this pace."""
    first = cold_start_curve(0.72)
    curve = ResponseCurve(first=first, reminder=reminder_strength(first))
    days = range(ENDS_AFTER + 1)
    letters = (0.0, one.reminder / 7)
    risen = [one.pace * curve.hazard(letters, 0, day / 7) for day in days]
    groups: Counter[tuple[int, bool]] = Counter()
    for _vehicle in range(vehicles):
        drawn = -math.log(1 - random.random())
        comes = next((day for day in days if risen[day] > drawn), None)
        leaves = int(-math.log(1 - random.random()) / _LEAVES_A_DAY)
        if comes is not None and comes <= leaves:
            groups[comes, True] += 1
        else:
            groups[min(leaves, ENDS_AFTER), False] += 1
    return [
        [n, [0, one.reminder] if until > one.reminder else [0], until, asked]
        for (until, asked), n in sorted(groups.items())
    ]
