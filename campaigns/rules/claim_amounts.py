"""What a claim asks for, line by line.

A claim is the sum of its rounded lines: parts at the dealer's cost plus handling,
labour by the campaign's published time, work by others at its bill. Never a float.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from campaigns.rules.lifecycle import ClaimLineKind
from dealership.rules.money import (
    STANDARD_PROFILE,
    Cents,
    ExtendedLine,
    RoundingProfile,
    fitted_lines,
)
from dealership.rules.refusals import Refusal


class NotClaimable(Refusal):
    """A line that no claim can carry: nothing on it, or less than nothing."""

    def __init__(self, title: str) -> None:
        self.title = title
        super().__init__(
            f"The line “{title}” has a quantity, time or price below zero, or no"
            " pieces. Correct it before the claim is made."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LineAsked:
    """One line before it is priced.

    ``quantity`` is pieces, or hours for labour; ``unit_cents`` the dealer's cost a
    piece, the rate an hour, or the bill of work by others. ``handling`` is a share
    (0.30: 30 per cent). ``cost_cents`` is what the pieces cost by their layers.
    """

    kind: ClaimLineKind
    title: str
    quantity: Decimal
    unit_cents: Cents
    handling: Decimal = Decimal(0)
    cost_cents: Cents = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PricedLine:
    """One line with its amount, in cents; ``cost_cents`` counts in the exposure."""

    asked: LineAsked
    claimed_cents: Cents


@dataclass(frozen=True, slots=True, kw_only=True)
class PricedClaim:
    """A claim's lines; they add up to its total, however the payer rounds."""

    lines: tuple[PricedLine, ...]

    @property
    def total_cents(self) -> Cents:
        """Give the sum of the lines."""
        return sum(line.claimed_cents for line in self.lines)

    @property
    def cost_cents(self) -> Cents:
        """Give the pieces at cost: the part of the claim that is exposure."""
        return sum(line.asked.cost_cents for line in self.lines)

    def total_of(self, kind: ClaimLineKind) -> Cents:
        """Give the sum of the lines of one kind."""
        return sum(line.claimed_cents for line in self.lines if line.asked.kind == kind)


def part_line(
    title: str, *, pieces: int, unit_cost_cents: Cents, handling: Decimal
) -> LineAsked:
    """Ask for pieces at cost plus handling."""
    return LineAsked(
        kind=ClaimLineKind.PART,
        title=title,
        quantity=Decimal(pieces),
        unit_cents=unit_cost_cents,
        handling=handling,
        cost_cents=pieces * unit_cost_cents,
    )


def labour_line(title: str, *, hundredths: int, rate_cents: Cents) -> LineAsked:
    """Ask for labour: hundredths of an hour times the rate an hour."""
    return LineAsked(
        kind=ClaimLineKind.LABOUR,
        title=title,
        quantity=Decimal(hundredths) / 100,
        unit_cents=rate_cents,
    )


def sublet_line(title: str, *, bill_cents: Cents) -> LineAsked:
    """Ask for work by others, or an allowance, at its price."""
    return LineAsked(
        kind=ClaimLineKind.SUBLET,
        title=title,
        quantity=Decimal(1),
        unit_cents=bill_cents,
    )


def extra_line(kind: ClaimLineKind, title: str, *, cents: Cents) -> LineAsked:
    """Ask for a loan car, towing or what the owner was repaid, at its bill."""
    return LineAsked(kind=kind, title=title, quantity=Decimal(1), unit_cents=cents)


def price_claim(
    lines: Sequence[LineAsked], profile: RoundingProfile = STANDARD_PROFILE
) -> PricedClaim:
    """Price a claim: each line rounded once on its extended amount, then added up.

    A payer who rounds the total once gets lines that add up to that total.

    Raises NotClaimable for a line without pieces or hours, or with a figure below
    zero.
    """
    for line in lines:
        if line.quantity <= 0 or line.unit_cents < 0 or line.handling < 0:
            raise NotClaimable(line.title)
    rounded = fitted_lines(
        [
            ExtendedLine(
                quantity=line.quantity,
                unit_cents=line.unit_cents,
                markup=line.handling,
            )
            for line in lines
        ],
        profile,
    )
    return PricedClaim(
        lines=tuple(
            PricedLine(asked=line, claimed_cents=cents)
            for line, cents in zip(lines, rounded, strict=True)
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """How a payment on a line is split: pieces at cost first, the rest is income."""

    at_cost_cents: Cents
    income_cents: Cents


def settle_payment(*, cost_cents: Cents, paid_before: Cents, cents: Cents) -> Settled:
    """Split a payment on one line; cost is covered before mark-up.

    ``cost_cents`` is the line's pieces at cost, ``paid_before`` what was paid on it
    already; all zero or more.
    """
    covered = min(paid_before, cost_cents)
    at_cost = min(cents, cost_cents - covered)
    return Settled(at_cost_cents=at_cost, income_cents=cents - at_cost)
