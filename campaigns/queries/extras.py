"""Bills beside the work of a repair, and what the campaign pays of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from campaigns.models import ExtraLimit, RepairExtra
from campaigns.models.words import EXTRA_WORDS
from campaigns.queries.wording import EVIDENCE_WORDS, PAYER_REASON_WORDS
from campaigns.rules.claim_amounts import LineAsked, extra_line
from campaigns.rules.claim_gaps import ExtraLimits, ExtraSplit, split_extra
from campaigns.rules.lifecycle import ClaimLineKind, Payer
from campaigns.rules.payer_reasons import PayerReason


if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.utils.functional import _StrPromise

    from campaigns.models import Campaign, Repair
    from campaigns.rules.eligibility import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraNow:
    """One bill with what the campaign pays of it."""

    extra: RepairExtra
    split: ExtraSplit

    @property
    def lacks_paper(self) -> bool:
        """Tell whether number or date of its paper is missing."""
        return not self.extra.evidence or self.extra.dated is None

    @property
    def wants(self) -> str | _StrPromise:
        """Say which paper proves it."""
        return EVIDENCE_WORDS[ClaimLineKind(self.extra.kind)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraLine:
    """A line of a repair for a bill, or a part of one, with its one payer."""

    payer: Payer
    asked: LineAsked
    why: str | _StrPromise
    extra: RepairExtra | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KindOffered:
    """One kind of extra and what a campaign pays of it; None where it pays none."""

    kind: ClaimLineKind
    limit: ExtraLimit | None

    @property
    def words(self) -> str | _StrPromise:
        """Name the kind."""
        return EXTRA_WORDS[self.kind]

    @property
    def wants(self) -> str | _StrPromise:
        """Say which paper proves it."""
        return EVIDENCE_WORDS[self.kind]


def kinds_offered(campaign: Campaign) -> list[KindOffered]:
    """Give each kind of extra with the campaign's limits, in one query."""
    limits = {one.kind: one for one in ExtraLimit.objects.filter(campaign=campaign)}
    return [
        KindOffered(kind=kind, limit=limits.get(kind.value)) for kind in EXTRA_WORDS
    ]


def extras_of(repair: Repair) -> list[ExtraNow]:
    """Give the bills of a repair with what its campaign pays of each, in two queries."""
    row = repair.campaign_vehicle
    if row is None:
        return []
    limits = {
        one.kind: limits_in(one)
        for one in ExtraLimit.objects.filter(campaign=row.campaign_id)
    }
    return [
        ExtraNow(
            extra=one,
            split=split_extra(limits.get(one.kind), cents=one.cents, days=one.days),
        )
        for one in RepairExtra.objects.filter(repair=repair).order_by("pk")
    ]


def limits_in(row: ExtraLimit) -> ExtraLimits:
    """Read a campaign's limits of one kind."""
    return ExtraLimits(
        most_cents=row.most_cents, day_cents=row.day_cents, most_days=row.most_days
    )


def extra_lines(repair: Repair, verdict: Verdict) -> list[ExtraLine]:
    """Put the bills of a repair into lines, each with its one payer.

    What the campaign does not pay is the store's own; so is all of it where the
    campaign no longer covers the vehicle.
    """
    covered = verdict.payer in {Payer.MANUFACTURER, None}
    return [
        line for one in extras_of(repair) for line in _lines_of(one, covered=covered)
    ]


def _lines_of(one: ExtraNow, *, covered: bool) -> Iterator[ExtraLine]:
    extra, kind = one.extra, ClaimLineKind(one.extra.kind)
    claimed = one.split.claimed_cents if covered else 0
    over = extra.cents - claimed
    if claimed:
        yield ExtraLine(
            payer=Payer.MANUFACTURER,
            asked=extra_line(kind, extra.title, cents=claimed),
            why=PAYER_REASON_WORDS[PayerReason.CAMPAIGN],
            extra=extra,
        )
    if over:
        reason = PayerReason.NOT_OFFERED if not claimed else PayerReason.OVER_LIMIT
        yield ExtraLine(
            payer=Payer.STORE,
            asked=extra_line(kind, extra.title, cents=over),
            why=PAYER_REASON_WORDS[reason if covered else PayerReason.PAST_LIMIT],
            extra=None,
        )
