"""The account of a campaign's parts, worked out twice: from papers, from pieces.

Left from papers: bills, credits, payments, charges to others, write-offs. Right from
the books of pieces and where each piece is now. Every piece counts at the cents of its
cost layer, and the account follows the layers that were billed under the campaign's
earmark, wherever their pieces go; pieces that a repair of the campaign takes from other
layers come in as taken from other stock.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

from django.db.models import F, Q, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.models import ClaimLine, PartFitted, Payment
from campaigns.rules.exposure import (
    Account,
    AgeBand,
    Dated,
    Held,
    Owed,
    add_accounts,
    age_cents,
)
from campaigns.rules.lifecycle import ClaimState, Payer
from inventory.models import (
    BillLine,
    CostLayer,
    Credit,
    Dispute,
    Entry,
    ReturnLine,
    ShipmentLine,
    WriteOff,
)
from inventory.models.ledger import ACCOUNT_WORDS
from inventory.rules.accounts import (
    ON_HAND,
    UNSETTLED,
    DisputeKind,
    ReturnState,
)
from inventory.rules.accounts import Account as Place


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from campaigns.models import Campaign

LOST = (Place.SCRAPPED, Place.VARIANCE)
"""Where pieces stand that nobody has any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line behind a figure: what it is, since when, pieces and cents at cost.

    ``since`` is None where no paper gives a day. ``page`` and ``pk`` name the page that
    shows it; empty where there is none.
    """

    what: str
    since: dt.date | None
    pieces: int
    cents: int
    page: str = ""
    pk: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignAccount:
    """One campaign's account: both sides, and the rows behind each figure by name."""

    campaign: Campaign
    account: Account
    rows: Mapping[str, tuple[Row, ...]]

    @property
    def exposure_cents(self) -> int:
        """Give the money tied up in pieces, by the right side."""
        return self.account.held.total

    @property
    def coming_cents(self) -> int:
        """Give what is billed and not on the shelf yet, or disputed."""
        held = self.account.held
        return held.not_yet_arrived + held.in_dispute

    @property
    def claims_wait(self) -> bool:
        """Tell whether money of claims is still to come."""
        held = self.account.held
        return bool(held.used_not_claimed or held.claimed_not_paid)

    def ages(self, *, today: dt.date) -> dict[str, dict[AgeBand, int]]:
        """Give each state's cents by the age of that state; empty states are left out."""
        return {
            one.name: age_cents(
                (
                    Dated(since=row.since or today, cents=row.cents)
                    for row in self.rows[one.name]
                ),
                today=today,
            )
            for one in fields(Held)
            if self.rows[one.name]
        }


@dataclass(slots=True)
class _Ledger:
    """Rows gathered for one campaign, by figure."""

    rows: dict[str, list[Row]]

    def add(self, figure: str, row: Row) -> None:
        if row.cents or row.pieces:
            self.rows[figure].append(row)

    def close(self, campaign: Campaign) -> CampaignAccount:
        def total(name: str) -> int:
            return sum(row.cents for row in self.rows[name])

        return CampaignAccount(
            campaign=campaign,
            account=Account(
                owed=Owed(**{one.name: total(one.name) for one in fields(Owed)}),
                held=Held(**{one.name: total(one.name) for one in fields(Held)}),
            ),
            rows={
                one.name: tuple(self.rows[one.name])
                for one in (*fields(Owed), *fields(Held))
            },
        )


def campaign_account(
    campaign: Campaign, *, store_ids: Collection[int]
) -> CampaignAccount:
    """Give the account of one campaign in these stores together."""
    return campaign_accounts([campaign], store_ids=store_ids)[campaign.pk]


def campaign_accounts(
    campaigns: Sequence[Campaign], *, store_ids: Collection[int]
) -> dict[int, CampaignAccount]:
    """Give the accounts of several campaigns, by id; the same few queries for any."""
    by_earmark = {one.earmark_id: one.pk for one in campaigns}
    ledgers = {one.pk: _Ledger(rows=defaultdict(list)) for one in campaigns}
    scope = _Scope(
        stores=tuple(store_ids), earmarks=tuple(by_earmark), campaigns=tuple(ledgers)
    )
    of = {earmark: ledgers[pk] for earmark, pk in by_earmark.items()}
    _bills(scope, of)
    _disputes(scope, of)
    _credits_and_write_offs(scope, of)
    _shelves(scope, of)
    _returns(scope, of)
    _lost(scope, of)
    _fitted(scope, of, ledgers)
    _claims(scope, ledgers)
    return {one.pk: ledgers[one.pk].close(one) for one in campaigns}


def whole_account(accounts: Iterable[CampaignAccount]) -> Account:
    """Add the accounts of several campaigns, term by term."""
    return add_accounts(one.account for one in accounts)


