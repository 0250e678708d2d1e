"""Claims as lists and pages read them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, F, Min, Q, Sum
from django.utils import timezone

from campaigns.models import CheckReading, Claim, NoticeGiven
from campaigns.rules.lifecycle import ClaimState


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models.claim import ClaimQuerySet
    from dealership.models import StaffMember, Store

STILL_OPEN = (
    ClaimState.READY,
    ClaimState.SUBMITTED,
    ClaimState.SHORT_PAID,
    ClaimState.REJECTED,
)
"""Claims from which money may still come, in the order in which they want doing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimCounts:
    """How a store's claims stand, in claims, and cents still asked for."""

    ready: int
    submitted: int
    short_paid: int
    rejected: int
    open_cents: int
    next_deadline: dt.date | None


def claims_for(staff: StaffMember, store: Store) -> ClaimQuerySet:
    """Read a store's claims with their sums; the nearest last day first."""
    return (
        Claim.objects.for_staff(staff)
        .in_store(store)
        .select_related("campaign", "repair__vehicle", "store")
        .annotate(
            claimed_cents=Sum("lines__claimed_cents", default=0),
            paid_cents=Sum("lines__paid_cents", default=0),
        )
        .order_by(F("campaign__claims_until").asc(nulls_last=True), "number")
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What proves the work of a claim: every measured value, and what was told."""

    readings: tuple[CheckReading, ...]
    told_on: dt.date | None


def evidence_of(claim: Claim) -> Evidence:
    """Give the measured values of a claim's repair, and when the owner was told.

    49 USC 30120(f) ties a store's pay to the notice where the franchise agreement says
    so; the latest one counts.
    """
    readings = CheckReading.objects.filter(repair=claim.repair_id).select_related(
        "check_of"
    )
    told = (
        NoticeGiven.objects.filter(
            store=claim.store_id, vehicle=claim.repair.vehicle_id
        )
        .order_by("-pk")
        .values_list("at", flat=True)
        .first()
    )
    return Evidence(
        readings=tuple(readings.order_by("check_of__position", "check_of", "attempt")),
        told_on=timezone.localdate(told) if told else None,
    )


def claim_counts(staff: StaffMember, store: Store) -> ClaimCounts:
    """Count a store's claims by state."""
    rows = Claim.objects.for_staff(staff).in_store(store)
    asked = F("lines__claimed_cents") - F("lines__paid_cents")
    counts = rows.aggregate(
        **{
            state.value: Count("pk", filter=Q(state=state), distinct=True)
            for state in STILL_OPEN
        },
        open_cents=Sum(asked, filter=Q(state__in=STILL_OPEN), default=0),
        next_deadline=Min(
            "campaign__claims_until",
            filter=Q(state__in=[ClaimState.READY, ClaimState.REJECTED]),
        ),
    )
    return ClaimCounts(**counts)
