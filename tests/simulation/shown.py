"""What the product shows in the evening, as plain figures by name and key."""

import datetime as dt
from collections import Counter
from dataclasses import dataclass, field, fields

from campaigns.models import Campaign, ClaimLine
from campaigns.queries.account import (
    CampaignAccount,
    campaign_accounts,
    whole_account,
)
from campaigns.queries.account_rows import Row
from campaigns.queries.exposure import exposure_lines
from campaigns.queries.proofs import prove_money_of
from campaigns.queries.statement import statement_of
from campaigns.rules.exposure import Account as Sides
from dealership.models import Store
from inventory.models import Balance, CostLayer
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import Account


Figures = dict[str, dict[tuple, int]]


@dataclass
class Shown:
    """Figures by name: pockets, layers, accounts, exposure."""

    figures: Figures = field(default_factory=dict)


def show(today: dt.date, *, closely: bool) -> Shown:
    """Read every figure in the way in which the pages read it.

    ``closely``: ask for each store by itself too, and for the nightly proof. Else the
    stores are told apart by the rows of what was asked for all of them.
    """
    stores = list(Store.objects.order_by("pk"))
    campaigns = list(Campaign.objects.order_by("pk"))
    figures: Figures = {
        "pocket": _pockets(),
        "promised": {
            (one.store_id, one.part_id, one.earmark_id or 0): one.promised
            for one in Balance.objects.all()
        },
        "layer": {
            (pk,): quantity - taken
            for pk, quantity, taken in CostLayer.objects.values_list(
                "pk", "quantity", "taken"
            )
        },
        "claim line paid": {
            (pk,): paid
            for pk, paid in ClaimLine.objects.values_list("pk", "paid_cents")
        },
        "account": {},
        "statement closes at": {},
        "exposure": exposure_of(today),
    }
    found = _accounts(figures, campaigns, stores)
    if closely:
        figures["told otherwise for one store"] = {}
        figures["sides differ by"] = {}
        for store in stores:
            alone = campaign_accounts(campaigns, store_ids=[store.pk])
            for pk, one in alone.items():
                same = one.rows == _rows_of(found[pk], store)
                figures["told otherwise for one store"][store.pk, pk] = int(not same)
                off = one.account.difference_cents
                figures["sides differ by"][store.pk, pk] = off
        figures["faults of the proof"] = {
            ("pieces",): len(faults_of_the_books()),
            **{
                ("money", store.pk): len(prove_money_of(store, campaigns).faults)
                for store in stores
            },
        }
    return Shown(figures)


def _pockets() -> dict[tuple, int]:
    return {
        (one.store_id, one.part_id, one.earmark_id or 0, account.value): getattr(
            one, account
        )
        for one in Balance.objects.all()
        for account in Account
    }


def _accounts(
    figures: Figures, campaigns: list[Campaign], stores: list[Store]
) -> dict[int, CampaignAccount]:
    """Show each campaign's account in each store (by its rows) and in all (number 0)."""
    found = campaign_accounts(campaigns, store_ids=[one.pk for one in stores])
    for pk, one in found.items():
        for store in stores:
            for name, rows in _rows_of(one, store).items():
                cents = sum(row.cents for row in rows)
                figures["account"][store.pk, pk, name] = cents
        _sides(figures, (0, pk), one.account)
        figures["statement closes at"][0, pk] = statement_of(one).closing_cents
    if found:
        _sides(figures, (0, 0), whole_account(found.values()))
    return found


def _rows_of(one: CampaignAccount, store: Store) -> dict[str, tuple[Row, ...]]:
    return {
        name: tuple(row for row in rows if row.store == store.pk)
        for name, rows in one.rows.items()
    }


def _sides(figures: Figures, key: tuple[int, int], sides: Sides) -> None:
    for side in (sides.owed, sides.held):
        for one in fields(side):
            figures["account"][*key, one.name] = getattr(side, one.name)


def exposure_of(today: dt.date) -> dict[tuple, int]:
    """Add the lines of the exposure page up by all that they can be added up by."""
    sums: Counter = Counter()
    stores = list(Store.objects.values_list("pk", flat=True))
    for line in exposure_lines(store_ids=stores, today=today):
        part = line.part.pk if line.part else 0
        key = line.campaign.pk, line.store.pk, part, line.state, line.band.value
        sums[key] += line.row.cents
    return dict(sums)
