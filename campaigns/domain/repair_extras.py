"""Bills beside the work: loan car, towing, the owner repaid, within the limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.domain.claims import add_lines
from campaigns.domain.lifecycle import refuse_days_ahead
from campaigns.models import Claim, ExtraLimit, Repair, RepairExtra
from campaigns.models.words import EXTRA_WORDS
from campaigns.queries.cover import repair_cover
from campaigns.queries.extras import extra_lines
from campaigns.queries.repairs import price_extras
from campaigns.rules.lifecycle import ClaimLineKind, ClaimState, RepairState
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.once import once


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import Campaign
    from campaigns.rules.claim_gaps import ExtraLimits
    from dealership.models import StaffMember


class NoCampaignToPay(Refusal):
    """The repair belongs to no campaign."""

    def __init__(self) -> None:
        super().__init__(
            _("This repair belongs to no campaign, so no campaign can pay for it.")
        )


class ExtraTooLate(Refusal):
    """The repair is given up, or its claim is on its way already."""

    def __init__(self, repair: Repair) -> None:
        super().__init__(
            _(
                "The claim of repair order %(order)s is not ready any more, so nothing"
                " can be added to it. Ask the manufacturer how it wants the rest."
            )
            % {"order": repair.repair_order}
        )
        self.repair = repair


class DaysMissing(Refusal):
    """A loan car without its days."""

    field = "days"

    def __init__(self) -> None:
        super().__init__(_("Say for how many days the loan car was out."))


class NothingOnTheBill(Refusal):
    """A bill of nothing."""

    field = "cents"

    def __init__(self) -> None:
        super().__init__(_("Enter what the bill comes to, more than zero."))


def add_extra(
    *,
    key: str,
    repair: Repair,
    kind: ClaimLineKind,
    cents: int,
    by: StaffMember | None,
    at: dt.datetime,
    title: str = "",
    days: int | None = None,
    evidence: str = "",
    dated: dt.date | None = None,
) -> RepairExtra:
    """Record a bill of a repair; what the campaign pays of it goes on the claim.

    While the repair is open it waits for the sign-off; while its claim is ready it is
    added there. ``cents`` is the whole bill, ``days`` goes with a loan car, ``evidence``
    and ``dated`` name the paper and may follow later. The same key again gives the
    first result. Raises NoCampaignToPay, ExtraTooLate, DaysMissing, NothingOnTheBill,
    DayAhead.
    """
    if cents < 1:
        raise NothingOnTheBill
    if kind is ClaimLineKind.LOAN_CAR and not days:
        raise DaysMissing
    if dated is not None:
        refuse_days_ahead(dated, at)

    def act() -> RepairExtra:
        fresh = _held(repair)
        extra = RepairExtra.objects.create(
            key=key,
            repair=fresh,
            kind=kind,
            title=title.strip()[:120] or str(EXTRA_WORDS[kind]),
            cents=cents,
            days=days,
            evidence=evidence.strip()[:60],
            dated=dated,
            by=by,
            recorded_at=at,
        )
        record(
            act="repair.extra_added",
            subject=fresh,
            by=by,
            at=at,
            store=fresh.store,
            after={"kind": kind.value, "cents": cents, "extra": extra.pk},
        )
        if fresh.state == RepairState.COMPLETED:
            lines = extra_lines(
                fresh, repair_cover(fresh, odometer_miles=fresh.odometer)
            )
            mine = [one for one in lines if one.extra == extra]
            add_lines(repair=fresh, lines=price_extras(fresh, mine), by=by, at=at)
        return extra

    return once(found=lambda: RepairExtra.objects.filter(key=key).first(), act=act)


def note_paper(
    *,
    extra: RepairExtra,
    evidence: str,
    dated: dt.date | None,
    by: StaffMember | None,
    at: dt.datetime,
) -> RepairExtra:
    """Write down number and date of the paper that proves a bill.

    Raises ExtraTooLate once the claim was sent, DayAhead.
    """
    if dated is not None:
        refuse_days_ahead(dated, at)
    with transaction.atomic():
        fresh = _held(extra.repair)
        before = {"evidence": extra.evidence, "dated": str(extra.dated or "")}
        extra.evidence, extra.dated = evidence.strip()[:60], dated
        extra.save(update_fields=["evidence", "dated"])
        record(
            act="repair.extra_paper_noted",
            subject=fresh,
            by=by,
            at=at,
            store=fresh.store,
            before=before,
            after={"evidence": extra.evidence, "dated": str(dated or "")},
        )
    return extra


def set_limit(
    *,
    campaign: Campaign,
    kind: ClaimLineKind,
    limits: ExtraLimits | None,
    by: StaffMember | None,
    at: dt.datetime,
) -> ExtraLimit | None:
    """Say how much a campaign pays of one kind of extra; None: it pays none.

    Claims that are made already stay as they are.
    """
    with transaction.atomic():
        ExtraLimit.objects.filter(campaign=campaign, kind=kind).delete()
        row = None
        if limits is not None:
            row = ExtraLimit.objects.create(
                campaign=campaign,
                kind=kind,
                most_cents=limits.most_cents,
                day_cents=limits.day_cents,
                most_days=limits.most_days,
            )
        record(
            act="campaign.extra_limit_set",
            subject=campaign,
            by=by,
            at=at,
            after={
                "kind": kind.value,
                "paid": row is not None,
                "most_cents": row.most_cents if row else None,
                "day_cents": row.day_cents if row else None,
                "most_days": row.most_days if row else None,
            },
        )
    return row


def _held(repair: Repair) -> Repair:
    """Read the repair and hold it; refuse what can take no bill any more."""
    fresh = (
        Repair.objects.select_for_update(of=("self",))
        .select_related("store", "vehicle", "campaign_vehicle__campaign")
        .get(pk=repair.pk)
    )
    if fresh.campaign_vehicle is None:
        raise NoCampaignToPay
    claim = Claim.objects.select_for_update(of=("self",)).filter(repair=fresh).first()
    sent = claim is not None and claim.state not in {
        ClaimState.READY,
        ClaimState.REJECTED,
    }
    if sent or fresh.state == RepairState.ABANDONED:
        raise ExtraTooLate(fresh)
    return fresh
