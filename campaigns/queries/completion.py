"""How far a campaign is: exact counts, now or as of any day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import (
    Count,
    Exists,
    F,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
)
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from campaigns.models import CampaignVehicle, ReachFact, StateChange, VisitJob
from campaigns.rules.categories import Alike, Category, Completion, count_vehicles
from campaigns.rules.lifecycle import Reach, WorkState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping

    from campaigns.models import Campaign

Stretch = tuple[str, str, int, str]

_IN_WORK = (WorkState.OPEN, WorkState.NEEDS_REPAIR)


@dataclass(frozen=True, slots=True, kw_only=True)
class PopulationCounts:
    """The counts of one campaign, in vehicles.

    ``completion`` has the regulator's split. ``booked`` is a part of its open ones
    and is known for today only: as of a past day it is 0.
    """

    completion: Completion
    booked: int = 0
    as_of: dt.date | None = None

    @property
    def involved(self) -> int:
        """Give the population."""
        return self.completion.involved

    @property
    def remedied(self) -> int:
        """Give the vehicles inspected and repaired, here or elsewhere."""
        return self.completion.remedied

    @property
    def inspected_clear(self) -> int:
        """Give the vehicles inspected and found not to need repair."""
        return self.completion.inspected_clear

    @property
    def open_not_booked(self) -> int:
        """Give the open vehicles for which no visit is booked."""
        return self.completion.by_category[Category.OPEN] - self.booked

    @property
    def to_verify(self) -> int:
        """Give those to be verified, on the manufacturer's list or not."""
        return self.to_verify_involved + self.completion.to_verify_below_line

    @property
    def to_verify_involved(self) -> int:
        """Give those to be verified that are on the manufacturer's list."""
        return self.completion.by_category[Category.TO_VERIFY]

    @property
    def not_reachable(self) -> int:
        """Give the vehicles that cannot be reached, all reasons."""
        return self.completion.unreachable

    @property
    def disqualified(self) -> int:
        """Give the vehicles refused for poor maintenance or use."""
        return self.completion.disqualified

    @property
    def removed(self) -> int:
        """Give the vehicles taken out by an amendment; they are not involved."""
        return self.completion.removed

    @property
    def still_open(self) -> int:
        """Give all that still want work and can be reached, booked ones too."""
        by = self.completion.by_category
        return by[Category.OPEN] + by[Category.TO_VERIFY]

    @property
    def complete(self) -> int:
        """Give the vehicles on which the work is done."""
        return self.completion.complete

    @property
    def share_complete(self) -> float | None:
        """Give complete / involved, 0 to 1; None without vehicles."""
        return self.completion.share_of_all

    def stretches(self, urls: Mapping[str, str] | None = None) -> list[Stretch]:
        """Give what the population bar draws; the stretches add up to ``involved``.

        ``urls`` leads from a stretch to its rows, by key.
        """
        told = urls or {}
        last = (
            _("not reachable or disqualified")
            if self.disqualified
            else _("not reachable")
        )
        still_open: tuple[tuple[str, str, int], ...] = (
            ("booked", _("booked"), self.booked),
            ("open", _("open, not booked"), self.open_not_booked),
        )
        if self.as_of is not None:  # who was booked on a past day is not known
            still_open = (("open", _("open"), self.open_not_booked),)
        stretches = (
            ("remedied", _("remedied"), self.remedied),
            ("inspected_clear", _("inspected, no repair needed"), self.inspected_clear),
            *still_open,
            ("to_be_verified", _("to be verified"), self.to_verify_involved),
            ("not_reachable", last, self.not_reachable + self.disqualified),
        )
        return [(key, words, n, told.get(key, "")) for key, words, n in stretches]


def counts(
    *,
    campaign: Campaign,
    store_ids: Collection[int] | None,
    as_of: dt.date | None = None,
    known_at: dt.datetime | None = None,
) -> PopulationCounts:
    """Count the population of a campaign in these stores (None: in all).

    Without ``as_of``: as it stands now. With it: as of the end of that day, from the
    changes in force by then; ``known_at`` leaves out what was recorded later, so that
    an old report can be made again to the digit.
    """
    found = counts_of(
        campaign_ids=[campaign.pk],
        store_ids=store_ids,
        as_of=as_of,
        known_at=known_at,
    )
    return found[campaign.pk]


