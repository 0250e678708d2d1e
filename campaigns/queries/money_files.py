"""Holding the rows of a bill file or payment advice against what stands in the house."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from campaigns.models import Claim
from campaigns.models.words import CLAIM_WORDS
from campaigns.rules.lifecycle import CLAIM_MOVES, ClaimState
from dealership.rules.money import plain_money
from inventory.models import Bill, Part, ShipmentLine


if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from campaigns.models import Allocation, ClaimLine
    from campaigns.rules.money_rows import BilledRow, PaidRow
    from dealership.models import Store
    from inventory.models import Earmark


class Verdict(StrEnum):
    """How a row fits."""

    MATCHED = "matched"
    DIFFERS = "differs"
    UNKNOWN = "unknown"
    ALREADY = "already"


@dataclass(frozen=True, slots=True, kw_only=True)
class PaidMatch:
    """A row of a payment advice beside its claim.

    ``pays`` is cents by claim line id; empty where the row is not applied. ``refuses``:
    the row tells that the claim was refused.
    """

    row: PaidRow
    verdict: Verdict
    sentence: str
    ours: str
    theirs: str
    claim: Claim | None = None
    pays: dict[int, int] = field(default_factory=dict)
    refuses: bool = False

    @property
    def applies(self) -> bool:
        """Tell whether the row changes something."""
        return bool(self.pays) or self.refuses


@dataclass(frozen=True, slots=True, kw_only=True)
class BilledMatch:
    """A row of a bill file beside what was announced or ordered.

    ``applies``: its whole bill can be entered.
    """

    row: BilledRow
    verdict: Verdict
    sentence: str
    ours: str
    theirs: str
    part: Part | None = None
    line: ShipmentLine | None = None
    applies: bool = False


Match = PaidMatch | BilledMatch


def match_payments(store: Store, rows: Iterable[PaidRow]) -> list[PaidMatch]:
    """Hold each row against the claim that it names; the queries are always the same.

    A claim named without a line is paid over its lines in their order.
    """
    every = list(rows)
    claims = {
        one.number: one
        for one in Claim.objects.in_store(store)
        .filter(number__in={row.claim for row in every})
        .select_related("repair__vehicle")
        .prefetch_related("lines__part_fitted__part", "lines__payments")
    }
    left = {
        line.pk: line.claimed_cents - line.paid_cents
        for claim in claims.values()
        for line in claim.lines.all()
    }
    return [_match_paid(row, claims.get(row.claim), left) for row in every]


def _match_paid(row: PaidRow, claim: Claim | None, left: dict[int, int]) -> PaidMatch:
    theirs = plain_money(row.cents)
    if claim is None:
        words = _("This store has no claim %(number)d.") % {"number": row.claim}
        return PaidMatch(
            row=row, verdict=Verdict.UNKNOWN, sentence=words, ours="", theirs=theirs
        )
    lines = _lines_of(claim, row.line)
    ours = plain_money(sum(left[line.pk] for line in lines))

    def told(
        verdict: Verdict,
        sentence: str,
        pays: dict[int, int] | None = None,
        *,
        refuses: bool = False,
    ) -> PaidMatch:
        return PaidMatch(
            row=row,
            verdict=verdict,
            sentence=sentence,
            ours=ours,
            theirs=theirs,
            claim=claim,
            pays=pays or {},
            refuses=refuses,
        )

    vin = claim.repair.vehicle.vin
    if row.vin and row.vin != vin:
        words = _("The claim is for %(ours)s, the advice says %(theirs)s.")
        return told(Verdict.DIFFERS, words % {"ours": vin, "theirs": row.vin})
    if not lines:
        words = _("Claim %(number)d has no line “%(line)s”.")
        return told(Verdict.UNKNOWN, words % {"number": claim.number, "line": row.line})
    if _noted(row, lines):
        return told(Verdict.ALREADY, _("This payment is noted already."))
    state = ClaimState(claim.state)
    if ClaimState.SHORT_PAID not in CLAIM_MOVES[state] | {state}:
        words = _("The claim is “%(state)s”, so no payment is expected.")
        return told(Verdict.DIFFERS, words % {"state": CLAIM_WORDS[state]})
    return _hold_amounts(row, lines, left, state, told)


def _hold_amounts(
    row: PaidRow,
    lines: Sequence[ClaimLine],
    left: dict[int, int],
    state: ClaimState,
    told: Callable[..., PaidMatch],
) -> PaidMatch:
    """Compare cents with cents; ``left`` keeps what earlier rows have taken."""
    wanted = sum(left[line.pk] for line in lines)
    if row.cents == 0:
        may = ClaimState.REJECTED in CLAIM_MOVES[state] and not row.line
        if row.reason and may:
            words = _("Refused: %(why)s") % {"why": row.reason}
            return told(Verdict.DIFFERS, words, refuses=True)
        words = _("Nothing is paid, and it is not said why the whole claim is refused.")
        return told(Verdict.DIFFERS, words)
    if row.cents > wanted:
        words = _("%(more)s more than is asked for; ask the payer what it is for.")
        return told(Verdict.DIFFERS, words % {"more": plain_money(row.cents - wanted)})
    pays, rest = {}, row.cents
    for line in lines:
        pays[line.pk] = min(left[line.pk], rest)
        rest -= pays[line.pk]
        left[line.pk] -= pays[line.pk]
    pays = {pk: cents for pk, cents in pays.items() if cents}
    if row.cents == wanted:
        return told(Verdict.MATCHED, _("Paid as asked."), pays)
    words = _("Paid short by %(short)s. %(why)s")
    return told(
        Verdict.DIFFERS,
        words % {"short": plain_money(wanted - row.cents), "why": row.reason},
        pays,
    )


def _lines_of(claim: Claim, name: str) -> list[ClaimLine]:
    """Give the lines that a row means: by part number or words, else all."""
    lines = sorted(claim.lines.all(), key=lambda one: one.pk)
    if not name:
        return lines
    wish = name.casefold()
    return [
        line
        for line in lines
        if wish in (line.title.casefold(), line.kind)
        or (line.part_fitted and line.part_fitted.part.number.casefold() == wish)
    ]


def _noted(row: PaidRow, lines: Sequence[ClaimLine]) -> bool:
    """Tell whether payments of the same advice come to the same amount."""
    if not row.advice or not row.cents:
        return False
    paid = [
        one.cents
        for line in lines
        for one in line.payments.all()
        if one.advice == row.advice
    ]
    return bool(paid) and sum(paid) == row.cents


def said(pieces: int, cents: int) -> str:
    """Say pieces and price as both sides show them."""
    return _("%(n)d at %(price)s") % {"n": pieces, "price": plain_money(cents)}


def match_bills(store: Store, rows: Iterable[BilledRow]) -> list[BilledMatch]:
    """Hold each row against a delivery that has no bill yet.

    The slip decides where it is named, else the same number of pieces, else the oldest.
    """
    every = list(rows)
    parts = {
        one.number.upper(): one
        for one in Part.objects.filter(
            number__in={row.part for row in every}
        ).select_related("supplier")
    }
    entered = {
        one.number: one
        for one in Bill.objects.in_store(store)
        .filter(number__in={row.bill for row in every})
        .prefetch_related("lines__part")
    }
    waiting: dict[int, list[ShipmentLine]] = defaultdict(list)
    for line in (
        ShipmentLine.objects.filter(
            shipment__store=store, bill_line__isnull=True, part__in=parts.values()
        )
        .select_related("shipment__earmark", "order_line", "part")
        .prefetch_related("shipment__allocations")
        .order_by("pk")
    ):
        waiting[line.part_id].append(line)
    found = [_match_billed(row, parts, entered, waiting) for row in every]
    return _whole_bills(found)


def _match_billed(
    row: BilledRow,
    parts: dict[str, Part],
    entered: dict[str, Bill],
    waiting: dict[int, list[ShipmentLine]],
) -> BilledMatch:
    theirs = said(row.quantity, row.unit_cents)
    part = parts.get(row.part)
    if part is None:
        return BilledMatch(
            row=row,
            verdict=Verdict.UNKNOWN,
            sentence=_("No part has the number %(part)s.") % {"part": row.part},
            ours="",
            theirs=theirs,
        )
    bill = entered.get(row.bill)
    if bill is not None:
        return _beside_bill(row, part, bill, theirs)
    line = _choose(row, waiting[part.pk])
    if line is None:
        return BilledMatch(
            row=row,
            verdict=Verdict.UNKNOWN,
            sentence=_("No delivery of %(part)s waits for a bill here.")
            % {"part": part.number},
            ours="",
            theirs=theirs,
            part=part,
        )
    waiting[part.pk].remove(line)
    price = price_expected(line)
    same = (line.sent, price) == (row.quantity, row.unit_cents)
    return BilledMatch(
        row=row,
        verdict=Verdict.MATCHED if same else Verdict.DIFFERS,
        sentence=_("Packing slip %(slip)s, as announced.")
        % {"slip": line.shipment.number}
        if same
        else _("Packing slip %(slip)s says something else.")
        % {"slip": line.shipment.number},
        ours=said(line.sent, price),
        theirs=theirs,
        part=part,
        line=line,
    )


def _beside_bill(row: BilledRow, part: Part, bill: Bill, theirs: str) -> BilledMatch:
    """Hold a row against the bill of the same number that is entered already."""
    lines = [one for one in bill.lines.all() if one.part_id == part.pk]
    same = any(
        (one.quantity, one.unit_cost_cents) == (row.quantity, row.unit_cents)
        for one in lines
    )
    ours = ", ".join(said(one.quantity, one.unit_cost_cents) for one in lines)
    return BilledMatch(
        row=row,
        verdict=Verdict.ALREADY if same else Verdict.DIFFERS,
        sentence=_("Bill %(bill)s is entered already.") % {"bill": bill.number}
        if same
        else _("Bill %(bill)s is entered with other figures; a bill is entered once.")
        % {"bill": bill.number},
        ours=ours,
        theirs=theirs,
        part=part,
    )


def _choose(row: BilledRow, lines: Sequence[ShipmentLine]) -> ShipmentLine | None:
    mine = [one for one in lines if not row.slip or one.shipment.number == row.slip]
    same = [one for one in mine if one.sent == row.quantity]
    return next(iter(same or mine), None)


def price_expected(line: ShipmentLine) -> int:
    """Give the price announced, else the one ordered, else the part's own, in cents."""
    batch: Allocation
    for batch in line.shipment.allocations.all():
        if batch.part_id == line.part_id:
            return batch.unit_cost_cents
    if line.order_line:
        return line.order_line.unit_cost_cents
    return line.part.unit_cost_cents


def _whole_bills(found: Sequence[BilledMatch]) -> list[BilledMatch]:
    """Let a bill be entered where each of its rows can, under one earmark."""
    by_bill: dict[str, list[BilledMatch]] = defaultdict(list)
    for one in found:
        by_bill[one.row.bill].append(one)
    whole = {
        number
        for number, mine in by_bill.items()
        if all(one.line is not None for one in mine)
        and len({_earmark(one) for one in mine}) == 1
        and len({one.row.dated for one in mine}) == 1
        and len({one.part.supplier_id for one in mine if one.part}) == 1
    }
    return [
        BilledMatch(
            row=one.row,
            verdict=one.verdict,
            sentence=one.sentence,
            ours=one.ours,
            theirs=one.theirs,
            part=one.part,
            line=one.line,
            applies=one.row.bill in whole,
        )
        for one in found
    ]


def _earmark(one: BilledMatch) -> Earmark | None:
    return one.line.shipment.earmark if one.line else None
