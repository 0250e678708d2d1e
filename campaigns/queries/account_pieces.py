"""The right side of an account, from the books of pieces: where each one is now."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from django.db.models import Exists, F, OuterRef, Q, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.models import ClaimLine, PartFitted
from campaigns.queries.account_papers import fitted_row
from campaigns.queries.account_rows import Row, Scope
from campaigns.rules.lifecycle import ClaimState, Payer
from inventory.models import CostLayer, Dispute, Entry, ReturnLine, WriteOff
from inventory.models.ledger import ACCOUNT_WORDS
from inventory.rules.accounts import ON_HAND, UNSETTLED, DisputeKind, ReturnState
from inventory.rules.accounts import Account as Place


if TYPE_CHECKING:
    from collections.abc import Iterable

    Spot = tuple[int, int, int]
    """Earmark, store and part, by id."""
    Sums = dict[Spot, tuple[int, int]]
    """Pieces and cents at cost."""

LOST = (Place.SCRAPPED, Place.VARIANCE)
"""Where pieces stand that nobody has any more."""


def gather_pieces(scope: Scope) -> None:
    """Fill the right side, but for what the bills tell of."""
    _disputes(scope)
    _shelves(scope)
    _returns(scope)
    _lost(scope)
    _used(scope)
    _claims(scope)


def _disputes(scope: Scope) -> None:
    """Put open disputes on the right; their damaged pieces are not on hand as well."""
    rows = Dispute.objects.filter(
        store__in=scope.stores,
        shipment_line__shipment__earmark__in=scope.earmarks,
        state__in=UNSETTLED,
    ).select_related("shipment_line__shipment", "shipment_line__part")
    for one in rows.order_by("opened_on", "pk"):
        line = one.shipment_line
        ledger = scope.home(line.shipment.earmark_id)
        facts = {"slip": line.shipment.number, "part": line.part.number}
        damaged = one.kind == DisputeKind.DAMAGED
        words = _("damaged") if damaged else _("did not arrive")
        row = Row(
            what=_("packing slip %(slip)s, %(part)s: %(words)s")
            % {**facts, "words": words},
            since=one.opened_on,
            pieces=one.quantity,
            cents=one.quantity * one.unit_cost_cents,
            store=one.store_id,
            part=line.part_id,
            page="inventory:shipment",
            pk=line.shipment_id,
        )
        ledger.add("in_dispute", row)
        if damaged:
            scope.disputed[f"shipment_line:{line.pk}"] = one.quantity


def _shelves(scope: Scope) -> None:
    """Put pieces by their layers: on hand, and on the way to another store."""
    layers = (
        CostLayer.objects.filter(scope.layers())
        .select_related("part", "bill_line__bill")
        .annotate(
            here=Sum("entries__quantity", filter=_at(*ON_HAND), default=0),
            moving=Sum("entries__quantity", filter=_at(Place.TRANSIT), default=0),
        )
        .exclude(here=0, moving=0)
        .order_by("received_on", "pk")
    )
    for layer in layers:
        bill = layer.bill_line.bill if layer.bill_line else None
        words = _("%(part)s of bill %(bill)s") if bill else _("%(part)s without a bill")
        for figure, pieces in (
            ("on_hand", vars(layer)["here"] - scope.disputed.get(layer.source, 0)),
            ("in_transit", vars(layer)["moving"]),
        ):
            scope.home(layer.earmark_id).add(
                figure,
                Row(
                    what=words
                    % {"part": layer.part.number, "bill": bill.number if bill else ""},
                    since=bill.dated if bill else layer.received_on,
                    pieces=pieces,
                    cents=pieces * layer.unit_cost_cents,
                    store=layer.store_id,
                    part=layer.part_id,
                    page="inventory:part",
                    pk=layer.part_id,
                ),
            )


def _at(*places: Place) -> Q:
    return Q(entries__account__in=sorted(places))


def _in_books(scope: Scope, place: Place) -> Sums:
    """Give pieces and cents that the books have on one account.

    What a dispute moved is left out: its own papers tell of it.
    """
    rows = (
        Entry.objects.filter(scope.layers("layer__"), account=place)
        .exclude(movement__subject__startswith="dispute:")
        .order_by()
        .values_list("layer__earmark", "layer__store", "layer__part")
        .annotate(
            pieces=Sum("quantity"),
            cents=Sum(F("quantity") * F("layer__unit_cost_cents")),
        )
    )
    return _sums(rows)


def _sums(rows: Iterable[tuple[int, int, int, int, int]]) -> Sums:
    return {(mark, store, part): (n, cents) for mark, store, part, n, cents in rows}


def _unexplained(
    scope: Scope, figure: str, what: str, books: Sums, papers: Sums
) -> None:
    """Put what the books have and no paper explains under a figure."""
    for spot in sorted({*books, *papers}):
        have, known = books.get(spot, (0, 0)), papers.get(spot, (0, 0))
        _mark, store, part = spot
        scope.home(spot[0]).add(
            figure,
            Row(
                what=what,
                since=None,
                pieces=have[0] - known[0],
                cents=have[1] - known[1],
                store=store,
                part=part,
                page="inventory:part",
                pk=part,
            ),
        )


def _returns(scope: Scope) -> None:
    """Put pieces that went back and are not credited, by their return.

    What the books have as returned beyond the papers shows as a line of its own.
    """
    lines = ReturnLine.objects.filter(
        scope.layers("goods_return__"),
        goods_return__state__in=[ReturnState.SHIPPED, ReturnState.CREDITED],
    )
    waiting = lines.filter(credited_on__isnull=True).select_related(
        "goods_return", "part"
    )
    for line in waiting.order_by("goods_return", "pk"):
        sent = line.goods_return
        scope.home(sent.earmark_id).add(
            "returned_not_credited",
            Row(
                what=_("return %(number)s, %(part)s")
                % {"number": sent.number, "part": line.part.number},
                since=sent.shipped_on or timezone.localdate(sent.made_at),
                pieces=line.quantity,
                cents=line.quantity * line.unit_cost_cents,
                store=sent.store_id,
                part=line.part_id,
                page="inventory:goods_return",
                pk=sent.pk,
            ),
        )
    papers = (
        lines.order_by()
        .values_list("goods_return__earmark", "goods_return__store", "part")
        .annotate(n=Sum("quantity"), cents=Sum(F("quantity") * F("unit_cost_cents")))
    )
    _unexplained(
        scope,
        "returned_not_credited",
        _("sent back, without a return on paper"),
        _in_books(scope, Place.RETURNED),
        _sums(papers),
    )


def _lost(scope: Scope) -> None:
    """Put pieces scrapped, or missing at a count, unless they are written off."""
    entries = (
        Entry.objects.filter(scope.layers("layer__"), account__in=LOST)
        .exclude(movement__subject__startswith="dispute:")
        .select_related("movement", "layer", "part")
        .order_by("movement__effective_on", "pk")
    )
    found: dict[tuple[str, int], list[Row]] = defaultdict(list)
    for entry in entries:
        layer = entry.layer
        assert layer is not None  # the filter asks for its earmark
        found[f"inventory.movement:{entry.movement_id}", layer.earmark_id or 0].append(
            Row(
                what=_("%(part)s %(place)s. %(why)s")
                % {
                    "part": entry.part.number,
                    "place": ACCOUNT_WORDS[Place(entry.account)],
                    "why": entry.movement.why,
                },
                since=entry.movement.effective_on,
                pieces=entry.quantity,
                cents=entry.quantity * layer.unit_cost_cents,
                store=layer.store_id,
                part=layer.part_id,
                page="inventory:part",
                pk=layer.part_id,
            )
        )
    gone = WriteOff.objects.filter(scope.layers()).exclude(
        Q(of__startswith="campaigns.claimline:") | Q(of__startswith="inventory.dispute")
    )
    for one in gone.order_by("dated", "pk"):
        spot = one.of, one.earmark_id or 0
        if sum(row.cents for row in found.get(spot, ())) == one.cents:
            found.pop(spot, None)  # given up to the cent: nothing of it is left
            continue
        scope.home(one.earmark_id).add(
            "lost",
            Row(
                what=_("written off: %(why)s") % {"why": one.why},
                since=one.dated,
                pieces=0,
                cents=-one.cents,
                store=one.store_id,
            ),
        )
    for (_movement, earmark), rows in found.items():
        for row in rows:
            scope.home(earmark).add("lost", row)


def _used(scope: Scope) -> None:
    """Put pieces in vehicles that the manufacturer pays and no sent claim asks for."""
    sent = ClaimLine.objects.filter(part_fitted=OuterRef("pk")).exclude(
        claim__state=ClaimState.READY
    )
    rows = (
        PartFitted.objects.filter(
            ~Exists(sent),
            payer=Payer.MANUFACTURER,
            repair__campaign_vehicle__campaign__in=scope.campaigns,
            repair__store__in=scope.stores,
        )
        .select_related("repair__campaign_vehicle", "layer", "part")
        .order_by("repair__done_on", "pk")
    )
    for one in rows:
        vehicle = one.repair.campaign_vehicle
        assert vehicle is not None  # the filter asks for its campaign
        scope.ledgers[vehicle.campaign_id].add("used_not_claimed", fitted_row(one))
    known = (
        PartFitted.objects.filter(scope.layers("layer__"))
        .order_by()
        .values_list("layer__earmark", "layer__store", "layer__part")
        .annotate(n=Sum("quantity"), cents=Sum(F("quantity") * F("unit_cost_cents")))
    )
    _unexplained(
        scope,
        "used_not_claimed",
        _("fitted, without a repair on record"),
        _in_books(scope, Place.USED),
        _sums(known),
    )


def _claims(scope: Scope) -> None:
    """Put the cost that sent claims still wait for."""
    lines = (
        ClaimLine.objects.filter(
            claim__campaign__in=scope.campaigns,
            claim__store__in=scope.stores,
            cost_cents__gt=F("paid_cents"),
        )
        .exclude(claim__state__in=[ClaimState.READY, ClaimState.WRITTEN_OFF])
        .select_related("claim", "part_fitted__layer")
        .order_by("claim__submitted_on", "pk")
    )
    for line in lines:
        claim, fitted = line.claim, line.part_fitted
        scope.ledgers[claim.campaign_id].add(
            "claimed_not_paid",
            Row(
                what=_("claim %(number)s, %(title)s")
                % {"number": claim.number, "title": line.title},
                since=claim.submitted_on or claim.made_on,
                pieces=line.quantity,
                cents=line.cost_cents - line.paid_cents,
                store=claim.store_id,
                part=fitted.layer.part_id if fitted else 0,
                page="campaigns:claim",
                pk=claim.pk,
            ),
        )
