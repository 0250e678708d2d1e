"""Pages: the statement of a campaign's account, as page, paper and workbook."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_safe

from campaigns.documents.statement import statement_pdf, statement_xlsx
from campaigns.forms.statement import PeriodForm
from campaigns.queries.account import campaign_account
from campaigns.queries.account_words import HELD_WORDS
from campaigns.queries.statement import statement_of
from campaigns.views.account import figures
from campaigns.views.money_places import money_stores
from campaigns.views.places import campaign_of, campaign_places
from dealership.rules.roles import Capability
from dealership.views.files import XLSX, file_answer
from dealership.views.guards import guarded, store_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from campaigns.queries.account import CampaignAccount
    from campaigns.queries.statement import Statement


@require_safe
@guarded(Capability.SEE_MONEY)
def statement(request: HttpRequest, code: str) -> HttpResponse:
    """Show the account day by day with its running balance."""
    form, found, told, everywhere = _told(request, code)
    context = {
        "campaign": found.campaign,
        "campaign_places": campaign_places(request, found.campaign),
        "found": found,
        "told": told,
        "form": form,
        "everywhere": everywhere,
        "question": request.GET.urlencode(),
    }
    return render(request, "campaigns/statement.html", context)


@require_safe
@guarded(Capability.SEE_MONEY)
def statement_paper(request: HttpRequest, code: str) -> HttpResponse:
    """Give the statement as a paper."""
    _form, found, told, everywhere = _told(request, code)
    now = timezone.now()
    pdf = statement_pdf(
        found,
        told,
        held=[
            (one.words, one.cents, found.rows[one.name])
            for one in figures(found, HELD_WORDS)
        ],
        store=store_of(request),
        everywhere=everywhere,
        printed_at=timezone.localtime(now),
    )
    return file_answer(pdf, f"statement-{code}-{timezone.localdate(now)}.pdf")


@require_safe
@guarded(Capability.SEE_MONEY)
def statement_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """Give the statement as a workbook."""
    _form, _found, told, _everywhere = _told(request, code)
    today = timezone.localdate()
    book = statement_xlsx(
        told,
        code=code,
        currency=store_of(request).currency,
        made=today,
    )
    return file_answer(book, f"statement-{code}-{today}.xlsx", kind=XLSX)


def _told(
    request: HttpRequest, code: str
) -> tuple[PeriodForm, CampaignAccount, Statement, bool]:
    """Read the account and tell it for the period asked for; a bad one is no period."""
    campaign = campaign_of(code)
    stores, everywhere = money_stores(request)
    form = PeriodForm(request.GET or None)
    period = form.cleaned_data if form.is_valid() else {}
    found = campaign_account(campaign, store_ids=stores)
    told = statement_of(found, since=period.get("since"), until=period.get("until"))
    return form, found, told, everywhere


patterns: list[URLPattern] = [
    path("campaigns/<str:code>/money/statement/", statement, name="statement"),
    path(
        "campaigns/<str:code>/money/statement.pdf",
        statement_paper,
        name="statement_pdf",
    ),
    path(
        "campaigns/<str:code>/money/statement.xlsx",
        statement_sheet,
        name="statement_xlsx",
    ),
]
