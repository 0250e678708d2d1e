"""The account of a campaign's parts, worked out twice: from papers, from pieces.

Left from papers: bills, credits, payments, charges to others, write-offs. Right from
the books of pieces and where each piece is now. Every piece counts at the cents of its
cost layer, and the account follows the layers that were billed under the campaign's
earmark, wherever their pieces go; pieces that a repair of the campaign takes from other
layers come in as taken from other stock, and those that go to another store leave the
account of the one and come into that of the other.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

from campaigns.queries.account_bills import gather_bills
from campaigns.queries.account_papers import gather_papers
from campaigns.queries.account_pieces import gather_pieces
from campaigns.queries.account_rows import Ledger, Row, Scope
from campaigns.rules.exposure import (
    Account,
    AgeBand,
    Dated,
    Held,
    Owed,
    add_accounts,
    age_cents,
)


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from campaigns.models import Campaign


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignAccount:
    """One campaign's account: both sides, and the rows behind each figure by name.

    ``passed`` are rows that cancel each other on different days (see Ledger).
    """

    campaign: Campaign
    account: Account
    rows: Mapping[str, tuple[Row, ...]]
    passed: tuple[Row, ...] = ()

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


def campaign_account(
    campaign: Campaign, *, store_ids: Collection[int]
) -> CampaignAccount:
    """Give the account of one campaign in these stores together."""
    return campaign_accounts([campaign], store_ids=store_ids)[campaign.pk]


def campaign_accounts(
    campaigns: Sequence[Campaign], *, store_ids: Collection[int]
) -> dict[int, CampaignAccount]:
    """Give the accounts of several campaigns, by id; the same few queries for any."""
    scope = Scope.of(campaigns, store_ids)
    gather_bills(scope)
    gather_papers(scope)
    gather_pieces(scope)
    return {one.pk: _closed(one, scope.ledgers[one.pk]) for one in campaigns}


def held_rows(
    campaigns: Sequence[Campaign], *, store_ids: Collection[int]
) -> dict[int, dict[str, list[Row]]]:
    """Give the right side alone, by campaign id and figure: where money is tied up.

    Reads only what is not settled yet, so a group's whole history costs nothing here.
    """
    scope = Scope.of(campaigns, store_ids)
    gather_bills(scope)
    gather_pieces(scope)
    return {
        pk: {one.name: ledger.rows[one.name] for one in fields(Held)}
        for pk, ledger in scope.ledgers.items()
    }


def whole_account(accounts: Iterable[CampaignAccount]) -> Account:
    """Add the accounts of several campaigns, term by term."""
    return add_accounts(one.account for one in accounts)


def _closed(campaign: Campaign, ledger: Ledger) -> CampaignAccount:
    return CampaignAccount(
        campaign=campaign,
        account=Account(
            owed=Owed(**{one.name: ledger.total(one.name) for one in fields(Owed)}),
            held=Held(**{one.name: ledger.total(one.name) for one in fields(Held)}),
        ),
        rows={
            one.name: tuple(ledger.rows[one.name])
            for one in (*fields(Owed), *fields(Held))
        },
        passed=tuple(ledger.passed),
    )
