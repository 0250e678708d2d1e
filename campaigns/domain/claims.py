"""What the manufacturer is asked to pay, and what becomes of it.

Every step takes a key: the same key again gives the first result. A step is a row of
its own (ClaimAct) that is only added to, and so is each payment.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import F
from django.utils.translation import gettext as _

from campaigns.domain.lifecycle import refuse_days_ahead
from campaigns.models import Claim, ClaimAct, ClaimLine, Payment
from campaigns.models.words import CLAIM_WORDS
from campaigns.rules.claim_amounts import settle_payment
from campaigns.rules.lifecycle import CLAIM_MOVES, ClaimLineKind, ClaimState, Payer
from dealership.domain.audit import record, subject_of
from dealership.domain.series import next_number
from dealership.rules.money import plain_money
from dealership.rules.refusals import Refusal
from inventory.domain.once import once
from inventory.models import WriteOff


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from campaigns.models import Repair
    from campaigns.queries.repairs import PayerLine
    from dealership.models import StaffMember


class ClaimCannot(Refusal):
    """The claim does not stand where this step starts from."""

    def __init__(self, claim: Claim, to: ClaimState) -> None:
        super().__init__(
            _(
                "Claim %(number)d is “%(before)s”, so it cannot become “%(to)s”. Reload"
                " the page to see how it stands now."
            )
            % {
                "number": claim.number,
                "before": CLAIM_WORDS[ClaimState(claim.state)],
                "to": CLAIM_WORDS[to],
            }
        )
        self.claim = claim
        self.to = to


class ReasonMissing(Refusal):
    """A step that needs a reason has none."""

    def __init__(self) -> None:
        super().__init__(_("Say why; the reason stays with the claim."))


class NothingPaid(Refusal):
    """A payment of nothing on every line."""

    def __init__(self, claim: Claim) -> None:
        super().__init__(
            _(
                "No line of claim %(number)d is paid by this. Enter what was paid, or"
                " record a rejection."
            )
            % {"number": claim.number}
        )
        self.claim = claim


class PaymentBelowZero(Refusal):
    """A payment of less than nothing."""

    def __init__(self, line: ClaimLine, cents: int) -> None:
        super().__init__(
            _("“%(title)s”: a payment is zero or more.") % {"title": line.title}
        )
        self.line = line
        self.cents = cents


class Overpaid(Refusal):
    """More than a line still asks for."""

    def __init__(self, line: ClaimLine, cents: int, open_cents: int) -> None:
        super().__init__(
            _(
                "“%(title)s”: %(paid)s is more than the %(open)s still open. Enter"
                " what belongs to this line; ask the payer about the rest."
            )
            % {
                "title": line.title,
                "paid": plain_money(cents),
                "open": plain_money(open_cents),
            }
        )
        self.line = line
        self.cents = cents
        self.open_cents = open_cents


class LineOfAnotherClaim(Refusal):
    """A payment names a line that is not on this claim."""

    def __init__(self, claim: Claim, line_id: int) -> None:
        super().__init__(
            _("A line paid here is not on claim %(number)d. Open the claim again.")
            % {"number": claim.number}
        )
        self.claim = claim
        self.line_id = line_id


class KeyOfAnotherClaim(Refusal):
    """The key of this step already stands on another claim."""

    def __init__(self) -> None:
        super().__init__(
            _("This form was already used for another claim. Open it again.")
        )


def make_ready(
    *,
    repair: Repair,
    lines: Iterable[PayerLine],
    by: StaffMember | None,
    at: dt.datetime,
) -> Claim | None:
    """Make the claim of a repair from the lines that the manufacturer pays.

    Runs in the transaction of the sign-off. None where the manufacturer pays nothing
    or the repair belongs to no campaign.
    """
    asked = [line for line in lines if line.payer is Payer.MANUFACTURER]
    row = repair.campaign_vehicle
    if row is None or not asked or repair.done_on is None:
        return None
    claim = Claim.objects.create(
        store=repair.store,
        campaign=row.campaign,
        repair=repair,
        number=next_number(store=repair.store, kind="claim"),
        made_on=repair.done_on,
    )
    ClaimLine.objects.bulk_create([_line(claim, one) for one in asked])
    record(
        act="claim.made",
        subject=claim,
        by=by,
        at=at,
        store=repair.store,
        after={"cents": sum(one.priced.claimed_cents for one in asked)},
    )
    return claim


def add_lines(
    *,
    repair: Repair,
    lines: Sequence[PayerLine],
    by: StaffMember | None,
    at: dt.datetime,
) -> Claim | None:
    """Add lines to the claim of a repair that is signed off; made where there is none.

    Runs in the caller's transaction, which holds the claim and has seen that it is not
    on its way. None where the manufacturer pays none of them.
    """
    asked = [line for line in lines if line.payer is Payer.MANUFACTURER]
    claim = Claim.objects.filter(repair=repair).first()
    if claim is None or not asked:
        return make_ready(repair=repair, lines=asked, by=by, at=at)
    ClaimLine.objects.bulk_create([_line(claim, one) for one in asked])
    record(
        act="claim.lines_added",
        subject=claim,
        by=by,
        at=at,
        store=repair.store,
        after={"cents": sum(one.priced.claimed_cents for one in asked)},
    )
    return claim


def submit(
    *,
    key: str,
    claim: Claim,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    reference: str = "",
) -> Claim:
    """Note that a claim was sent, for the first time or again.

    From ready, paid in part, or rejected. After the campaign's claim date it is still
    recorded: the manufacturer decides. Raises ClaimCannot, DayAhead.
    """

    def act(claim: Claim) -> ClaimAct:
        before = _move(claim, ClaimState.SUBMITTED, submitted_on=dated, rejected_why="")
        asked = sum(one.claimed_cents - one.paid_cents for one in claim.lines.all())
        return _note(
            key=key,
            claim=claim,
            before=before,
            dated=dated,
            cents=asked,
            reference=reference,
            by=by,
            at=at,
        )

    refuse_days_ahead(dated, at)
    return _once(key, claim, act)


def submit_many(
    *,
    key: str,
    claims: Sequence[Claim],
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    reference: str = "",
) -> list[Claim]:
    """Note that several claims were sent together; one at a time, each by its own key.

    Raises ClaimCannot for the first that cannot be sent; those before it are sent, and
    the same call again goes on.
    """
    return [
        submit(
            key=f"{key}:{claim.pk}",
            claim=claim,
            dated=dated,
            by=by,
            at=at,
            reference=reference,
        )
        for claim in claims
    ]


def record_payment(
    *,
    key: str,
    claim: Claim,
    paid: Mapping[int, int],
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    advice: str = "",
) -> Claim:
    """Record what was paid on each line; ``paid`` is cents by the line's id.

    A line left out is paid nothing. All paid closes the claim, else it is paid in
    part. On a line of pieces the cost is covered before the mark-up. Raises
    ClaimCannot, Overpaid, PaymentBelowZero, NothingPaid, LineOfAnotherClaim, DayAhead.
    """

    def act(claim: Claim) -> ClaimAct:
        before = _hold(claim, ClaimState.SHORT_PAID)
        lines = {line.pk: line for line in claim.lines.all()}
        _refuse_payment(claim, lines, paid)
        for line_id in sorted(paid):
            if paid[line_id]:
                _pay(
                    lines[line_id],
                    paid[line_id],
                    key=key,
                    dated=dated,
                    advice=advice,
                    by=by,
                    at=at,
                )
        whole = not claim.lines.filter(paid_cents__lt=F("claimed_cents")).exists()
        to = ClaimState.PAID if whole else ClaimState.SHORT_PAID
        _set(claim, to, settled_on=dated if whole else None)
        return _note(
            key=key,
            claim=claim,
            before=before,
            dated=dated,
            cents=sum(paid.values()),
            reference=advice,
            by=by,
            at=at,
        )

    refuse_days_ahead(dated, at)
    return _once(key, claim, act)


def reject(
    *,
    key: str,
    claim: Claim,
    why: str,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    reference: str = "",
) -> Claim:
    """Note that the manufacturer refused a claim, and why.

    Raises ReasonMissing, ClaimCannot, DayAhead.
    """

    def act(claim: Claim) -> ClaimAct:
        before = _move(claim, ClaimState.REJECTED, rejected_why=why.strip()[:200])
        return _note(
            key=key,
            claim=claim,
            before=before,
            dated=dated,
            why=why,
            reference=reference,
            by=by,
            at=at,
        )

    _need_reason(why)
    refuse_days_ahead(dated, at)
    return _once(key, claim, act)


def write_off(
    *,
    key: str,
    claim: Claim,
    why: str,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> Claim:
    """Give up what is still open on a claim, and say why.

    The pieces' cost that nobody pays leaves the campaign's account as a write-off, one
    line of the books a claim line. Raises ReasonMissing, ClaimCannot, DayAhead.
    """

    def act(claim: Claim) -> ClaimAct:
        before = _move(claim, ClaimState.WRITTEN_OFF, settled_on=dated)
        given_up = 0
        for line in claim.lines.order_by("pk"):
            given_up += _give_up(line, key=key, why=why, dated=dated, by=by, at=at)
        return _note(
            key=key,
            claim=claim,
            before=before,
            dated=dated,
            cents=given_up,
            why=why,
            by=by,
            at=at,
        )

    _need_reason(why)
    refuse_days_ahead(dated, at)
    return _once(key, claim, act)


def _line(claim: Claim, one: PayerLine) -> ClaimLine:
    """Turn a priced line into a row; labour counts hundredths of an hour."""
    asked = one.priced.asked
    labour = asked.kind is ClaimLineKind.LABOUR
    return ClaimLine(
        claim=claim,
        kind=asked.kind,
        title=asked.title[:160],
        part_fitted=one.part_fitted,
        extra=one.extra,
        quantity=int(asked.quantity * 100) if labour else int(asked.quantity),
        cost_cents=asked.cost_cents,
        claimed_cents=one.priced.claimed_cents,
    )


def _once(key: str, claim: Claim, act: Callable[[Claim], ClaimAct]) -> Claim:
    """Do a step once a key; the answer is the claim as it stands then."""

    def found() -> ClaimAct | None:
        first = ClaimAct.objects.filter(key=key).first()
        if first is not None and first.claim_id != claim.pk:
            raise KeyOfAnotherClaim
        return first

    def do() -> ClaimAct:
        fresh = Claim.objects.select_related("campaign", "store").get(pk=claim.pk)
        return act(fresh)

    once(found=found, act=do)
    claim.refresh_from_db()
    return claim


def _hold(claim: Claim, to: ClaimState) -> ClaimState:
    """Hold the row until the transaction ends; refuse unless it may go there.

    A claim that is paid in part may be paid further.
    """
    before = ClaimState(claim.state)
    further = before is to is ClaimState.SHORT_PAID
    if not (to in CLAIM_MOVES[before] or further):
        raise ClaimCannot(claim, to)
    if not Claim.objects.filter(pk=claim.pk, state=before).update(state=before):
        claim.refresh_from_db(fields=["state"])
        raise ClaimCannot(claim, to)
    return before


def _set(claim: Claim, to: ClaimState, **facts: object) -> None:
    Claim.objects.filter(pk=claim.pk).update(state=to, **facts)
    claim.state = to


def _move(claim: Claim, to: ClaimState, **facts: object) -> ClaimState:
    """Move a claim if it still stands as it was read; gives what it was."""
    before = _hold(claim, to)
    _set(claim, to, **facts)
    return before


def _need_reason(why: str) -> None:
    if not why.strip():
        raise ReasonMissing


def _refuse_payment(
    claim: Claim, lines: Mapping[int, ClaimLine], paid: Mapping[int, int]
) -> None:
    for line_id, cents in paid.items():
        if line_id not in lines:
            raise LineOfAnotherClaim(claim, line_id)
        line = lines[line_id]
        if cents < 0:
            raise PaymentBelowZero(line, cents)
        if cents > line.claimed_cents - line.paid_cents:
            raise Overpaid(line, cents, line.claimed_cents - line.paid_cents)
    if not any(paid.values()):
        raise NothingPaid(claim)


def _pay(
    line: ClaimLine,
    cents: int,
    *,
    key: str,
    dated: dt.date,
    advice: str,
    by: StaffMember | None,
    at: dt.datetime,
) -> None:
    """Write one payment and the line's running sum."""
    settled = settle_payment(
        cost_cents=line.cost_cents, paid_before=line.paid_cents, cents=cents
    )
    Payment.objects.create(
        key=f"{key}:{line.pk}",
        line=line,
        advice=advice[:40],
        dated=dated,
        cents=cents,
        at_cost_cents=settled.at_cost_cents,
        by=by,
        recorded_at=at,
    )
    ClaimLine.objects.filter(pk=line.pk).update(paid_cents=F("paid_cents") + cents)


