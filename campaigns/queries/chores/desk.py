"""What waits for the service advisor."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import CharField, Exists, OuterRef, Value
from django.db.models.functions import Cast, Concat
from django.utils.translation import gettext as _

from campaigns.models import PartRequest, VariantPart, Visit, VisitJob
from campaigns.queries.chores.row import MOST, Chore, Kind, Target, listed
from campaigns.rules.lifecycle import (
    STILL_OPEN,
    RequestState,
    VisitState,
    WorkState,
)
from inventory.models import Reservation
from inventory.rules.accounts import ReservationState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from dealership.models import Store

MISSED_DAYS = 30
"""A missed visit is called up for so many days: common practice, no source."""

_ALL_VISITS = Target(name="campaigns:visits")


def visits(*, store: Store, today: dt.date) -> Kind:
    """Give the visits of today and tomorrow: what is done, and are the parts held."""
    found = list(
        Visit.objects.in_store(store)
        .filter(state=VisitState.BOOKED, on__range=(today, today + timedelta(days=1)))
        .select_related("vehicle")
        .order_by("on", "at", "pk")[: MOST + 1]
    )
    jobs = _jobs(found)
    missing = _not_on_shelf(job for some in jobs.values() for job in some)

    def write(one: Visit) -> Chore:
        mine = jobs.get(one.pk, [])
        short = sorted(
            number for job in mine for number in missing.get(job.subject, ())
        )
        return Chore(
            kind="visit",
            reason=_("Not on the shelf yet: %(parts)s") % {"parts": ", ".join(short)}
            if short
            else _("Expected; the parts are on the shelf"),
            about=" ".join(
                word
                for word in (
                    f"{one.at:%H:%M}" if one.at else "",
                    one.vehicle.vin,
                    one.vehicle.line,
                )
                if word
            ),
            detail=", ".join(_what(job) for job in mine),
            deadline=one.on,
            act=_("It is here") if one.on == today else _("Look it over"),
            target=Target(
                name="campaigns:visit_arrived"
                if one.on == today
                else "campaigns:visit",
                args=(one.pk,),
            ),
            tone="bad" if short else "wait",
            press=one.on == today,
        )

    return listed(found, write, full=_ALL_VISITS, full_words=_("All visits"))


def _jobs(found: Iterable[Visit]) -> dict[int, list[VisitJob]]:
    rows = VisitJob.objects.filter(visit__in=[one.pk for one in found]).select_related(
        "campaign_vehicle__campaign", "scheduled_item", "variant"
    )
    jobs: dict[int, list[VisitJob]] = defaultdict(list)
    for job in rows.order_by("pk"):
        jobs[job.visit_id].append(job)
    return jobs


def _what(job: VisitJob) -> str:
    """Say what one job is: the campaign or the item, and the variant."""
    if job.campaign_vehicle is not None:
        code = job.campaign_vehicle.campaign.code
    else:
        code = job.scheduled_item.code if job.scheduled_item else ""
    return f"{code} {job.variant.title}".strip()


def _not_on_shelf(jobs: Iterable[VisitJob]) -> dict[str, list[str]]:
    """Give the parts that are only promised, by the job's name in the books."""
    found: dict[str, list[str]] = defaultdict(list)
    rows = Reservation.objects.filter(
        subject__in=[job.subject for job in jobs], state=ReservationState.PROMISED
    ).values_list("subject", "part__number")
    for subject, number in rows:
        found[subject].append(number)
    return found


def without_parts(*, store: Store, today: dt.date) -> Kind:
    """Give the visits to come whose parts are gone: lost at a count, or recalled."""
    subject = Concat(Value("visit_job:"), Cast(OuterRef("pk"), CharField()))
    found = (
        VisitJob.objects.filter(
            visit__store=store,
            visit__state=VisitState.BOOKED,
            visit__on__gte=today,
            live=True,
        )
        .filter(Exists(VariantPart.objects.filter(variant=OuterRef("variant"))))
        .exclude(Exists(Reservation.objects.filter(subject=subject).live()))
        .select_related(
            "visit__vehicle", "campaign_vehicle__campaign", "scheduled_item", "variant"
        )
        .order_by("visit__on", "pk")
    )

    def write(job: VisitJob) -> Chore:
        return Chore(
            kind="without_parts",
            reason=_("Booked, and no part is held or promised: agree on another day"),
            about=job.visit.vehicle.vin,
            detail=_what(job),
            deadline=job.visit.on,
            act=_("See the visit"),
            target=Target(name="campaigns:visit", args=(job.visit_id,)),
            tone="bad",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_VISITS, full_words=_("All visits")
    )


