"""Pages: the money of a campaign and of all campaigns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from campaigns.models import Campaign
from campaigns.queries.account import (
    CampaignAccount,
    campaign_account,
    campaign_accounts,
    whole_account,
)
from campaigns.queries.account_words import ADDED, HELD_WORDS, OWED_WORDS
from campaigns.queries.claims import claim_counts
from campaigns.rules.exposure import AgeBand
from campaigns.rules.lifecycle import CampaignState
from campaigns.views.money_places import money_places, money_stores
from campaigns.views.places import campaign_of, campaign_places
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpRequest, HttpResponse
    from django.utils.functional import _StrPromise

ROWS_SHOWN = 50
"""Rows behind one figure on the page; the statement has them all."""


@dataclass(frozen=True)
class Figure:
    """One figure of a side and the rows behind it, each with its address."""

    name: str
    words: _StrPromise
    cents: int
    sign: int
    rows: list[tuple[object, str]]
    more: int


@require_safe
@guarded(Capability.SEE_MONEY)
def money(request: HttpRequest) -> HttpResponse:
    """Show what money is tied up in each campaign of the store."""
    stores, everywhere = money_stores(request)
    campaigns = list(
        Campaign.objects.exclude(state=CampaignState.DRAFT)
        .select_related("earmark")
        .order_by("claims_until", "code")
    )
    found = campaign_accounts(campaigns, store_ids=stores)
    rows = sorted(found.values(), key=lambda one: -one.exposure_cents)
    context = {
        "rows": rows,
        "whole": whole_account(rows),
        "wrong": [one for one in rows if not one.account.balances],
        "coming_cents": sum(one.coming_cents for one in rows),
        "everywhere": everywhere,
        "counts": claim_counts(staff_of(request), store_of(request)),
        "money_places": money_places(request),
    }
    return render(request, "campaigns/money.html", context)


@require_safe
@guarded(Capability.SEE_MONEY)
def account(request: HttpRequest, code: str) -> HttpResponse:
    """Show both sides of one campaign's account, each figure open to its rows."""
    campaign = campaign_of(code)
    stores, everywhere = money_stores(request)
    found = campaign_account(campaign, store_ids=stores)
    today = timezone.localdate()
    context = {
        "campaign": campaign,
        "campaign_places": campaign_places(request, campaign),
        "found": found,
        "owed": figures(found, OWED_WORDS),
        "held": figures(found, HELD_WORDS),
        "bands": list(AgeBand),
        "ages": [
            (HELD_WORDS[name], list(bands.items()), sum(bands.values()))
            for name, bands in found.ages(today=today).items()
        ],
        "everywhere": everywhere,
    }
    return render(request, "campaigns/account.html", context)


def figures(found: CampaignAccount, words: Mapping[str, _StrPromise]) -> list[Figure]:
    """Give one side's figures in their order, with the rows behind each."""
    side = found.account.owed if words is OWED_WORDS else found.account.held
    return [
        Figure(
            name=name,
            words=label,
            cents=getattr(side, name),
            sign=1 if name in ADDED or words is HELD_WORDS else -1,
            rows=[
                (row, reverse(row.page, args=[row.pk]) if row.page else "")
                for row in found.rows[name][:ROWS_SHOWN]
            ],
            more=max(len(found.rows[name]) - ROWS_SHOWN, 0),
        )
        for name, label in words.items()
    ]


patterns = [
    path("money/", money, name="money"),
    path("campaigns/<str:code>/money/", account, name="account"),
]
