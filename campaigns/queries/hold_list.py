"""The store's own vehicles that a campaign is open on, and whether they may go out."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, OuterRef, Subquery
from django.utils import timezone

from campaigns.models import CampaignVehicle, StockChange, StockCheck
from campaigns.queries.wording import HAND_OVER_WORDS
from campaigns.rules.deadlines import HandOver, HandOverVerdict, judge_hand_over
from campaigns.rules.hold_list import (
    STRICTEST_FIRST,
    Stand,
    changed,
    stand_of,
    strictest,
)
from campaigns.rules.lifecycle import CampaignClass, CampaignState, WorkState
from vehicles.models import Vehicle
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from campaigns.models import Campaign
    from dealership.models import StaffMember, Store

OWN_STOCK = (Standing.NEW, Standing.USED, Standing.RENTAL, Standing.LOANER)
RENTED = (Standing.RENTAL, Standing.LOANER)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenHere:
    """One campaign that is open on a vehicle of the store's own, and what follows."""

    row: CampaignVehicle
    verdict: HandOverVerdict

    @property
    def campaign(self) -> Campaign:
        """Give the campaign."""
        return self.row.campaign

    @property
    def is_strict(self) -> bool:
        """Tell whether this campaign is one that holds the vehicle back."""
        return self.verdict.verdict is HandOver.MUST_NOT

    @property
    def words(self) -> str:
        """Say whether the vehicle may go out, and why."""
        return str(HAND_OVER_WORDS[self.verdict.reason])


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """One vehicle of the list. ``hold_by``: from when a rental must stay, if it may go."""

    vehicle: Vehicle
    stand: Stand
    open_here: tuple[OpenHere, ...]

    @property
    def hold_by(self) -> dt.datetime | None:
        """Give the earliest instant from which a rental or loan car must stay."""
        times = [one.verdict.hold_by for one in self.open_here if one.verdict.hold_by]
        return min(times, default=None)

    @property
    def must_stay(self) -> bool:
        """Tell whether it must not go out now."""
        return self.stand is Stand.HOLD

    @property
    def planned_on(self) -> dt.date | None:
        """Give the earliest day that is set for its remedy."""
        days = [one.row.planned_on for one in self.open_here if one.row.planned_on]
        return min(days, default=None)


def rental_fleet(store: Store) -> int:
    """Count the store's vehicles that are rented or lent."""
    return Vehicle.objects.in_store(store).filter(standing__in=RENTED).count()


def in_notice(store: Store, campaign_ids: Collection[int]) -> dict[int, int]:
    """Count how many of the store's rental and loan cars each campaign covers."""
    rows = CampaignVehicle.objects.in_store(store).filter(
        campaign__in=campaign_ids, vehicle__standing__in=RENTED
    )
    counted = rows.order_by().values_list("campaign").annotate(n=Count("pk"))
    return dict(counted.values_list("campaign", "n"))


def hand_over_of(
    row: CampaignVehicle, *, fleet: int, covered: Mapping[int, int]
) -> HandOverVerdict:
    """Judge the hand-over; the notice is taken to come with the announcement."""
    noticed = dt.datetime.combine(row.campaign.announced_on, dt.time())
    return judge_hand_over(
        stands=Standing(row.vehicle.standing),
        work=WorkState(row.work_state),
        campaign_class=CampaignClass(row.campaign.campaign_class),
        stop_sale=row.campaign.stop_sale,
        noticed_at=timezone.make_aware(noticed),
        rental_fleet=fleet,
        vehicles_in_notice=covered.get(row.campaign_id, 0),
    )


def stock_lines(*, store: Store, now: dt.datetime) -> list[StockLine]:
    """Give the store's own vehicles with an open campaign, what must stay first.

    In at most three queries, whatever the number of vehicles.
    """
    rows = list(
        CampaignVehicle.objects.in_store(store)
        .still_open()
        .filter(vehicle__standing__in=OWN_STOCK)
        .exclude(campaign__state=CampaignState.DRAFT)
        .select_related("campaign", "vehicle")
        .order_by("campaign__announced_on", "campaign__code")
    )
    rented = [row for row in rows if Standing(row.vehicle.standing) in RENTED]
    fleet = rental_fleet(store) if rented else 0
    covered = in_notice(store, {row.campaign_id for row in rented}) if rented else {}
    by_vehicle: dict[int, list[OpenHere]] = defaultdict(list)
    for row in rows:
        verdict = hand_over_of(row, fleet=fleet, covered=covered)
        by_vehicle[row.vehicle_id].append(OpenHere(row=row, verdict=verdict))
    lines = [
        StockLine(
            vehicle=some[0].row.vehicle,
            stand=strictest(stand_of(one.verdict, now=now) for one in some),
            open_here=tuple(some),
        )
        for some in by_vehicle.values()
    ]
    return sorted(
        lines,
        key=lambda one: (
            STRICTEST_FIRST.index(one.stand),
            OWN_STOCK.index(Standing(one.vehicle.standing)),
            one.vehicle.vin_tail,
        ),
    )


def in_stock(store: Store) -> list[int]:
    """Give the ids of all vehicles of the store's own."""
    rows = Vehicle.objects.in_store(store).filter(standing__in=OWN_STOCK)
    return list(rows.order_by().values_list("pk", flat=True))


def last_stands(store: Store) -> dict[int, Stand]:
    """Give how each vehicle stood at the last check, as far as it is on the list."""
    latest = StockChange.objects.filter(
        check_of__store=store, vehicle=OuterRef("vehicle")
    ).order_by("-pk")
    rows = StockChange.objects.filter(
        check_of__store=store, pk=Subquery(latest.values("pk")[:1])
    ).exclude(after__in=[Stand.CLEAR, Stand.GONE])
    return {
        vehicle: Stand(after)
        for vehicle, after in rows.order_by("pk").values_list("vehicle", "after")
    }


def differences(
    *, store: Store, lines: Sequence[StockLine], stock: Collection[int]
) -> dict[int, tuple[Stand | None, Stand]]:
    """Give each vehicle that stands otherwise than at the last check."""
    now = {line.vehicle.pk: line.stand for line in lines}
    return changed(last_stands(store), now, stock)


def last_check(*, staff: StaffMember, store: Store) -> StockCheck | None:
    """Give the latest check of a store."""
    rows = StockCheck.objects.for_staff(staff).in_store(store)
    return rows.select_related("by").first()


def changes_of_day(
    *, staff: StaffMember, store: Store, day: dt.date
) -> list[StockChange]:
    """Give what the checks of a day found changed, the latest first.

    So it is what has changed since the day before. Nothing where the day has the
    store's first check, for then everything would be new.
    """
    checks = StockCheck.objects.for_staff(staff).in_store(store)
    if not checks.filter(on__lt=day).exists():
        return []
    return list(
        StockChange.objects.filter(check_of__in=checks.filter(on=day)).select_related(
            "vehicle", "check_of"
        )
    )
