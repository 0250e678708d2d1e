"""Holding the parts of a day's appointments at one press."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from campaigns.domain.booking import book_visit
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from campaigns.models import CampaignVehicle, Visit
    from dealership.models import StaffMember, Store
    from vehicles.models import Vehicle


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One vehicle of the list, the campaigns to hold parts for, and when it comes."""

    vehicle: Vehicle
    rows: Sequence[CampaignVehicle]
    hour: dt.time | None = None
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What came of it: the visits booked, and each vehicle refused with the reason."""

    visits: tuple[Visit, ...]
    refused: tuple[tuple[Vehicle, str], ...]


def hold_appointments(
    *,
    key: str,
    store: Store,
    day: dt.date,
    wanted: Sequence[Wanted],
    by: StaffMember,
    at: dt.datetime,
    today: dt.date,
) -> Held:
    """Book each vehicle for the day and hold the parts of its campaigns.

    Each vehicle stands alone: all parts of all its campaigns or none, and one that is
    refused, because somebody else took the last piece a moment ago, keeps nobody else
    from theirs. The appointments are agreed already, so a day whose hours are used up
    is booked over; the page warns of it. The same ``key`` again gives the same visits.
    """
    visits, refused = [], []
    for one in wanted:
        try:
            visit = book_visit(
                key=f"{key}/{one.vehicle.pk}",
                vehicle=one.vehicle,
                store=store,
                on=day,
                jobs=one.rows,
                hour=one.hour,
                who=one.who,
                over_hours=True,
                by=by,
                at=at,
                today=today,
            )
        except Refusal as refusal:
            refused.append((one.vehicle, refusal.sentence))
        else:
            visits.append(visit)
    return Held(visits=tuple(visits), refused=tuple(refused))
