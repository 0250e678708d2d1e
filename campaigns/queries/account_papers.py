"""The left side of an account, from papers: billed, and what settled it."""

from __future__ import annotations

from django.db.models import Q
from django.utils.translation import gettext as _

from campaigns.models import PartFitted, Payment
from campaigns.queries.account_rows import Row, Scope
from campaigns.rules.lifecycle import Payer
from inventory.models import Credit, Entry, WriteOff
from inventory.rules.accounts import Account as Place
from inventory.rules.accounts import MovementKind


def gather_papers(scope: Scope) -> None:
    """Fill the left side but for the bills, which stand beside the deliveries."""
    _moved(scope)
    _credits(scope)
    _write_offs(scope)
    _sold(scope)
    _fitted(scope)
    _payments(scope)


def _moved(scope: Scope) -> None:
    """Take out what went to other stores, and add what came from them.

    Both stores post the arrival against the supplier, at the cents of the first layer.
    """
    entries = (
        Entry.objects.filter(
            scope.layers("layer__"),
            account=Place.SUPPLIER,
            movement__kind=MovementKind.ARRIVE,
        )
        .select_related("movement", "layer", "part")
        .order_by("movement__effective_on", "pk")
    )
    for entry in entries:
        layer = entry.layer
        assert layer is not None  # the filter asks for its earmark
        out = entry.quantity > 0
        pieces = abs(entry.quantity)
        words = _("%(part)s to another store") if out else _("%(part)s from another")
        scope.home(layer.earmark_id).add(
            "moved_out" if out else "moved_in",
            Row(
                what=words % {"part": entry.part.number},
                since=entry.movement.effective_on,
                pieces=pieces,
                cents=pieces * layer.unit_cost_cents,
                store=layer.store_id,
                part=layer.part_id,
                page="inventory:part",
                pk=layer.part_id,
            ),
        )


def _credits(scope: Scope) -> None:
    rows = Credit.objects.filter(scope.layers()).select_related(
        "dispute__shipment_line__shipment", "return_line__goods_return"
    )
    for credit in rows.order_by("dated", "pk"):
        page, pk, part = "", 0, 0
        about = ""
        if credit.dispute:
            line = credit.dispute.shipment_line
            page, pk, part = "inventory:shipment", line.shipment_id, line.part_id
            about = _("packing slip %(slip)s") % {"slip": line.shipment.number}
        elif credit.return_line:
            back = credit.return_line.goods_return
            page, pk, part = (
                "inventory:goods_return",
                back.pk,
                credit.return_line.part_id,
            )
            about = _("return %(number)s") % {"number": back.number}
        words = (
            _("credit note %(number)s, %(about)s")
            if credit.number
            else _("credit, %(about)s")
        )
        scope.home(credit.earmark_id).add(
            "credited",
            Row(
                what=words % {"number": credit.number, "about": about},
                since=credit.dated,
                pieces=0,
                cents=credit.at_cost_cents,
                store=credit.store_id,
                part=part,
                page=page,
                pk=pk,
            ),
        )


def _write_offs(scope: Scope) -> None:
    for gone in WriteOff.objects.filter(scope.layers()).order_by("dated", "pk"):
        scope.home(gone.earmark_id).add(
            "written_off",
            Row(
                what=_("given up: %(why)s") % {"why": gone.why},
                since=gone.dated,
                pieces=0,
                cents=gone.cents,
                store=gone.store_id,
            ),
        )


def _sold(scope: Scope) -> None:
    """Charge what went over the counter to customers, sale by sale."""
    entries = Entry.objects.filter(
        scope.layers("layer__"), account=Place.SOLD
    ).select_related("movement", "layer", "part")
    for entry in entries.order_by("movement__effective_on", "pk"):
        layer = entry.layer
        assert layer is not None  # the filter asks for its earmark
        words = (
            _("%(part)s sold over the counter")
            if entry.quantity > 0
            else _("%(part)s: sale taken back")
        )
        scope.home(layer.earmark_id).add(
            "charged_to_customers",
            Row(
                what=words % {"part": entry.part.number},
                since=entry.movement.effective_on,
                pieces=entry.quantity,
                cents=entry.quantity * layer.unit_cost_cents,
                store=layer.store_id,
                part=layer.part_id,
                page="inventory:part",
                pk=layer.part_id,
            ),
        )


def _fitted(scope: Scope) -> None:
    """Charge pieces in vehicles to whoever pays; add those of other stock."""
    rows = (
        PartFitted.objects.filter(
            Q(layer__earmark__in=scope.earmarks)
            | Q(repair__campaign_vehicle__campaign__in=scope.campaigns),
            repair__store__in=scope.stores,
        )
        .select_related("repair__campaign_vehicle", "layer", "part")
        .order_by("repair__done_on", "pk")
    )
    for one in rows:
        row = fitted_row(one)
        home = scope.by_earmark.get(one.layer.earmark_id or 0)
        vehicle = one.repair.campaign_vehicle
        worked = vehicle.campaign_id if vehicle else None
        claims = Payer(one.payer) is Payer.MANUFACTURER and worked is not None
        if claims and worked in scope.ledgers and worked != home:
            scope.ledgers[worked].add("from_other_stock", row)
        if home is not None and not (claims and worked == home):
            scope.ledgers[home].add(_charged_to(Payer(one.payer)), row)


def fitted_row(one: PartFitted) -> Row:
    """Write the row of pieces in a vehicle, from the day of the repair."""
    return Row(
        what=_("repair order %(order)s, %(part)s")
        % {"order": one.repair.repair_order, "part": one.part.number},
        since=one.repair.done_on or one.layer.received_on,
        pieces=one.quantity,
        cents=one.quantity * one.unit_cost_cents,
        store=one.repair.store_id,
        part=one.layer.part_id,
        page="campaigns:repair",
        pk=one.repair_id,
    )


def _charged_to(payer: Payer) -> str:
    """Name the figure that pieces charged elsewhere go to."""
    return {
        Payer.CUSTOMER: "charged_to_customers",
        Payer.STORE: "charged_to_store",
        Payer.MANUFACTURER: "charged_to_other_campaigns",
    }[payer]


def _payments(scope: Scope) -> None:
    payments = Payment.objects.filter(
        line__claim__campaign__in=scope.campaigns,
        line__claim__store__in=scope.stores,
        at_cost_cents__gt=0,
    ).select_related("line__claim", "line__part_fitted")
    for paid in payments.order_by("dated", "pk"):
        claim = paid.line.claim
        words = (
            _("claim %(number)s, advice %(advice)s")
            if paid.advice
            else _("claim %(number)s paid")
        )
        fitted = paid.line.part_fitted
        scope.ledgers[claim.campaign_id].add(
            "paid",
            Row(
                what=words % {"number": claim.number, "advice": paid.advice},
                since=paid.dated,
                pieces=0,
                cents=paid.at_cost_cents,
                store=claim.store_id,
                part=fitted.part_id if fitted else 0,
                page="campaigns:claim",
                pk=claim.pk,
            ),
        )
