"""What lies where: bins, pockets to count, lots in quarantine, what to pick on a day."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import CharField, Count, Exists, F, OuterRef, Q, Sum, Value
from django.db.models.functions import Cast, Concat

from dealership.models import StaffMember
from dealership.rules.roles import ROLE_CAPABILITIES, Capability
from inventory.models import (
    Balance,
    BinLocation,
    Dispute,
    Entry,
    Movement,
    QuarantineLot,
    Reservation,
    ReturnLine,
    WriteOff,
)
from inventory.queries.subjects import words_of_subjects
from inventory.rules.accounts import (
    UNSETTLED,
    Account,
    DisputeKind,
    ReservationState,
    ReturnState,
)


if TYPE_CHECKING:
    import datetime as dt

    from django.db.models import QuerySet

    from dealership.models import Store
    from inventory.models import Earmark, Part
    from inventory.queries.subjects import Said

LOST = (Account.SCRAPPED, Account.VARIANCE)
MOST = 50
"""Rows of one table that are not paged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Aside:
    """Pieces in quarantine by a paper of their own: which, how many, and why."""

    part: Part
    pieces: int
    since: dt.date | None
    page: str
    pk: int
    number: str
    deadline: dt.date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """Pieces that a movement scrapped or found missing, at cost in cents."""

    movement: Movement
    part: str
    pieces: int
    cents: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """Pieces to take out of one bin for one purpose."""

    place: str
    part: Part
    earmark: Earmark | None
    pieces: int
    purpose: Said
    needed_on: dt.date


def pockets_to_count(
    *, store: Store, place: BinLocation | None, part: Part | None
) -> list[Balance]:
    """Give the pockets that have pieces on the shelf, or lie in the bin by the books."""
    rows = Balance.objects.filter(store=store).select_related("bin", "part")
    if place:
        rows = rows.filter(bin=place)
    if part:
        rows = rows.filter(part=part)
    return list(rows.filter(Q(free__gt=0) | Q(held__gt=0) | Q(bin__isnull=False)))


def lots_to_count(*, store: Store, part: Part | None) -> list[QuarantineLot]:
    """Give the lots that have pieces in quarantine, of one part or of all."""
    rows = lots_left(store)
    return list(rows.filter(part=part) if part else rows)


def others_may_approve(*, store: Store, but: StaffMember) -> bool:
    """Tell whether somebody else who works in a store may approve its counts."""
    roles = [
        role.value
        for role, capabilities in ROLE_CAPABILITIES.items()
        if Capability.APPROVE_COUNTS in capabilities
    ]
    others = StaffMember.objects.filter(
        is_active=True, posts__store=store, posts__role__in=roles
    )
    return others.exclude(pk=but.pk).exists()


def bins_of(store: Store) -> QuerySet[BinLocation]:
    """Give the bins of a store with how many parts and pieces lie in each."""
    full = Q(balances__on_hand__gt=0)
    return (
        BinLocation.objects.in_store(store)
        .annotate(
            parts=Count("balances", filter=full),
            pieces=Sum("balances__on_hand", default=0),
        )
        .order_by("code")
    )


def lots_left(store: Store) -> QuerySet[QuarantineLot]:
    """Give the lots of a store that still have pieces, the oldest first."""
    rows = QuarantineLot.objects.in_store(store).filter(left__gt=0)
    return rows.select_related("part", "earmark", "opened_by").order_by("pk")


def in_dispute(store: Store) -> list[Aside]:
    """Give the damaged pieces that wait for the end of a dispute."""
    rows = Dispute.objects.in_store(store).filter(
        state__in=UNSETTLED, kind=DisputeKind.DAMAGED
    )
    return [
        Aside(
            part=one.shipment_line.part,
            pieces=one.quantity,
            since=one.opened_on,
            page="inventory:dispute",
            pk=one.pk,
            number=one.shipment_line.shipment.number,
            deadline=one.last_date,
        )
        for one in rows.select_related(
            "shipment_line__part", "shipment_line__shipment"
        )[:MOST]
    ]


