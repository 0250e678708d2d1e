"""What applying a match would touch beside the population, said before it is done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import CharField, Count, Q, Sum, Value
from django.db.models.functions import Cast, Concat

from campaigns.models import Letter, Repair, VisitJob
from campaigns.rules.lifecycle import Change, RepairState, RoundState
from inventory.models import Reservation
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    from django.db.models import QuerySet

    from campaigns.models import CriteriaVersion

_NOT_POSTED = (RoundState.DRAWN_UP, RoundState.PRINTING, RoundState.PRINTED)


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces of one part that are promised or held for visits."""

    number: str
    name: str
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """What hangs on the vehicles of one kind of change, in all stores.

    ``visits`` are live bookings, ``pieces`` what is held or promised for them,
    ``repairs`` work under way, ``unposted`` and ``posted`` letters of this campaign.
    ``own`` counts vehicles of the stores' own stock.
    """

    change: Change
    vehicles: int
    visits: int
    pieces: tuple[Pieces, ...]
    repairs: int
    unposted: int
    posted: int
    own: int

    @property
    def touches(self) -> bool:
        """Tell whether anything at all hangs on these vehicles."""
        counted = (self.visits, self.repairs, self.unposted, self.posted, self.own)
        return any(counted) or bool(self.pieces)


def effects_of(version: CriteriaVersion) -> dict[str, Effects]:
    """Give by the change what applying would touch, for what goes out, waits, comes in.

    In a number of statements that does not depend on the vehicles.
    """
    changed = set(
        version.changes.order_by().values_list("change", flat=True).distinct()
    )
    return {
        change.value: _effects(version, change)
        for change in (Change.REMOVE, Change.TO_VERIFY, Change.ADD)
        if change.value in changed
    }


def _effects(version: CriteriaVersion, change: Change) -> Effects:
    changed = version.changes.filter(change=change)
    mine = Q(
        campaign_vehicle__campaign=version.campaign_id,
        campaign_vehicle__vehicle__in=changed.values("vehicle"),
    )
    jobs = VisitJob.objects.filter(mine, live=True)
    letters = Letter.objects.filter(mine).aggregate(
        unposted=Count("pk", filter=Q(letter_round__state__in=_NOT_POSTED)),
        posted=Count("pk", filter=Q(posted_on__isnull=False)),
    )
    counts = changed.aggregate(
        vehicles=Count("pk"),
        own=Count("pk", filter=~Q(vehicle__standing=Standing.CUSTOMER)),
    )
    return Effects(
        change=change,
        vehicles=counts["vehicles"],
        visits=jobs.values("visit").distinct().count(),
        pieces=_pieces(jobs.annotate(named=_SUBJECT).values("named")),
        repairs=Repair.objects.filter(mine, state=RepairState.OPEN).count(),
        unposted=letters["unposted"],
        posted=letters["posted"],
        own=counts["own"],
    )


_SUBJECT = Concat(Value("visit_job:"), Cast("pk", CharField()))


def _pieces(subjects: QuerySet[VisitJob, Any]) -> tuple[Pieces, ...]:
    rows = (
        Reservation.objects.live()
        .filter(subject__in=subjects)
        .order_by()
        .values("part__number", "part__name")
        .annotate(pieces=Sum("quantity"))
        .order_by("part__number")
    )
    return tuple(
        Pieces(row["part__number"], row["part__name"], row["pieces"]) for row in rows
    )