@dataclass(frozen=True, slots=True)
class _Scope:
    """Which stores, earmarks and campaigns are asked about."""

    stores: tuple[int, ...]
    earmarks: tuple[int, ...]
    campaigns: tuple[int, ...]

    def layers(self, path: str = "") -> Q:
        """Keep what belongs to the layers billed under these earmarks."""
        return Q(
            **{f"{path}store__in": self.stores, f"{path}earmark__in": self.earmarks}
        )


def _bills(scope: _Scope, of: Mapping[int, _Ledger]) -> None:
    """Bills on the left; on the right what of them has not been counted in yet."""
    lines = list(
        BillLine.objects.filter(scope.layers("bill__"))
        .select_related("bill", "part")
        .order_by("bill__dated", "pk")
    )
    counted = dict(
        ShipmentLine.objects.filter(bill_line__in=lines, good__isnull=False)
        .order_by()
        .values_list("bill_line")
        .annotate(Sum("sent"))
    )
    early = _arrived_before_bill(scope)
    for line in lines:
        earmark = line.bill.earmark_id or 0
        ledger = of[earmark]
        ledger.add("billed", _bill_row(line, line.quantity))
        missing = line.quantity - counted.get(line.pk, 0)
        if missing < 0:
            ledger.add("received_before_bill", _bill_row(line, -missing))
            continue
        missing = _match_early(line, missing, early[earmark, line.part_id], ledger)
        ledger.add("not_yet_arrived", _bill_row(line, missing))
    for (earmark, _part), layers in early.items():
        for layer in layers:
            of[earmark].add(
                "received_before_bill",
                Row(
                    what=_("%(part)s received, bill not here") % {"part": layer.part},
                    since=layer.since,
                    pieces=layer.pieces,
                    cents=layer.pieces * layer.unit_cents,
                ),
            )


def _bill_row(line: BillLine, pieces: int) -> Row:
    return Row(
        what=_("bill %(bill)s, %(part)s")
        % {"bill": line.bill.number, "part": line.part.number},
        since=line.bill.dated,
        pieces=pieces,
        cents=pieces * line.unit_cost_cents,
    )


@dataclass(slots=True)
class _Early:
    """Pieces of a layer that came in without a bill, not matched to one yet."""

    part: str
    since: dt.date
    pieces: int
    unit_cents: int


def _arrived_before_bill(
    scope: _Scope,
) -> defaultdict[tuple[int, int], list[_Early]]:
    """Give what came from the supplier in layers without a bill line."""
    found: defaultdict[tuple[int, int], list[_Early]] = defaultdict(list)
    came = (
        CostLayer.objects.filter(
            scope.layers(), bill_line__isnull=True, entries__account=Place.SUPPLIER
        )
        .select_related("part")
        .annotate(came=Sum("entries__quantity"))
        .order_by("received_on", "pk")
    )
    for layer in came:
        found[layer.earmark_id or 0, layer.part_id].append(
            _Early(
                part=layer.part.number,
                since=layer.received_on,
                pieces=-vars(layer)["came"],
                unit_cents=layer.unit_cost_cents,
            )
        )
    return found


def _match_early(
    line: BillLine, missing: int, early: list[_Early], ledger: _Ledger
) -> int:
    """Match a bill that came after its pieces; gives what is still missing.

    A price that differs from the one booked stays in dispute with the supplier.
    """
    for layer in early:
        pieces = min(missing, layer.pieces)
        layer.pieces -= pieces
        missing -= pieces
        off = pieces * (line.unit_cost_cents - layer.unit_cents)
        if off:
            ledger.add(
                "in_dispute",
                Row(
                    what=_("bill %(bill)s: another price than booked")
                    % {"bill": line.bill.number},
                    since=line.bill.dated,
                    pieces=0,
                    cents=off,
                ),
            )
    return missing


def _disputes(scope: _Scope, of: Mapping[int, _Ledger]) -> None:
    """Put open disputes on the right, and take their damaged pieces off the shelf."""
    rows = Dispute.objects.filter(
        store__in=scope.stores,
        shipment_line__shipment__earmark__in=scope.earmarks,
    ).select_related("shipment_line__shipment", "shipment_line__part")
    for one in rows.order_by("opened_on", "pk"):
        shipment = one.shipment_line.shipment
        ledger = of[shipment.earmark_id or 0]
        cents = one.quantity * one.unit_cost_cents
        facts = {"slip": shipment.number, "part": one.shipment_line.part.number}
        damaged = one.kind == DisputeKind.DAMAGED
        if one.state in UNSETTLED:
            words = _("damaged") if damaged else _("did not arrive")
            row = Row(
                what=_("packing slip %(slip)s, %(part)s: %(words)s")
                % {**facts, "words": words},
                since=one.opened_on,
                pieces=one.quantity,
                cents=cents,
                page="inventory:shipment",
                pk=shipment.pk,
            )
            ledger.add("in_dispute", row)
            if damaged:
                ledger.add(
                    "on_hand",
                    Row(
                        what=_("packing slip %(slip)s, %(part)s: damaged, in dispute")
                        % facts,
                        since=one.opened_on,
                        pieces=-one.quantity,
                        cents=-cents,
                    ),
                )