def boxed_for_return(store: Store) -> list[Aside]:
    """Give the pieces that are boxed and not yet with the carrier."""
    rows = ReturnLine.objects.filter(
        goods_return__store=store, goods_return__state=ReturnState.PREPARED
    )
    return [
        Aside(
            part=one.part,
            pieces=one.quantity,
            since=None,
            page="inventory:goods_return",
            pk=one.goods_return_id,
            number=str(one.goods_return.number),
            deadline=one.goods_return.last_date,
        )
        for one in rows.select_related("part", "goods_return").order_by("pk")[:MOST]
    ]


def lost_pieces(store: Store) -> list[Lost]:
    """Give what was scrapped or is missing and whose cents nobody has given up."""
    name = Concat(Value("inventory.movement:"), Cast(OuterRef("pk"), CharField()))
    movements = (
        Movement.objects.in_store(store)
        .filter(
            Exists(
                Entry.objects.filter(
                    movement=OuterRef("pk"), account__in=LOST, quantity__gt=0
                )
            )
        )
        .exclude(subject__startswith="dispute:")
        .exclude(Exists(WriteOff.objects.filter(of=name)))
        .filter(reversed_by__isnull=True)
        .select_related("by")
        .order_by("-pk")[:MOST]
    )
    listed = list(movements)
    entries = Entry.objects.filter(
        movement__in=listed, account__in=LOST, quantity__gt=0, layer__isnull=False
    ).select_related("part", "layer")
    found: dict[int, list[Entry]] = defaultdict(list)
    for entry in entries.order_by("pk"):
        found[entry.movement_id].append(entry)
    return [
        Lost(
            movement=one,
            part=found[one.pk][0].part.number,
            pieces=sum(entry.quantity for entry in found[one.pk]),
            cents=sum(
                entry.quantity * entry.layer.unit_cost_cents
                for entry in found[one.pk]
                if entry.layer
            ),
        )
        for one in listed
        if found[one.pk]
    ]


def picks_of(*, store: Store, day: dt.date) -> list[Pick]:
    """Give what to take off the shelves for a day, in the order of the bins.

    What was needed before and is still held belongs to it too.
    """
    held = list(
        Reservation.objects.in_store(store)
        .filter(state=ReservationState.HELD, needed_on__lte=day)
        .select_related("part", "earmark")
    )
    bins: dict[tuple[int, int | None], str | None] = {
        (part, earmark): code
        for part, earmark, code in Balance.objects.filter(
            store=store, part__in={row.part_id for row in held}
        ).values_list("part_id", "earmark_id", "bin__code")
    }
    words = words_of_subjects([row.subject for row in held])
    picks = [
        Pick(
            place=bins.get((row.part_id, row.earmark_id)) or "",
            part=row.part,
            earmark=row.earmark,
            pieces=row.quantity,
            purpose=words[row.subject],
            needed_on=row.needed_on,
        )
        for row in held
    ]
    return sorted(
        picks,
        key=lambda one: (
            not one.place,
            one.place,
            one.part.number,
            one.needed_on,
            one.purpose.words,
        ),
    )


def movements_after(lot: QuarantineLot) -> list[Movement]:
    """Give what has happened to a lot, the newest first."""
    rows = Movement.objects.filter(subject=lot.subject).select_related("by")
    pieces = Sum("entries__quantity", filter=Q(entries__account=Account.QUARANTINE))
    return list(rows.annotate(pieces=pieces).order_by("-pk"))


def bin_of(*, store: Store, part: Part) -> dict[int | None, str]:
    """Give the bin of each pocket of a part, by earmark."""
    rows = Balance.objects.filter(store=store, part=part, bin__isnull=False)
    return dict(rows.annotate(code=F("bin__code")).values_list("earmark_id", "code"))
