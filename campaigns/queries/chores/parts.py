"""What waits for the parts manager."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import F, Min, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from campaigns.models import Replenishment
from campaigns.queries.chores.row import MOST, Chore, Kind, Target, listed
from campaigns.queries.proofs import standing_alarm
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from inventory.models import (
    Dispute,
    GoodsReturn,
    OrderLine,
    PurchaseOrder,
    QuarantineLot,
    Shipment,
    ShipmentLine,
    StockCount,
    Transfer,
)
from inventory.models.trade import DISPUTE_KIND_WORDS
from inventory.queries.stock import COMING_STATES, stock_board
from inventory.rules.accounts import (
    CountState,
    DisputeKind,
    DisputeState,
    LotKind,
    OrderState,
    ReturnState,
    TransferState,
)


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import BookProof
    from dealership.models import Store
    from inventory.queries.stock import BoardRow

DISPUTE_DAYS = 14
"""A dispute is called up so many days before its last date: common practice, no
source."""


def proposals(*, store: Store, today: dt.date) -> Kind:
    """Give the proposals that somebody must decide."""
    del today
    found = (
        Replenishment.objects.in_store(store)
        .filter(state=ProposalState.OPEN)
        .exclude(kind=ProposalKind.NOTHING)
        .select_related("part")
        .order_by(F("act_by").asc(nulls_last=True), "part__number")
    )

    def write(one: Replenishment) -> Chore:
        reason = (
            ngettext("Order %(n)d piece", "Order %(n)d pieces", one.quantity)
            if one.kind == ProposalKind.ORDER
            else ngettext("Return %(n)d piece", "Return %(n)d pieces", one.quantity)
        )
        return Chore(
            kind="proposal",
            reason=reason % {"n": one.quantity},
            about=f"{one.part.number} {one.part.name}",
            detail=", ".join(one.facts.get("campaigns", [])),
            deadline=one.act_by,
            act=_("Decide"),
            target=Target(name="campaigns:proposal", args=(one.pk,)),
            tone="act",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="campaigns:proposals"),
        full_words=_("All proposals"),
    )


def shipments(*, store: Store, today: dt.date) -> Kind:
    """Give the deliveries due by now, or without a day, that nobody has counted."""
    found = (
        Shipment.objects.in_store(store)
        .filter(received_at__isnull=True)
        .exclude(expected_on__gt=today)
        .select_related("supplier")
        .order_by(F("expected_on").asc(nulls_last=True), "pk")
    )

    def write(one: Shipment) -> Chore:
        return Chore(
            kind="shipment",
            reason=_("Delivery to be counted"),
            about=_("packing slip %(number)s") % {"number": one.number},
            detail=one.supplier.name,
            deadline=one.expected_on,
            act=_("Receive"),
            target=Target(name="inventory:shipment", args=(one.pk,)),
            tone="open",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:shipments"),
        full_words=_("All deliveries"),
    )


def disputes(*, store: Store, today: dt.date) -> Kind:
    """Give the open disputes near their last date."""
    found = (
        Dispute.objects.in_store(store)
        .filter(
            state=DisputeState.OPEN, last_date__lte=today + timedelta(days=DISPUTE_DAYS)
        )
        .select_related("shipment_line__part", "shipment_line__shipment")
        .order_by("last_date", "pk")
    )

    def write(one: Dispute) -> Chore:
        line = one.shipment_line
        return Chore(
            kind="dispute",
            reason=ngettext(
                "%(n)d piece billed, %(what)s",
                "%(n)d pieces billed, %(what)s",
                one.quantity,
            )
            % {"n": one.quantity, "what": DISPUTE_KIND_WORDS[DisputeKind(one.kind)]},
            about=line.part.number,
            detail=_("packing slip %(number)s") % {"number": line.shipment.number},
            deadline=one.last_date,
            act=_("Settle"),
            target=Target(name="inventory:dispute", args=(one.pk,)),
            tone="bad",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:shipments"),
        full_words=_("All deliveries"),
    )


def returns(*, store: Store, today: dt.date) -> Kind:
    """Give the returns that are boxed and not shipped."""
    del today
    found = (
        GoodsReturn.objects.in_store(store)
        .filter(state=ReturnState.PREPARED)
        .select_related("supplier", "earmark")
        .order_by(F("last_date").asc(nulls_last=True), "pk")
    )

    def write(one: GoodsReturn) -> Chore:
        return Chore(
            kind="return",
            reason=_("Return boxed, not shipped"),
            about=_("return %(number)s") % {"number": one.number},
            detail=one.earmark.code if one.earmark else one.supplier.name,
            deadline=one.last_date,
            act=_("Ship it"),
            target=Target(name="inventory:goods_return", args=(one.pk,)),
            tone="open",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:returns"),
        full_words=_("All returns"),
    )


def running_out(*, store: Store, today: dt.date) -> Kind:
    """Give the parts promised beyond what is there before the next delivery."""
    found = [
        row
        for row in stock_board(store=store, today=today)
        if row.runs_out_on and (not row.next_day or row.runs_out_on < row.next_day)
    ]

    def write(one: BoardRow) -> Chore:
        coming = (
            _("next delivery on %(day)s") % {"day": one.next_day.isoformat()}
            if one.next_day
            else _("no delivery on its way")
        )
        return Chore(
            kind="running_out",
            reason=ngettext(
                "%(n)d promised piece will be missing",
                "%(n)d promised pieces will be missing",
                one.short,
            )
            % {"n": one.short},
            about=f"{one.part.number} {one.part.name}",
            detail=coming,
            deadline=one.runs_out_on,
            act=_("See who is promised"),
            target=Target(name="inventory:part", args=(one.part.pk,)),
            tone="bad",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:parts"),
        full_words=_("All parts"),
    )


def late_orders(*, store: Store, today: dt.date) -> Kind:
    """Give the orders with pieces past their day, or back-ordered without one.

    Pieces that a delivery on its way brings are waited for there.
    """
    announced = (
        ShipmentLine.objects.filter(
            order_line=OuterRef("pk"), shipment__received_at__isnull=True
        )
        .order_by()
        .values("order_line")
        .annotate(n=Sum("sent"))
        .values("n")
    )
    found: Any = (
        OrderLine.objects.filter(
            Q(expected_on__lt=today) | Q(back_ordered=True),
            order__store=store,
            order__state__in=COMING_STATES,
        )
        .annotate(announced=Coalesce(Subquery(announced), 0))
        .filter(quantity__gt=F("received") + F("announced"))
        .order_by()
        .values("order_id", "order__number", "order__supplier__name")
        .annotate(day=Min("expected_on"))
        .order_by(F("day").asc(nulls_last=True), "order_id")
    )

    def write(one: dict[str, Any]) -> Chore:
        return Chore(
            kind="late_order",
            reason=_("Ordered pieces are overdue and not counted on")
            if one["day"]
            else _("Back-ordered pieces have no day and are not counted on"),
            about=_("order %(number)s") % {"number": one["order__number"]},
            detail=one["order__supplier__name"],
            deadline=one["day"],
            act=_("Give it a new day"),
            target=Target(name="inventory:order", args=(one["order_id"],)),
            tone="bad" if one["day"] else "wait",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:orders"),
        full_words=_("All orders"),
    )


def drafts(*, store: Store, today: dt.date) -> Kind:
    """Give the orders that were drawn up and not sent."""
    del today
    found = (
        PurchaseOrder.objects.in_store(store)
        .filter(state=OrderState.DRAFT)
        .select_related("supplier")
        .order_by("pk")
    )

    def write(one: PurchaseOrder) -> Chore:
        return Chore(
            kind="draft",
            reason=_("Order drawn up, not sent"),
            about=_("order %(number)s") % {"number": one.number},
            detail=one.supplier.name,
            act=_("Look it over"),
            target=Target(name="inventory:order", args=(one.pk,)),
            tone="open",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:orders"),
        full_words=_("All orders"),
    )


def transfers(*, store: Store, today: dt.date) -> Kind:
    """Give the transfers that should be here by now and that nobody has counted."""
    found = (
        Transfer.objects.filter(
            to_store=store, state=TransferState.SENT, expected_on__lte=today
        )
        .select_related("store")
        .order_by("expected_on", "pk")
    )

    def write(one: Transfer) -> Chore:
        return Chore(
            kind="transfer",
            reason=_("Transfer to be counted"),
            about=_("transfer %(number)s") % {"number": one.number},
            detail=_("from %(store)s") % {"store": one.store.name},
            deadline=one.expected_on,
            act=_("Receive"),
            target=Target(name="inventory:transfer", args=(one.pk,)),
            tone="open",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:transfers"),
        full_words=_("All transfers"),
    )


def _counts(store: Store, state: CountState, reason: str, act: str) -> Kind:
    """Give the counts in one state."""
    found = StockCount.objects.in_store(store).filter(state=state).order_by("pk")

    def write(one: StockCount) -> Chore:
        return Chore(
            kind=f"count_{state}",
            reason=reason,
            about=_("count %(number)s") % {"number": one.number},
            detail=one.about,
            act=act,
            target=Target(name="inventory:count", args=(one.pk,)),
            tone="open",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:counts"),
        full_words=_("All counts"),
    )


def counts_to_take(*, store: Store, today: dt.date) -> Kind:
    """Give the counts that are prepared."""
    del today
    words = _("Count prepared"), _("Count")
    return _counts(store, CountState.PREPARED, *words)


def counts_to_approve(*, store: Store, today: dt.date) -> Kind:
    """Give the counts that wait for somebody who approves them."""
    del today
    words = _("Count to be approved"), _("Look at the differences")
    return _counts(store, CountState.ENTERED, *words)


def doubtful(*, store: Store, today: dt.date) -> Kind:
    """Give the lots in quarantine that somebody has to look at."""
    del today
    found = (
        QuarantineLot.objects.in_store(store)
        .filter(kind=LotKind.DOUBTFUL, left__gt=0)
        .select_related("part")
        .order_by("pk")
    )

    def write(one: QuarantineLot) -> Chore:
        return Chore(
            kind="doubtful",
            reason=ngettext(
                "%(n)d piece in quarantine to be looked at",
                "%(n)d pieces in quarantine to be looked at",
                one.left,
            )
            % {"n": one.left},
            about=f"{one.part.number} {one.part.name}",
            detail=one.why,
            act=_("Decide"),
            target=Target(name="inventory:lot", args=(one.pk,)),
            tone="wait",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="inventory:quarantine"),
        full_words=_("All of quarantine"),
    )


def failed_proof(*, store: Store, today: dt.date) -> Kind:
    """Give the latest proof of the books where it found faults."""
    del store, today
    alarm = standing_alarm()

    def write(one: BookProof) -> Chore:
        first = one.faults[0] if one.faults else {}
        return Chore(
            kind="failed_proof",
            reason=_("The books do not balance"),
            about=ngettext(
                "%(count)d place, proved %(at)s",
                "%(count)d places, proved %(at)s",
                one.fault_count,
            )
            % {
                "count": one.fault_count,
                "at": timezone.localdate(one.made_at).isoformat(),
            },
            detail=str(first.get("row", "")),
            act=_("See where"),
            target=Target(name="campaigns:proofs"),
            tone="bad",
        )

    return listed(
        [alarm] if alarm else [],
        write,
        full=Target(name="campaigns:proofs"),
        full_words=_("Proof of the books"),
    )
