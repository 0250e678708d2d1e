"""What a claim lacks before it is sent, and by how much an extra may be claimed.

A manufacturer sends back a claim whose facts are not whole. Which facts it wants is in
its own claim rules, which prevail; these are the common ones (common practice, no
source).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from campaigns.rules.lifecycle import ClaimLineKind, Outcome
from dealership.rules.money import Cents


EXTRA_KINDS = (ClaimLineKind.LOAN_CAR, ClaimLineKind.TOWING, ClaimLineKind.REPAID)
"""What a campaign may pay beside the work itself."""


class GapKind(StrEnum):
    """Something that a claim lacks."""

    ODOMETER = "odometer"
    DONE_ON = "done_on"
    PART = "part"
    CHECK = "check"
    EVIDENCE = "evidence"
    PAST_DATE = "past_date"


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One thing that a claim lacks; ``about`` names the part, check or line."""

    kind: GapKind
    about: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartWanted:
    """A part that every vehicle of the variant takes, in pieces.

    ``fitted`` counts pieces of the number itself and of older numbers that serve.
    """

    number: str
    wanted: int
    fitted: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraClaimed:
    """A line beside the work, and the paper that proves it."""

    title: str
    evidence: str
    dated: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimFacts:
    """What is known of the work that a claim is for.

    ``checks`` are (title, within limits) of every check of the variant.
    """

    outcome: Outcome
    odometer: int | None
    done_on: date | None
    parts: Sequence[PartWanted] = ()
    checks: Sequence[tuple[str, bool]] = ()
    extras: Sequence[ExtraClaimed] = ()
    claims_until: date | None = None


_SIGNED_OFF = frozenset({Outcome.REMEDIED, Outcome.INSPECTED_CLEAR})


def gaps_of(facts: ClaimFacts, *, today: date) -> list[Gap]:
    """Name everything that a claim lacks, and its date when that has passed.

    A part counts as lacking where fewer pieces than planned were fitted in a remedy;
    a check where the vehicle was signed off without a value inside its limits.
    """
    return [
        *(_of_work(facts)),
        *(
            Gap(kind=GapKind.EVIDENCE, about=one.title)
            for one in facts.extras
            if not one.evidence.strip() or one.dated is None
        ),
        *(
            [Gap(kind=GapKind.PAST_DATE, about=facts.claims_until.isoformat())]
            if facts.claims_until is not None and facts.claims_until < today
            else []
        ),
    ]


def _of_work(facts: ClaimFacts) -> Iterable[Gap]:
    if facts.odometer is None:
        yield Gap(kind=GapKind.ODOMETER)
    if facts.done_on is None:
        yield Gap(kind=GapKind.DONE_ON)
    if facts.outcome is Outcome.REMEDIED:
        for part in facts.parts:
            if part.fitted < part.wanted:
                yield Gap(kind=GapKind.PART, about=part.number)
    if facts.outcome in _SIGNED_OFF:
        for title, closed in facts.checks:
            if not closed:
                yield Gap(kind=GapKind.CHECK, about=title)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraLimits:
    """How much a campaign pays of one kind of extra; None where it sets no limit.

    ``most_cents`` for one repair, ``day_cents`` a day, ``most_days`` days.
    """

    most_cents: Cents | None = None
    day_cents: Cents | None = None
    most_days: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraSplit:
    """An extra's bill in two: what the campaign pays and what is left to the store."""

    claimed_cents: Cents
    over_cents: Cents


def split_extra(
    limits: ExtraLimits | None, *, cents: Cents, days: int | None
) -> ExtraSplit:
    """Split a bill by the campaign's limits; without any limits it pays nothing.

    ``cents`` is the whole bill, zero or more; ``days`` how long a loan car was out. A
    limit a day counts for the days, and for one day where none are told.
    """
    if limits is None:
        return ExtraSplit(claimed_cents=0, over_cents=cents)
    most = [cents]
    if limits.most_cents is not None:
        most.append(limits.most_cents)
    counted = days or 1
    if limits.most_days is not None and counted > limits.most_days:
        # the days beyond are not paid: the bill counts in proportion, rounded down
        most.append(cents * limits.most_days // counted)
        counted = limits.most_days
    if limits.day_cents is not None:
        most.append(limits.day_cents * counted)
    claimed = min(most)
    return ExtraSplit(claimed_cents=claimed, over_cents=cents - claimed)
