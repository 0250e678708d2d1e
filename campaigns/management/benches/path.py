"""The whole way of a list: staged, applied, matched with a campaign, taken into it.

Two campaigns are matched: one that concerns about every fifth vehicle, as a campaign
for two model years does, and afterwards one that concerns them all, which is the most
that can come. Only the first counts in the seconds of the whole.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone

from campaigns.domain.amending import save_criterion
from campaigns.domain.announcing import CampaignFacts, enter_campaign
from campaigns.domain.applying import ask_apply
from campaigns.domain.matching import ask_match
from campaigns.management.benches import imports
from campaigns.management.benches.measuring import (
    Result,
    Watch,
    seconds_of,
    throw_away_house,
    watched,
)
from campaigns.models import CampaignVehicle, Criterion
from campaigns.rules.lifecycle import CampaignClass
from dealership.domain.jobs import load_handlers
from inventory.models import Supplier


if TYPE_CHECKING:
    from collections.abc import Sequence

    from campaigns.models import CriteriaVersion
    from dealership.models import StaffMember, Store

ROWS = {"small": 2_000, "full": 100_000}
_FEW_YEARS = (2019, 2022)
_ALL_YEARS = tuple(range(2015, 2025))


def run(size: str) -> Result:
    """Measure each step of the way by itself."""
    rows = ROWS[size]
    load_handlers()  # what a worker has loaded long since is not measured
    with throw_away_house() as folder:
        path = folder / "list.csv"
        imports.write_list(path, rows)
        yardstick = seconds_of(lambda: imports.bare(path))
        staged = []
        steps = {"stage": watched(lambda: staged.append(imports.stage(path)))}
        ((vehicle_list, by),) = staged
        steps["apply"] = watched(lambda: imports.apply(vehicle_list, by))
        store = vehicle_list.store
        few = _criteria("B1", _FEW_YEARS, by, store)
        steps["match"], steps["take_in"] = _take_in(few, by, store)
        counted = sum(watch.seconds for watch in steps.values())
        every = _criteria("B2", _ALL_YEARS, by, store)
        steps["match_all"], steps["take_in_all"] = _take_in(every, by, store)
        assert 0 < _population(few) < _population(every) / 3
    return Result(
        name="path",
        size=size,
        items=rows,
        seconds=counted,
        yardsticks={imports.yardstick_name(): yardstick},
        steps=steps,
    )


def _take_in(version: CriteriaVersion, by: StaffMember, store: Store) -> list[Watch]:
    """Match a campaign and take its vehicles in; gives what each of the two took."""
    matched = watched(lambda: imports.work(version))
    ask_apply(version=version, why="First match", store=store, by=by, at=timezone.now())
    return [matched, watched(lambda: imports.work(version))]


def _population(version: CriteriaVersion) -> int:
    return CampaignVehicle.objects.filter(campaign=version.campaign_id).count()


def _criteria(
    code: str, years: Sequence[int], by: StaffMember, store: Store
) -> CriteriaVersion:
    """Write a campaign for some model years, and ask for its match."""
    at = timezone.now()
    campaign = enter_campaign(
        code=code,
        facts=CampaignFacts(
            maker="Ostby Works",
            maker_number=f"OW26-{code}",
            title="Seat rail bolts",
            campaign_class=CampaignClass.SAFETY,
            announced_on=timezone.localdate(at),
        ),
        supplier=Supplier.objects.get_or_create(
            code="OW", defaults={"name": "Ostby Works"}
        )[0],
        by=by,
        at=at,
    )
    criterion = Criterion(
        model_years=list(years), lines=["Corvane", "Tarn Cross", "Helix", "Morrow"]
    )
    save_criterion(campaign=campaign, criterion=criterion, by=by, at=at)
    return ask_match(campaign=campaign, store=store, by=by, at=at)