def offers(*, store: Store, today: dt.date) -> Kind:
    """Give those on the waiting list for whom parts are here now, to be called."""
    del today
    found = (
        PartRequest.objects.in_store(store)
        .filter(state=RequestState.OFFERED, campaign_vehicle__work_state__in=STILL_OPEN)
        .select_related("campaign_vehicle__campaign", "campaign_vehicle__vehicle")
        .order_by("asked_on", "pk")
    )

    def write(one: PartRequest) -> Chore:
        row = one.campaign_vehicle
        return Chore(
            kind="offer",
            reason=_("Parts are here: call %(who)s, %(contact)s")
            % {
                "who": one.who or _("the owner"),
                "contact": one.contact or _("see the vehicle"),
            },
            about=f"{row.vehicle.vin} {row.vehicle.line}",
            detail=_("%(code)s, asked on %(day)s")
            % {"code": row.campaign.code, "day": one.asked_on.isoformat()},
            act=_("Book the visit"),
            target=Target(name="campaigns:book", args=(row.vehicle.vin,)),
            tone="act",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_VISITS, full_words=_("All visits")
    )


def overdue(*, store: Store, today: dt.date) -> Kind:
    """Give the visits whose day has passed and of which nobody said what came."""
    found = (
        Visit.objects.in_store(store)
        .filter(state=VisitState.BOOKED, on__lt=today)
        .select_related("vehicle")
        .order_by("on", "pk")
    )

    def write(one: Visit) -> Chore:
        last = one.on + timedelta(days=store.no_show_grace_days)
        return Chore(
            kind="overdue",
            reason=_("Was expected and is not marked as come"),
            about=f"{one.vehicle.vin} {one.vehicle.line}",
            detail=one.who,
            deadline=last,
            act=_("Move it or say it did not come"),
            target=Target(name="campaigns:visit", args=(one.pk,)),
            tone="bad",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_VISITS, full_words=_("All visits")
    )


def missed(*, store: Store, today: dt.date) -> Kind:
    """Give the vehicles that did not come, are still open and have no new place.

    The latest missed visit of each; a new booking or a request clears it.
    """
    placed = Exists(
        VisitJob.objects.filter(
            campaign_vehicle=OuterRef("campaign_vehicle"), live=True
        )
    ) | Exists(
        PartRequest.objects.filter(
            campaign_vehicle=OuterRef("campaign_vehicle"),
            state__in=[RequestState.WAITING, RequestState.OFFERED],
        )
    )
    later = VisitJob.objects.filter(
        campaign_vehicle=OuterRef("campaign_vehicle"), pk__gt=OuterRef("pk")
    )
    found = (
        VisitJob.objects.filter(
            visit__store=store,
            visit__state=VisitState.MISSED,
            visit__on__gte=today - timedelta(days=MISSED_DAYS),
            campaign_vehicle__work_state__in=[WorkState.OPEN, WorkState.NEEDS_REPAIR],
        )
        .exclude(placed)
        .exclude(Exists(later))
        .select_related("visit__vehicle", "campaign_vehicle__campaign")
        .order_by("visit__on", "pk")
    )

    def write(one: VisitJob) -> Chore:
        visit = one.visit
        who = ", ".join(word for word in (visit.who, visit.contact) if word)
        return Chore(
            kind="missed",
            reason=_("Did not come on %(day)s: call again") % {"day": visit.on},
            about=f"{visit.vehicle.vin} {visit.vehicle.line}",
            detail=f"{_what_campaign(one)} {who}".strip(),
            act=_("Book again"),
            target=Target(name="campaigns:book", args=(visit.vehicle.vin,)),
            tone="act",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_VISITS, full_words=_("All visits")
    )


def _what_campaign(job: VisitJob) -> str:
    row = job.campaign_vehicle
    return row.campaign.code if row else ""