def _give_up(
    line: ClaimLine,
    *,
    key: str,
    why: str,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> int:
    """Close one line; gives the cents given up. Cost not covered is written off."""
    given_up = line.claimed_cents - line.paid_cents
    ClaimLine.objects.filter(pk=line.pk).update(written_off_cents=given_up)
    at_cost = line.cost_cents - min(line.paid_cents, line.cost_cents)
    if at_cost:
        WriteOff.objects.create(
            store=line.claim.store,
            earmark=line.claim.campaign.earmark,
            key=f"{key}:{line.pk}",
            of=subject_of(line),
            cents=at_cost,
            why=why.strip()[:200],
            dated=dated,
            by=by,
            recorded_at=at,
        )
    return given_up


def _note(
    *,
    key: str,
    claim: Claim,
    before: ClaimState,
    dated: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
    cents: int = 0,
    reference: str = "",
    why: str = "",
) -> ClaimAct:
    """Write the step and its line in the trail."""
    act = ClaimAct.objects.create(
        key=key,
        claim=claim,
        state=claim.state,
        dated=dated,
        cents=cents,
        reference=reference.strip()[:40],
        why=why.strip()[:200],
        by=by,
        recorded_at=at,
    )
    record(
        act=f"claim.{ClaimState(claim.state).value}",
        subject=claim,
        by=by,
        at=at,
        store=claim.store,
        before={"state": before.value},
        after={"state": str(claim.state), "cents": cents},
        why=why.strip(),
    )
    return act
