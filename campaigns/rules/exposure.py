"""The account of a campaign's parts: what was billed is somewhere, to the cent.

billed - credited - paid by the manufacturer - charged to another payer - written off
= not yet arrived + in dispute + on hand + used not claimed + claimed not paid +
returned not credited + in transit + lost and not written off. Every piece counts at
the cents of its cost layer; mark-up, labour and restocking are income or expense and
stand apart.
"""

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date
from enum import StrEnum

from dealership.rules.money import Cents, plain_money
from dealership.rules.refusals import Refusal


class DoesNotBalance(Refusal):
    """The two sides of a campaign's account differ; ``difference_cents`` by how much."""

    def __init__(self, difference_cents: Cents) -> None:
        self.difference_cents = difference_cents
        super().__init__(
            f"The account does not balance: {plain_money(difference_cents)} more was"
            " billed than can be found. Check the books before anything is sent."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Owed:
    """The left side, in cents at cost: what was billed, less what was settled.

    ``received_before_bill`` is owed for pieces that are here while their bill is not;
    ``from_other_stock`` is what the campaign took from shelves that are not its own;
    ``moved_in`` came from other stores. These add to what was billed. ``moved_out`` went
    to other stores; seen for all stores together the two are equal.
    """

    billed: Cents = 0
    received_before_bill: Cents = 0
    from_other_stock: Cents = 0
    moved_in: Cents = 0
    moved_out: Cents = 0
    credited: Cents = 0
    paid: Cents = 0
    charged_to_customers: Cents = 0
    charged_to_store: Cents = 0
    charged_to_other_campaigns: Cents = 0
    written_off: Cents = 0

    @property
    def total(self) -> Cents:
        """Give billed less all that was settled."""
        return (
            self.billed
            + self.received_before_bill
            + self.from_other_stock
            + self.moved_in
            - self.moved_out
            - self.credited
            - self.paid
            - self.charged_to_customers
            - self.charged_to_store
            - self.charged_to_other_campaigns
            - self.written_off
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The right side, in cents at cost: where the unsettled pieces are."""

    not_yet_arrived: Cents = 0
    in_dispute: Cents = 0
    on_hand: Cents = 0
    used_not_claimed: Cents = 0
    claimed_not_paid: Cents = 0
    returned_not_credited: Cents = 0
    in_transit: Cents = 0
    lost: Cents = 0

    @property
    def total(self) -> Cents:
        """Give the exposure: money that is tied up in pieces."""
        return (
            self.not_yet_arrived
            + self.in_dispute
            + self.on_hand
            + self.used_not_claimed
            + self.claimed_not_paid
            + self.returned_not_credited
            + self.in_transit
            + self.lost
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """Both sides of a campaign's account."""

    owed: Owed
    held: Held

    @property
    def difference_cents(self) -> Cents:
        """Give left less right; zero in a right account."""
        return self.owed.total - self.held.total

    @property
    def balances(self) -> bool:
        """Tell whether both sides are equal to the cent."""
        return self.difference_cents == 0


def require_balance(account: Account) -> None:
    """Raise DoesNotBalance unless both sides are equal."""
    if not account.balances:
        raise DoesNotBalance(account.difference_cents)


def add_accounts(accounts: Iterable[Account]) -> Account:
    """Add accounts of stores, parts or campaigns, term by term."""
    every = list(accounts)
    return Account(
        owed=Owed(
            **{
                one.name: sum(getattr(account.owed, one.name) for account in every)
                for one in fields(Owed)
            }
        ),
        held=Held(
            **{
                one.name: sum(getattr(account.held, one.name) for account in every)
                for one in fields(Held)
            }
        ),
    )


class AgeBand(StrEnum):
    """How long money has been tied up in one state, in days."""

    UP_TO_30 = "0-30"
    UP_TO_60 = "31-60"
    UP_TO_90 = "61-90"
    OVER_90 = "over 90"


_BANDS = ((30, AgeBand.UP_TO_30), (60, AgeBand.UP_TO_60), (90, AgeBand.UP_TO_90))


@dataclass(frozen=True, slots=True, kw_only=True)
class Dated:
    """Cents tied up since a day.

    The day is that of the state: bill date for pieces on hand, repair date for
    unclaimed, submission for unpaid, shipping date for returns.
    """

    since: date
    cents: Cents


def age_band(since: date, today: date) -> AgeBand:
    """Give the band of an age; a day still to come counts as today."""
    days = (today - since).days
    for last, band in _BANDS:
        if days <= last:
            return band
    return AgeBand.OVER_90


def age_cents(entries: Iterable[Dated], *, today: date) -> dict[AgeBand, Cents]:
    """Add cents up by age; every band is there, and they add up to the whole."""
    totals = dict.fromkeys(AgeBand, 0)
    for entry in entries:
        totals[age_band(entry.since, today)] += entry.cents
    return totals
