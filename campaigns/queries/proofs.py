"""Proving the money: each running sum from its rows, each account on both sides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import F, Q, Sum
from django.db.models.functions import Coalesce, Least

from campaigns.models import BookProof, Campaign, ClaimLine
from campaigns.queries.account import campaign_accounts
from campaigns.rules.lifecycle import ClaimState
from inventory.models import GoodsReturn, ReturnLine
from inventory.queries.books import Fault
from inventory.rules.accounts import ReturnState


if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from dealership.models import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class MoneyProof:
    """What was looked at in one store, and what does not balance."""

    accounts: int
    faults: tuple[Fault, ...]


def latest_proof() -> BookProof | None:
    """Give the last proof of the books, none where none was made yet."""
    return BookProof.objects.select_related("by").first()


def standing_alarm() -> BookProof | None:
    """Give the last proof where it found faults; only a clean one takes it away."""
    latest = latest_proof()
    return latest if latest and not latest.is_clean else None


def prove_money_of(store: Store, campaigns: Sequence[Campaign]) -> MoneyProof:
    """Prove the money of one store: sums of claims and returns, both sides."""
    found = campaign_accounts(campaigns, store_ids=[store.pk]) if campaigns else {}
    faults = [
        Fault(
            rule="both sides of an account are equal, in cents",
            row=f"campaign {one.campaign.code} store {store.code}",
            stands=one.account.owed.total,
            should_be=one.account.held.total,
        )
        for one in found.values()
        if not one.account.balances
    ]
    faults += [*_claim_lines(store), *_finished_claims(store), *_returns(store)]
    return MoneyProof(accounts=len(found), faults=tuple(faults))


def _claim_lines(store: Store) -> Iterator[Fault]:
    """Hold what a line says was paid to its payments; cost is covered first."""
    lines = (
        ClaimLine.objects.filter(claim__store=store)
        .annotate(
            came=Coalesce(Sum("payments__cents"), 0),
            at_cost=Coalesce(Sum("payments__at_cost_cents"), 0),
            covered=Least(F("paid_cents"), F("cost_cents")),
        )
        .exclude(came=F("paid_cents"), at_cost=F("covered"))
        .order_by("pk")
        .values_list("pk", "paid_cents", "came", "covered", "at_cost")
    )
    for pk, paid, came, covered, at_cost in lines:
        if paid != came:
            yield Fault(
                rule="a claim line is paid by its payments, in cents",
                row=f"claim line {pk}",
                stands=paid,
                should_be=came,
            )
        else:
            yield Fault(
                rule="payments cover the cost of pieces first, in cents",
                row=f"claim line {pk}",
                stands=at_cost,
                should_be=covered,
            )


def _finished_claims(store: Store) -> Iterator[Fault]:
    """Hold a claim that is over to having nothing open."""
    over = Q(claim__state__in=[ClaimState.PAID, ClaimState.WRITTEN_OFF])
    lines = (
        ClaimLine.objects.filter(over, claim__store=store)
        .annotate(settled=F("paid_cents") + F("written_off_cents"))
        .exclude(settled=F("claimed_cents"))
        .order_by("pk")
        .values_list("pk", "settled", "claimed_cents")
    )
    for pk, settled, claimed in lines:
        yield Fault(
            rule="a claim that is over is paid or given up, in cents",
            row=f"claim line {pk}",
            stands=settled,
            should_be=claimed,
        )


def _returns(store: Store) -> Iterator[Fault]:
    """Hold a credited return to a credit for each line, at the cost of its pieces."""
    lines = (
        ReturnLine.objects.filter(
            goods_return__in=GoodsReturn.objects.filter(
                store=store, state=ReturnState.CREDITED
            )
        )
        .annotate(
            cost=F("quantity") * F("unit_cost_cents"),
            credited=Coalesce(F("credit__at_cost_cents"), 0),
        )
        .exclude(cost=F("credited"))
        .order_by("pk")
        .values_list("pk", "credited", "cost")
    )
    for pk, credited, cost in lines:
        yield Fault(
            rule="a credited return is credited at its cost, in cents",
            row=f"return line {pk}",
            stands=credited,
            should_be=cost,
        )
