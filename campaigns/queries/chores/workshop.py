"""What waits for the technician."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _

from campaigns.models import CheckReading, Repair, VisitJob
from campaigns.queries.chores.row import MOST, Chore, Kind, Target, listed
from campaigns.rules.lifecycle import ReadingResult, RepairState, VisitState


if TYPE_CHECKING:
    import datetime as dt

    from django.db.models import QuerySet

    from dealership.models import Store

_ALL_REPAIRS = Target(name="campaigns:repairs")


def _repeats(store: Store) -> QuerySet[CheckReading]:
    """Give the latest readings that ask for a repeat, in repairs still open."""
    later = CheckReading.objects.filter(
        repair=OuterRef("repair"),
        check_of=OuterRef("check_of"),
        attempt__gt=OuterRef("attempt"),
    )
    return CheckReading.objects.filter(
        repair__store=store,
        repair__state=RepairState.OPEN,
        result=ReadingResult.REPEAT,
    ).exclude(Exists(later))


def repeats(*, store: Store, today: dt.date) -> Kind:
    """Give the checks that were out of their limits and are to be measured again."""
    del today
    found = (
        _repeats(store)
        .select_related("repair__vehicle", "check_of")
        .order_by("recorded_at", "pk")
    )

    def write(one: CheckReading) -> Chore:
        return Chore(
            kind="repeat",
            reason=_("Measure again: %(check)s was %(value)s %(unit)s")
            % {
                "check": one.check_of.title,
                "value": f"{one.value.normalize():f}",
                "unit": one.unit,
            },
            about=_("%(order)s, %(vin)s")
            % {"order": one.repair.repair_order, "vin": one.repair.vehicle.vin},
            detail=_("attempt %(n)d of %(all)d")
            % {"n": one.attempt, "all": one.check_of.attempts},
            act=_("Measure"),
            target=Target(name="campaigns:repair", args=(one.repair_id,)),
            tone="bad",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_REPAIRS, full_words=_("All repairs")
    )


def open_repairs(*, store: Store, today: dt.date) -> Kind:
    """Give the repairs in the workshop; one with a check to repeat stands there."""
    del today
    found = (
        Repair.objects.in_store(store)
        .filter(state=RepairState.OPEN)
        .exclude(pk__in=_repeats(store).values("repair"))
        .select_related("vehicle", "variant", "technician")
        .order_by("opened_at", "pk")
    )

    def write(one: Repair) -> Chore:
        return Chore(
            kind="repair",
            reason=_("In the workshop: %(work)s") % {"work": one.variant.title},
            about=_("%(order)s, %(vin)s")
            % {"order": one.repair_order, "vin": one.vehicle.vin},
            detail=str(one.technician) if one.technician else "",
            act=_("Go on"),
            target=Target(name="campaigns:repair", args=(one.pk,)),
            tone="open",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_REPAIRS, full_words=_("All repairs")
    )


def arrived(*, store: Store, today: dt.date) -> Kind:
    """Give the jobs of vehicles that are here and not begun."""
    del today
    found = (
        VisitJob.objects.filter(
            visit__store=store,
            visit__state=VisitState.ARRIVED,
            live=True,
            repair__isnull=True,
        )
        .select_related(
            "visit__vehicle", "variant", "campaign_vehicle__campaign", "scheduled_item"
        )
        .order_by("visit__on", "visit__at", "pk")
    )

    def write(one: VisitJob) -> Chore:
        row, item = one.campaign_vehicle, one.scheduled_item
        code = row.campaign.code if row else item.code if item else ""
        vehicle = one.visit.vehicle
        return Chore(
            kind="arrived",
            reason=_("Here and not begun: %(work)s") % {"work": one.variant.title},
            about=f"{vehicle.vin} {vehicle.line}",
            detail=code,
            deadline=one.visit.on,
            act=_("Begin"),
            target=Target(name="campaigns:open_repair", query=f"visit_job={one.pk}"),
            tone="act",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="campaigns:visits"),
        full_words=_("All visits"),
    )
