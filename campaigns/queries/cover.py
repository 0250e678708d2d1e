"""Whether a campaign covers the vehicle of a repair, and so who pays."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone

from campaigns.queries.remedies import limits_of
from campaigns.rules.eligibility import Cover, Verdict, judge_eligibility
from campaigns.rules.lifecycle import Payer


if TYPE_CHECKING:
    from campaigns.models import Repair

SCHEDULED = Verdict(cover=Cover.PAST_LIMIT, reasons=(), payer=Payer.CUSTOMER)
"""A scheduled item is always the customer's."""


def repair_cover(repair: Repair, *, odometer_miles: int | None = None) -> Verdict:
    """Judge the cover of a repair as of the day it was opened.

    A scheduled item is always the customer's. ``odometer_miles`` is the reading of
    this repair, else the vehicle's last one.
    """
    if repair.campaign_vehicle is None:
        return SCHEDULED
    return judge_eligibility(
        limits_of(repair.campaign_vehicle.campaign),
        on=timezone.localdate(repair.opened_at),
        odometer_miles=(
            repair.vehicle.odometer if odometer_miles is None else odometer_miles
        ),
        first_used_on=repair.vehicle.first_use_date,
    )