def _credits_and_write_offs(scope: _Scope, of: Mapping[int, _Ledger]) -> None:
    """Credits and write-offs on the left."""
    for credit in Credit.objects.filter(scope.layers()).order_by("dated", "pk"):
        of[credit.earmark_id or 0].add(
            "credited",
            Row(
                what=_("credit note %(number)s") % {"number": credit.number or "-"},
                since=credit.dated,
                pieces=0,
                cents=credit.at_cost_cents,
            ),
        )
    for gone in WriteOff.objects.filter(scope.layers()).order_by("dated", "pk"):
        ledger = of[gone.earmark_id or 0]
        row = Row(what=gone.why, since=gone.dated, pieces=0, cents=gone.cents)
        ledger.add("written_off", row)
        of_pieces = not gone.of.startswith(
            ("campaigns.claimline:", "inventory.dispute")
        )
        if of_pieces:
            ledger.add(
                "lost",
                Row(
                    what=_("written off: %(why)s") % {"why": gone.why},
                    since=gone.dated,
                    pieces=0,
                    cents=-gone.cents,
                ),
            )


def _shelves(scope: _Scope, of: Mapping[int, _Ledger]) -> None:
    """Pieces by their layers: on hand, on the way, sold over the counter."""
    layers = (
        CostLayer.objects.filter(scope.layers())
        .select_related("part", "bill_line__bill")
        .annotate(
            here=Sum("entries__quantity", filter=_at(*ON_HAND), default=0),
            moving=Sum("entries__quantity", filter=_at(Place.TRANSIT), default=0),
            sold=Sum("entries__quantity", filter=_at(Place.SOLD), default=0),
        )
        .order_by("received_on", "pk")
    )
    for layer in layers:
        bill = layer.bill_line.bill if layer.bill_line else None
        for figure, pieces in (
            ("on_hand", vars(layer)["here"]),
            ("in_transit", vars(layer)["moving"]),
            ("charged_to_customers", vars(layer)["sold"]),
        ):
            of[layer.earmark_id or 0].add(
                figure,
                Row(
                    what=_("%(part)s of bill %(bill)s")
                    % {
                        "part": layer.part.number,
                        "bill": bill.number if bill else "-",
                    },
                    since=bill.dated if bill else layer.received_on,
                    pieces=pieces,
                    cents=pieces * layer.unit_cost_cents,
                    page="inventory:part",
                    pk=layer.part_id,
                ),
            )


def _at(*places: Place) -> Q:
    return Q(entries__account__in=sorted(places))


def _gone(scope: _Scope, place: Place) -> dict[int, tuple[int, int]]:
    """Give pieces and cents that the books have on one account, by earmark.

    What a dispute moved is left out: its own papers tell of it.
    """
    rows = (
        Entry.objects.filter(scope.layers("layer__"), account=place)
        .exclude(movement__subject__startswith="dispute:")
        .order_by()
        .values_list("layer__earmark")
        .annotate(
            pieces=Sum("quantity"),
            cents=Sum(F("quantity") * F("layer__unit_cost_cents")),
        )
    )
    return {earmark: (pieces, cents) for earmark, pieces, cents in rows}


def _returns(scope: _Scope, of: Mapping[int, _Ledger]) -> None:
    """Pieces that went back and are not credited, by their return.

    What the books have as returned beyond the papers shows as a line of its own.
    """
    papers: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    lines = ReturnLine.objects.filter(
        scope.layers("goods_return__"),
        goods_return__state__in=[ReturnState.SHIPPED, ReturnState.CREDITED],
    ).select_related("goods_return", "part")
    for line in lines.order_by("goods_return", "pk"):
        sent = line.goods_return
        cents = line.quantity * line.unit_cost_cents
        papers[sent.earmark_id or 0][0] += line.quantity
        papers[sent.earmark_id or 0][1] += cents
        if line.credited_on is None:
            of[sent.earmark_id or 0].add(
                "returned_not_credited",
                Row(
                    what=_("return %(number)s, %(part)s")
                    % {"number": sent.number, "part": line.part.number},
                    since=sent.shipped_on or timezone.localdate(sent.made_at),
                    pieces=line.quantity,
                    cents=cents,
                    page="inventory:goods_return",
                    pk=sent.pk,
                ),
            )
    for earmark, (pieces, cents) in _gone(scope, Place.RETURNED).items():
        of[earmark].add(
            "returned_not_credited",
            _without_papers(
                _("sent back, without a return on paper"),
                pieces - papers[earmark][0],
                cents - papers[earmark][1],
            ),
        )


