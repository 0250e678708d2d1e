"""Telling whoever brings a vehicle what is open on it, and keeping that it was done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from campaigns.models import CampaignVehicle, NoticeGiven
from campaigns.rules.lifecycle import STILL_OPEN, CampaignState, ToldHow
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.once import once


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember
    from vehicles.models import Vehicle


class NothingToTell(Refusal):
    """No campaign is open on the vehicle."""

    def __init__(self, vin: str) -> None:
        super().__init__(
            _("No campaign is open on vehicle %(vin)s, so there is nothing to tell.")
            % {"vin": vin}
        )
        self.vin = vin


def give_notice(
    *, key: str, vehicle: Vehicle, how: ToldHow, by: StaffMember, at: dt.datetime
) -> NoticeGiven:
    """Keep that whoever brought the vehicle was told of every open campaign.

    The same ``key`` again gives the first entry. Raises NothingToTell.
    """

    def act() -> NoticeGiven:
        rows = CampaignVehicle.objects.filter(
            vehicle=vehicle, work_state__in=STILL_OPEN
        ).exclude(campaign__state=CampaignState.DRAFT)
        codes = sorted(rows.values_list("campaign__code", flat=True))
        if not codes:
            raise NothingToTell(vehicle.vin)
        notice = NoticeGiven.objects.create(
            key=key,
            store=vehicle.store,
            vehicle=vehicle,
            campaigns=codes,
            how=how,
            by=by,
            at=at,
        )
        record(
            act="notice.given",
            subject=notice,
            by=by,
            at=at,
            store=vehicle.store,
            after={"vehicle": vehicle.pk, "campaigns": codes, "how": how.value},
        )
        return notice

    return once(found=lambda: NoticeGiven.objects.filter(key=key).first(), act=act)
