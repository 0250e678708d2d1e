"""What was told at the counter, and what a paper about it says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from campaigns.models import Campaign, CampaignVehicle, NoticeGiven
from campaigns.queries.remedies import eligibility_of
from campaigns.rules.eligibility import Cover
from campaigns.rules.lifecycle import CampaignClass, WorkState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from campaigns.models import Repair
    from dealership.models import StaffMember
    from vehicles.models import Vehicle

CORRECTED = frozenset({WorkState.REMEDIED_HERE, WorkState.INSPECTED_CLEAR})
"""States of which a proof can be printed: the work was done, or was not needed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One campaign of a notice, and whether the work is free on that day."""

    campaign: Campaign
    is_safety: bool
    is_free: bool


def notices_of(
    vehicle: Vehicle, *, staff: StaffMember, limit: int = 10
) -> list[NoticeGiven]:
    """Give what was told about a vehicle, the latest first."""
    rows = NoticeGiven.objects.for_staff(staff).filter(vehicle=vehicle)
    return list(rows.select_related("by")[:limit])


def told_in(notice: NoticeGiven, *, today: dt.date) -> list[Told]:
    """Give the campaigns of a notice, safety first, as they were told."""
    rows: Sequence[CampaignVehicle] = list(
        CampaignVehicle.objects.filter(
            vehicle=notice.vehicle_id, campaign__code__in=notice.campaigns
        )
        .select_related("campaign", "vehicle")
        .order_by("campaign__announced_on", "campaign__code")
    )
    found = [
        Told(
            campaign=row.campaign,
            is_safety=row.campaign.campaign_class == CampaignClass.SAFETY,
            is_free=eligibility_of(row, today).cover is Cover.COVERED,
        )
        for row in rows
    ]
    return sorted(found, key=lambda one: not one.is_safety)


def can_be_proven(repair: Repair) -> bool:
    """Tell whether a proof of correction may be printed for a repair.

    Only while the vehicle's state still says so: a remedy that was taken back later
    proves nothing.
    """
    row = repair.campaign_vehicle
    return (
        row is not None
        and row.work_state in CORRECTED
        and repair.outcome in {"remedied", "inspected_clear"}
        and repair.undone_at is None
    )