def counts_of(
    *,
    campaign_ids: Collection[int],
    store_ids: Collection[int] | None,
    as_of: dt.date | None = None,
    known_at: dt.datetime | None = None,
) -> dict[int, PopulationCounts]:
    """Count several campaigns at once; by campaign id."""
    if as_of is None:
        groups: Iterable[Mapping[str, Any]] = _live_groups(campaign_ids, store_ids)
        booked = _booked(campaign_ids, store_ids)
    else:
        groups = _past_groups(campaign_ids, store_ids, as_of, known_at)
        booked = {}
    alike: dict[int, list[Alike]] = {number: [] for number in campaign_ids}
    for group in groups:
        alike[group["campaign_id"]].append(
            Alike(
                work=WorkState(group["work"]),
                reach=Reach(group["reached"]),
                on_list=group["listed"],
                vehicles=group["vehicles"],
            )
        )
    return {
        number: PopulationCounts(
            completion=count_vehicles(rows), booked=booked.get(number, 0), as_of=as_of
        )
        for number, rows in alike.items()
    }


def _population(
    campaign_ids: Collection[int], store_ids: Collection[int] | None
) -> QuerySet[CampaignVehicle]:
    """Give the rows of these campaigns in these stores."""
    rows = CampaignVehicle.objects.filter(campaign__in=campaign_ids)
    return rows if store_ids is None else rows.filter(store__in=store_ids)


def _live_groups(
    campaign_ids: Collection[int], store_ids: Collection[int] | None
) -> Iterable[Mapping[str, Any]]:
    """Group the live rows by what their category is computed from."""
    return (
        _population(campaign_ids, store_ids)
        .order_by()
        .values(
            "campaign_id",
            work=F("work_state"),
            reached=F("reach"),
            listed=F("on_list"),
        )
        .annotate(vehicles=Count("pk"))
    )


def _past_groups(
    campaign_ids: Collection[int],
    store_ids: Collection[int] | None,
    as_of: dt.date,
    known_at: dt.datetime | None,
) -> Iterable[Mapping[str, Any]]:
    """Group the rows by what was in force on a day; one statement.

    Of the changes in force the one recorded last counts: the highest id, since ids
    are given in the order in which a vehicle's changes are written.
    """
    in_force = Q(effective_on__lte=as_of)
    if known_at is not None:
        in_force &= Q(recorded_at__lte=known_at)
    mine = _population(campaign_ids, store_ids).values("pk")
    last = (
        StateChange.objects.filter(in_force, campaign_vehicle__in=mine)
        .order_by()
        .values("campaign_vehicle")
        .annotate(last=Max("pk"))
        .values("last")
    )
    reached = (
        ReachFact.objects.filter(
            in_force, campaign_vehicle=OuterRef("campaign_vehicle_id")
        )
        .order_by("-pk")
        .values("reach")[:1]
    )
    return (
        StateChange.objects.filter(pk__in=last)
        .order_by()
        .annotate(
            campaign_id=F("campaign_vehicle__campaign_id"),
            reached=Coalesce(Subquery(reached), Value(Reach.REACHABLE.value)),
            listed=Coalesce(F("on_list"), F("campaign_vehicle__on_list")),
        )
        .values("campaign_id", "reached", "listed", work=F("after"))
        .annotate(vehicles=Count("pk"))
    )


def _booked(
    campaign_ids: Collection[int], store_ids: Collection[int] | None
) -> dict[int, int]:
    """Count the open vehicles for which a visit is booked, by campaign id."""
    rows = booked_rows(_population(campaign_ids, store_ids))
    return dict(
        rows.order_by()
        .values_list("campaign_id")
        .annotate(vehicles=Count("pk"))
        .values_list("campaign_id", "vehicles")
    )


def booked_rows(rows: QuerySet[CampaignVehicle]) -> QuerySet[CampaignVehicle]:
    """Keep the open, reachable vehicles that have a live booking."""
    return rows.filter(
        Exists(VisitJob.objects.filter(campaign_vehicle=OuterRef("pk"), live=True)),
        work_state__in=_IN_WORK,
        reach=Reach.REACHABLE,
    )
