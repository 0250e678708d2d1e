"""Pages: the money of a campaign and of all campaigns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from campaigns.documents.statement import statement_pdf
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
from campaigns.views.places import campaign_of, campaign_places
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpRequest
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
    stores, everywhere = _stores(request)
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
    }
    return render(request, "campaigns/money.html", context)


@require_safe
@guarded(Capability.SEE_MONEY)
def account(request: HttpRequest, code: str) -> HttpResponse:
    """Show both sides of one campaign's account, each figure open to its rows."""
    campaign = campaign_of(code)
    stores, everywhere = _stores(request)
    found = campaign_account(campaign, store_ids=stores)
    today = timezone.localdate()
    context = {
        "campaign": campaign,
        "campaign_places": campaign_places(request, campaign),
        "found": found,
        "owed": _figures(found, OWED_WORDS),
        "held": _figures(found, HELD_WORDS),
        "bands": list(AgeBand),
        "ages": [
            (HELD_WORDS[name], list(bands.values()), sum(bands.values()))
            for name, bands in found.ages(today=today).items()
        ],
        "everywhere": everywhere,
    }
    return render(request, "campaigns/account.html", context)


@require_safe
@guarded(Capability.SEE_MONEY)
def statement(request: HttpRequest, code: str) -> HttpResponse:
    """Give the statement of one campaign's account as a paper."""
    campaign = campaign_of(code)
    stores, everywhere = _stores(request)
    found = campaign_account(campaign, store_ids=stores)
    store, now = store_of(request), timezone.now()
    pdf = statement_pdf(
        found,
        owed=[
            (one.words, one.sign * one.cents, found.rows[one.name])
            for one in _figures(found, OWED_WORDS)
        ],
        held=[
            (one.words, one.cents, found.rows[one.name])
            for one in _figures(found, HELD_WORDS)
        ],
        store=store,
        everywhere=everywhere,
        printed_at=timezone.localtime(now),
    )
    response = HttpResponse(pdf, content_type="application/pdf")
    name = f"statement-{campaign.code}-{timezone.localdate(now)}.pdf"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _stores(request: HttpRequest) -> tuple[list[int], bool]:
    """Give the store chosen now, or all stores whose money this person may see."""
    staff, here = staff_of(request), store_of(request)
    may = [
        store.pk
        for store in request.stores  # type: ignore[attr-defined]
        if staff.may(Capability.SEE_MONEY, store.pk)
    ]
    everywhere = request.GET.get("stores") == "all" and len(may) > 1
    return (may if everywhere else [here.pk]), everywhere


def _figures(found: CampaignAccount, words: Mapping[str, _StrPromise]) -> list[Figure]:
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
    path("campaigns/<str:code>/money/statement.pdf", statement, name="statement"),
]