def _without_papers(what: str, pieces: int, cents: int) -> Row:
    """Write what the books have and no paper explains."""
    return Row(what=what, since=None, pieces=pieces, cents=cents)


def _lost(scope: _Scope, of: Mapping[int, _Ledger]) -> None:
    """Pieces scrapped, or missing at a count, by their movement."""
    entries = (
        Entry.objects.filter(scope.layers("layer__"), account__in=LOST)
        .exclude(movement__subject__startswith="dispute:")
        .select_related("movement", "layer", "part")
    )
    for entry in entries.order_by("movement__effective_on", "pk"):
        layer = entry.layer
        assert layer is not None  # the filter asks for its earmark
        of[layer.earmark_id or 0].add(
            "lost",
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
                page="inventory:part",
                pk=entry.part_id,
            ),
        )


def _fitted(
    scope: _Scope, of: Mapping[int, _Ledger], ledgers: Mapping[int, _Ledger]
) -> None:
    """Pieces in vehicles: used and not claimed, or charged to somebody else."""
    known: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    rows = (
        PartFitted.objects.filter(
            Q(layer__earmark__in=scope.earmarks)
            | Q(repair__campaign_vehicle__campaign__in=scope.campaigns),
            repair__store__in=scope.stores,
        )
        .select_related("repair__campaign_vehicle", "layer", "part")
        .order_by("repair__done_on", "pk")
    )
    sent = set(
        ClaimLine.objects.filter(
            claim__campaign__in=scope.campaigns,
            claim__store__in=scope.stores,
            part_fitted__isnull=False,
        )
        .exclude(claim__state=ClaimState.READY)
        .values_list("part_fitted", flat=True)
    )
    for one in rows:
        row = _fitted_row(one)
        home = one.layer.earmark_id
        in_campaign = one.repair.campaign_vehicle
        worked = ledgers.get(in_campaign.campaign_id) if in_campaign else None
        mine = of.get(home) if home else None
        if mine is not None and home is not None:
            known[home][0] += row.pieces
            known[home][1] += row.cents
        claims = Payer(one.payer) is Payer.MANUFACTURER and worked is not None
        if claims and worked is not None:
            if worked is not mine:
                worked.add("from_other_stock", row)
            if one.pk not in sent:
                worked.add("used_not_claimed", row)
        if mine is not None and not (claims and worked is mine):
            mine.add(_charged_to(Payer(one.payer)), row)
    for earmark, (pieces, cents) in _gone(scope, Place.USED).items():
        of[earmark].add(
            "used_not_claimed",
            _without_papers(
                _("fitted, without a repair on record"),
                pieces - known[earmark][0],
                cents - known[earmark][1],
            ),
        )


def _fitted_row(one: PartFitted) -> Row:
    return Row(
        what=_("repair order %(order)s, %(part)s")
        % {"order": one.repair.repair_order, "part": one.part.number},
        since=one.repair.done_on or one.layer.received_on,
        pieces=one.quantity,
        cents=one.quantity * one.unit_cost_cents,
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


def _claims(scope: _Scope, ledgers: Mapping[int, _Ledger]) -> None:
    """Payments on the left; on the right the cost that claims still wait for."""
    payments = Payment.objects.filter(
        line__claim__campaign__in=scope.campaigns,
        line__claim__store__in=scope.stores,
        at_cost_cents__gt=0,
    ).select_related("line__claim")
    for paid in payments.order_by("dated", "pk"):
        claim = paid.line.claim
        ledgers[claim.campaign_id].add(
            "paid",
            Row(
                what=_("claim %(number)s, advice %(advice)s")
                % {"number": claim.number, "advice": paid.advice or "-"},
                since=paid.dated,
                pieces=0,
                cents=paid.at_cost_cents,
                page="campaigns:claim",
                pk=claim.pk,
            ),
        )
    lines = (
        ClaimLine.objects.filter(
            claim__campaign__in=scope.campaigns,
            claim__store__in=scope.stores,
            cost_cents__gt=F("paid_cents"),
        )
        .exclude(claim__state__in=[ClaimState.READY, ClaimState.WRITTEN_OFF])
        .select_related("claim")
        .order_by("claim__submitted_on", "pk")
    )
    for line in lines:
        claim = line.claim
        ledgers[claim.campaign_id].add(
            "claimed_not_paid",
            Row(
                what=_("claim %(number)s, %(title)s")
                % {"number": claim.number, "title": line.title},
                since=claim.submitted_on or claim.made_on,
                pieces=line.quantity,
                cents=line.cost_cents - line.paid_cents,
                page="campaigns:claim",
                pk=claim.pk,
            ),
        )
